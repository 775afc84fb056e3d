"""The time column of a table: clock time of day, date and time, or a number of seconds; all to whole microseconds."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Kind = Literal["number", "clock", "date"]

WIDTH = 40
"""Characters of a time that are read; no time is longer."""

US = 1_000_000
_DAY_US = 86_400 * US
_HALF_DAY_US = _DAY_US // 2
_MOST_US = 1 << 61

NUMBER_UNITS = {"s": 1e6, "ms": 1e3, "us": 1.0, "min": 60e6, "h": 3600e6}
"""Microseconds in the units that a time column may have."""

_CLOCK = r"(?P<hour>\d{1,2}):(?P<minute>\d\d):(?P<second>\d\d)(?:[.,:](?P<part>\d{1,9}))?"
_CLOCK_ONLY = re.compile(_CLOCK, re.ASCII)
_DATE = re.compile(
    rf"(?P<year>\d{{4}})-(?P<month>\d\d)-(?P<day>\d\d)[T ]{_CLOCK}"
    r" ?(?P<zone>Z|(?P<sign>[+-])(?P<zone_hour>\d\d):?(?P<zone_minute>\d\d))?",
    re.ASCII,
)


class BadTime(ValueError):
    """A cell that is no time; `row` counts from 0 within the array that was handed in."""

    def __init__(self, row: int) -> None:
        super().__init__(row)
        self.row = row


def kind_of(text: str) -> Kind | None:
    """What sort of time `text` is, or None for no time at all."""
    text = text.strip()
    if _CLOCK_ONLY.fullmatch(text):
        return "clock"
    if _DATE.fullmatch(text):
        return "date"
    try:
        float(text.replace(",", "."))
    except ValueError:
        return None
    return "number"


@dataclass(slots=True)
class Days:
    """Turns clock times of day into times that go on over midnight. One object a table."""

    last_us: int | None = None
    days: int = 0
    most_days: int = 0

    def unrolled(self, t_us: NDArray[np.int64]) -> tuple[NDArray[np.int64], list[int]]:
        """`t_us` plus whole days, and the rows at which a day began.

        A step back of more than half a day is a midnight. After one, a step ahead of more than half a day is a row that
        came late, from before it.
        """
        if not len(t_us):
            return t_us, []
        before = self.last_us if self.last_us is not None else int(t_us[0])
        steps = np.diff(t_us, prepend=before)
        turns = np.flatnonzero(np.abs(steps) > _HALF_DAY_US)
        self.last_us = int(t_us[-1])
        if not len(turns) and not self.days:
            return t_us, []
        change = np.zeros(len(t_us), dtype=np.int64)
        change[0] = self.days
        midnights = []
        for row in turns.tolist():
            if steps[row] < 0:
                self.days += 1
                change[row] += 1
                if self.days > self.most_days:
                    self.most_days = self.days
                    midnights.append(row)
            elif self.days:
                self.days -= 1
                change[row] -= 1
        return t_us + np.cumsum(change) * _DAY_US, midnights


def from_numbers(values: NDArray[np.float64], us_per_unit: float) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
    """The numbers `values` as microseconds, and which of them are there (NaN is not).

    Raises:
        BadTime: infinite, or beyond any drive.
    """
    there = ~np.isnan(values)
    scaled = np.where(there, values, 0.0) * us_per_unit
    bad = ~(np.abs(scaled) < _MOST_US)
    if np.any(bad):
        raise BadTime(int(np.argmax(bad)))
    return np.rint(scaled).astype(np.int64), there


def from_texts(
    texts: NDArray[np.bytes_], kind: Literal["clock", "date"]
) -> tuple[NDArray[np.int64], NDArray[np.bool_], bool | None]:
    """Clock times (since midnight) or dates (since 1970, in UTC where they name a zone) as microseconds.

    Args:
        texts: shape (n,), dtype S40.
        kind: which of the two all of them are.

    Returns:
        microseconds, which cells are not empty, and whether dates name their zone (None: no dates).

    Raises:
        BadTime: a cell that is neither empty nor such a time.
    """
    wide = np.ascontiguousarray(texts.astype(f"S{WIDTH}"))
    chars = wide.view(np.uint8).reshape(len(wide), WIDTH)
    length = np.char.str_len(wide)
    there = length > 0
    t_us = np.zeros(len(wide), dtype=np.int64)
    zoned: bool | None = None
    left = np.flatnonzero(there)
    while len(left):
        # All texts shaped like the first one are read at once; a table has only a few shapes.
        first = int(left[0])
        text = wide[first].decode("ascii", "replace")
        padding = len(text) - len(text.lstrip(" "))
        match = (_CLOCK_ONLY if kind == "clock" else _DATE).fullmatch(text.strip(" "))
        if match is None:
            raise BadTime(first)
        rows, left = _like(chars, length, left, text)
        t_us[rows] = _read(chars[rows], match, padding, rows)
        if kind == "date":
            has_zone = match["zone"] is not None
            if zoned is not None and zoned != has_zone:
                raise BadTime(first)
            zoned = has_zone
    return t_us, there, zoned


def _like(
    chars: NDArray[np.uint8], length: NDArray[np.int64], rows: NDArray[np.int64], text: str
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """`rows` parted into those with digits where `text` has digits and the same elsewhere, and the others."""
    size = len(text)
    digit = np.array([c.isdigit() for c in text])
    part = chars[rows, :size] if len(rows) != len(chars) else chars[:, :size]
    other = np.frombuffer(text.encode(), dtype=np.uint8)
    fits = length[rows] == size
    fits &= np.all(part[:, ~digit] == other[~digit], axis=1)
    fits &= np.all(part[:, digit] - np.uint8(48) < 10, axis=1)
    return rows[fits], rows[~fits]


def _read(chars: NDArray[np.uint8], match: re.Match[str], padding: int, rows: NDArray[np.int64]) -> NDArray[np.int64]:
    """Microseconds of texts of one shape."""

    def number(name: str, digits: int = 9) -> NDArray[np.int64]:
        begin, end = match.span(name)
        value = np.zeros(len(chars), dtype=np.int64)
        for place in range(padding + begin, padding + min(end, begin + digits)):
            value = value * 10 + (chars[:, place] - np.uint8(48))
        return value

    def check(good: NDArray[np.bool_]) -> None:
        if not np.all(good):
            raise BadTime(int(rows[np.argmin(good)]))

    hour, minute, second = number("hour"), number("minute"), number("second")
    check((hour < 24) & (minute < 60) & (second <= 60))
    t_us = ((hour * 60 + minute) * 60 + second) * US
    if match["part"] is not None:
        t_us += number("part", 6) * 10 ** (6 - min(6, len(match["part"])))
    if "year" not in match.re.groupindex:
        return t_us
    months = (number("year") - 1970) * 12 + number("month") - 1
    check((number("month") >= 1) & (number("month") <= 12))
    days = months.astype("datetime64[M]").astype("datetime64[D]").astype(np.int64) + number("day") - 1
    check(days.astype("datetime64[D]").astype("datetime64[M]").astype(np.int64) == months)
    check(number("day") >= 1)
    t_us += days * _DAY_US
    if match["sign"] is not None:
        offset = (number("zone_hour") * 60 + number("zone_minute")) * 60 * US
        t_us -= offset if match["sign"] == "+" else -offset
    return t_us
