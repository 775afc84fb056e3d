"""Bad inputs of every kind: nonsense, and good inputs with something wrong in them; and what may come of one."""

from __future__ import annotations

import time
from collections import Counter

import pytest
from hypothesis import strategies as st

from coach.errors import CoachError

MOST_S = 2.0
"""No input may take longer, of this process's own time."""

tried: Counter[str] = Counter()
"""How often each parser was fed, for `run.py soak`."""

TOKENS = [
    b"", b"\x00", b"\xff\xfe", b"\xef\xbb\xbf", b"\r", b"\n\n\n", b"=", b'"', b'"""', b"'''", b"[", b"[[",
    b"]]", b"{", b"}",
    b",", b";", b"\t", b"#", b"-", b"nan", b"inf", b"-0", b"1e999", b"9" * 400, b"0x10", b"1_000", b"NaN",
    b"null", b"true",
    b"1979-05-27T07:32:00Z", b"../../x", b"\xc3\xa9", b"\xed\xa0\x80", b"\xf0\x9f\x9a\x97", b"km/h", b"degC",
    b"rpm", b"%",
    b"9**9**9", b"1:30 min", b"1,5 bar", b"{{", b"__class__", b"a.b.c", b"=cmd|' /C calc'!A0", b"\x1b[31m",
    b"[" * 2000,
    b"{" * 2000, b"a." * 2000, b'"a b".' * 2000, b"a={" * 100, b"9" * 5000, b"\\u0000", b"\\ud800",
]  # fmt: skip


@st.composite
def spoiled(draw, *good: bytes) -> bytes:
    """One of `good` with a few edits: cut, doubled, moved, overwritten, with odd pieces put in."""
    data = draw(st.sampled_from(good))
    for _ in range(draw(st.integers(1, 6))):
        at = draw(st.integers(0, len(data)))
        to = min(len(data), at + draw(st.sampled_from([0, 1, 2, 7, 40, 400])))
        piece = draw(
            st.one_of(
                st.sampled_from(TOKENS), st.binary(max_size=6), st.just(data[at:to] * 2), st.just(data[to : to + 60])
            )
        )  # fmt: skip
        data = data[:at] + piece + data[to:]
    return data[:60_000]


def inputs(*good: bytes):
    """Mostly spoiled good ones, sometimes plain nonsense."""
    return st.one_of(spoiled(*good), spoiled(*good), spoiled(*good), st.binary(max_size=300), st.text().map(_bytes))


def _bytes(text: str) -> bytes:
    return text.encode("utf-8", "surrogatepass")


def feed(name: str, work, *arguments):
    """What `work` makes of its arguments, or None when it refuses them with one sentence, in time."""
    tried[name] += 1
    began = time.process_time()
    try:
        made = work(*arguments)
    except CoachError as error:
        made = None
        text = str(error)
        assert text.strip()
        assert "Traceback" not in text
        assert len(text) < 2_000, text[:300]
        text.encode("utf-8")
    took_s = time.process_time() - began
    if took_s > MOST_S:
        pytest.fail(f"{name} took {took_s:.1f} s")
    return made
