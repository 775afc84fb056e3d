from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.sources.table_time import WIDTH, BadTime, Days, from_numbers, from_texts, kind_of

HOUR = 3_600_000_000
DAY = 24 * HOUR


def texts(*cells):
    return np.array([c.encode() for c in cells], dtype=f"S{WIDTH}")


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("17:22:57.475", "clock"), ("7:22:57", "clock"), (" 7:22:57,5 ", "clock"), ("07:22:57:475", "clock"),
        ("2026-05-04T10:00:00Z", "date"), ("2026-05-04 10:00:00.5", "date"), ("12.5", "number"), ("12,5", "number"),
        ("-3", "number"), ("10:00", None), ("04.05.2026 10:00:00", None), ("soon", None), ("", None),
    ],
)  # fmt: skip
def test_kind_of(text, kind):
    """The ways of writing a time that are taken, and some that are not."""
    assert kind_of(text) == kind


@given(st.lists(st.integers(0, DAY - 1), min_size=1), st.integers(0, 9), st.sampled_from(".,:"))
def test_clock_times(stamps, digits, mark):
    """A time of day is read to the microsecond, with any number of decimals, as plain arithmetic has it."""
    cells, expected = [], []
    for us in stamps:
        part = f"{us % 1_000_000:06}000"[:digits]
        cells.append(f"{us // HOUR}:{us // 60_000_000 % 60:02}:{us // 1_000_000 % 60:02}{mark if digits else ''}{part}")
        expected.append(us // 1_000_000 * 1_000_000 + int(f"{part:0<6}"[:6]))
    t_us, there, zoned = from_texts(texts(*cells), "clock")
    assert t_us.tolist() == expected
    assert there.all()
    assert zoned is None


@given(st.lists(st.datetimes(), min_size=1), st.integers(-14 * 60, 14 * 60))
def test_dates(stamps, zone_minutes):
    """Dates agree with the standard library's own reading of them, with and without a zone."""
    zone = timezone(timedelta(minutes=zone_minutes))
    epoch = datetime(1970, 1, 1, tzinfo=UTC)
    local, _, zoned = from_texts(texts(*(s.isoformat() for s in stamps)), "date")
    assert local.tolist() == [(s.replace(tzinfo=UTC) - epoch) // timedelta(microseconds=1) for s in stamps]
    assert zoned is False
    aware = [s.replace(tzinfo=zone) for s in stamps]
    t_us, _, zoned = from_texts(texts(*(s.isoformat(" ") for s in aware)), "date")
    assert t_us.tolist() == [(s - epoch) // timedelta(microseconds=1) for s in aware]
    assert zoned is True


def test_shapes_may_differ():
    """Hours with one digit or two, with and without decimals, blanks around, empty cells: all in one column."""
    t_us, there, _ = from_texts(texts("9:59:59", "", " 10:00:00.5", "10:00:01.25 ", "10:00:02"), "clock")
    assert t_us[there].tolist() == [
        10 * HOUR - 1_000_000,
        10 * HOUR + 500_000,
        10 * HOUR + 1_250_000,
        10 * HOUR + 2_000_000,
    ]
    assert there.tolist() == [True, False, True, True, True]


@pytest.mark.parametrize(
    ("kind", "cells", "row"),
    [
        ("clock", ["10:00:00", "10:60:00"], 1), ("clock", ["24:00:00"], 0), ("clock", ["10:00:00", "1x:00:00"], 1),
        ("clock", ["10:00:00", "10:00:61"], 1), ("clock", ["10:00:00", "9" * 60], 1), ("clock", ["", "x"], 1),
        ("date", ["2026-13-01 10:00:00"], 0), ("date", ["2026-02-29 10:00:00"], 0),
        ("date", ["2026-02-00 10:00:00"], 0),
        ("date", ["2026-01-01 10:00:00Z", "2026-01-01 10:00:00"], 1), ("date", ["10:00:00"], 0),
    ],
)  # fmt: skip
def test_no_times(kind, cells, row):
    """What is no such time is told by its row; dates with and without a zone do not mix."""
    with pytest.raises(BadTime) as caught:
        from_texts(texts(*cells), kind)
    assert caught.value.row == row


def test_leap_second():
    """A clock that shows second 60 is taken at its word: it is the next minute."""
    assert from_texts(texts("10:00:60", "10:01:00"), "clock")[0].tolist() == [10 * HOUR + 60_000_000] * 2


def test_numbers():
    """Numbers become whole microseconds by rounding; NaN is no time; what no drive reaches is an error."""
    t_us, there = from_numbers(np.array([0.1, np.nan, 1e6]), 1e6)
    assert t_us[there].tolist() == [100_000, 1_000_000_000_000]
    for bad in (np.inf, -np.inf, 1e15):
        with pytest.raises(BadTime) as caught:
            from_numbers(np.array([0.0, bad]), 1e6)
        assert caught.value.row == 1


@given(st.lists(st.integers(0, 10 * HOUR), max_size=30), st.integers(0, DAY - 1), st.integers(1, 7))
def test_midnights(steps, start, size):
    """A clock read piece by piece goes on over every midnight, as long as no step is half a day."""
    expected = np.cumsum([start, *steps])
    days = Days()
    unrolled, midnights = [], 0
    for at in range(0, len(expected), size):
        t_us, rows = days.unrolled(expected[at : at + size] % DAY)
        unrolled.extend(t_us.tolist())
        midnights += len(rows)
    assert unrolled == expected.tolist()
    assert midnights == expected[-1] // DAY


def test_a_gap_of_more_than_half_a_day_before_any_midnight():
    """Morning and evening of one day: time goes ahead, no midnight is seen."""
    t_us, midnights = Days().unrolled(np.array([6 * HOUR, 20 * HOUR]))
    assert t_us.tolist() == [6 * HOUR, 20 * HOUR]
    assert midnights == []
    assert Days().unrolled(np.array([], dtype=np.int64))[1] == []
