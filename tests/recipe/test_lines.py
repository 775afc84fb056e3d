"""The line of every key, in TOML however it is written."""

from __future__ import annotations

import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.recipe.lines import key_lines, line_of

TEXT = '''\
# a comment with = and [brackets]
format = 1   # 'x' = "y"
"a key" = """
not = 1
[not]
""""
'lit' = \'\'\'
n = 2\'\'\'
esc = "a \\" b # c"
[record]
a.b = {rate = "1", gap='x', c = [1, {d=2}]}
list = [
  # comment ]
  1, [2, 3],
  { e = "]" }
]

[[capture]]
id = "x"
[capture.keep]
"road\\u0020speed" = { min = "72 km/h" }
[[capture]]
id = "y"
[[capture.inner]]
z = 1
[[capture.inner]]
z = 2
[ capture . "sweep" ]
date = 2026-05-04 09:30:00
f = -1.5e3
'''


@pytest.mark.parametrize(
    ("path", "line"),
    [
        (("format",), 2),
        (("a key",), 3),
        (("lit",), 7),
        (("esc",), 9),
        (("record",), 10),
        (("record", "a", "b", "c", 1, "d"), 11),
        (("record", "list"), 12),
        (("record", "list", 1, 0), 14),
        (("record", "list", 2, "e"), 15),
        (("capture", 0), 18),
        (("capture", 0, "keep", "road speed", "min"), 21),
        (("capture", 1, "id"), 23),
        (("capture", 1, "inner", 1, "z"), 27),
        (("capture", 1, "sweep", "f"), 30),
    ],
)
def test_each_key_has_its_line(path, line):
    """Tables, lists of tables, dotted and quoted keys, inline tables, strings over several lines."""
    tomllib.loads(TEXT)
    assert key_lines(TEXT)[path] == line


def test_a_key_without_a_line_has_that_of_its_table():
    """A missing key is looked for where it should stand."""
    lines = key_lines(TEXT)
    assert line_of(lines, ("capture", 1, "keep", "gear")) == 22
    assert line_of(lines, ("title",)) is None
    assert line_of({}, ("capture", 0)) is None


keys = st.text("ab \"'.#=[]\n\\é", min_size=1, max_size=4)


def quoted(key: str) -> str:
    """A key as a basic string."""
    named = {'"': '\\"', "\\": "\\\\", "\n": "\\n"}
    return '"' + "".join(named.get(c, c) for c in key) + '"'


@given(st.lists(keys, unique=True, min_size=1, max_size=4), st.lists(keys, unique=True, max_size=3), st.integers(0, 3))
def test_any_keys_are_found_where_they_were_written(tables, inner, blank):
    """Whatever a key contains, its line is the one it was written on."""
    text, wanted, line = "", {}, 0
    for table in tables:
        text += "\n" * blank + f"[[{quoted(table)}]]\n"
        line += blank + 1
        wanted[table, 0] = line
        for key in inner:
            text += f"{quoted(key)} = {{ {quoted(key)} = 'x' }} # {key.replace(chr(10), '')}\n"
            line += 1
            wanted[table, 0, key, key] = line
    tomllib.loads(text)
    lines = key_lines(text)
    assert {path: lines[path] for path in wanted} == wanted
