"""TOML from anybody: read as `tomllib` reads it; what nests without end is refused before it costs anything."""

import tomllib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.toml_text import DEEPEST, read_toml, too_deep

TRACES = Path(__file__).parents[1] / "replay_traces"


@pytest.mark.parametrize("path", sorted(TRACES.glob("*.toml")), ids=lambda path: path.name)
def test_what_people_write_is_read_as_it_stands(path):
    """The same tables as without any of this."""
    text = path.read_text("utf-8")
    assert read_toml(text) == tomllib.loads(text)


PART = st.sampled_from(["a", "long-key_1", '"a b"', "'c d'", r'"q\"q"', '""', '"é.x"'])
JOIN = st.sampled_from([".", " . ", "\t."])


@given(
    st.lists(PART, min_size=DEEPEST + 1, max_size=60),
    JOIN,
    st.sampled_from(["{} = 1", "[{}]", "[[{}]]", "x = {{{} = 1}}"]),
)
def test_a_key_with_many_parts_is_refused_unread(parts, join, form):
    """`tomllib` would take steps by the square of their number: 256 kB of `a.a.a` hold it for minutes."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(tomllib, "loads", lambda _text: pytest.fail("it was read"))
        with pytest.raises(tomllib.TOMLDecodeError, match="nested too deeply"):
            read_toml(form.format(join.join(parts)) + "\n")


@given(st.lists(PART, min_size=1, max_size=DEEPEST - 4), JOIN)
def test_a_key_with_few_parts_is_read(parts, join):
    """However its parts are quoted."""
    text = join.join(parts) + " = 1"
    assert read_toml(text) == tomllib.loads(text)


@pytest.mark.parametrize(
    "text",
    ["a = " + "[" * 30 + "]" * 30, "a = " + "{b = " * 30 + "1" + "}" * 30, "a = " + "[" * 50_000,
     "".join(f"a{n}.b.c.d.e.f.g.h = {{" for n in range(4)) + "x = 1" + "}" * 4],
    ids=["lists", "tables", "a stack without end", "dots and braces"],
)  # fmt: skip
def test_nesting_without_end_is_refused(text):
    """Whatever goes through the tables afterwards, going into each, has a stack for them."""
    with pytest.raises(tomllib.TOMLDecodeError, match="nested too deeply"):
        read_toml(text)


def test_a_number_with_thousands_of_digits_is_refused():
    """Python itself takes at most 4300."""
    with pytest.raises(tomllib.TOMLDecodeError, match="too many digits"):
        read_toml("a = " + "9" * 5_000)


def test_dots_in_a_text_are_no_key():
    """Dots that end sentences, or lead on, say nothing about tables."""
    text = 'note = "' + "One. Two, three... " * 40 + "...." * 200 + '"'
    assert read_toml(text) == tomllib.loads(text)


def test_depth_is_counted_to_the_last():
    """`most` itself is taken, one more is not; an empty table counts."""
    assert not too_deep({"a": [{}]}, 3)
    assert too_deep({"a": [{}]}, 2)
    assert not too_deep(1, 1)
