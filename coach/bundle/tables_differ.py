"""The first line in which two tables differ. Only a line at a time is held in memory, whatever the table is."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import zip_longest

from coach.words import load_words

LONGEST_LINE = 1_000_000


def first_difference(made: Iterable[bytes], given: Iterable[bytes]) -> tuple[int, str, str] | None:
    """Number and both texts of the first line in which two tables differ; memory is bounded by a line."""
    for number, (a, b) in enumerate(zip_longest(_lines(made), _lines(given)), 1):
        if a != b:
            return number, _short(a), _short(b)
    return None


def _lines(chunks: Iterable[bytes]) -> Iterator[bytes]:
    rest = b""
    for chunk in chunks:
        parts = (rest + chunk).split(b"\n")
        rest = parts.pop()
        yield from parts
        if len(rest) > LONGEST_LINE:
            yield rest
            return
    if rest:
        yield rest


def _short(line: bytes | None) -> str:
    if line is None:
        return load_words()("bundle.check.no_line")
    text = line.decode("utf-8", "replace")
    return text if len(text) <= 120 else f"{text[:119]}…"
