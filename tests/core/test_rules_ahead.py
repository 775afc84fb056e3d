"""The warning before a limit, at its edges: how long, how many samples, how near, how steep (rule 36)."""

from __future__ import annotations

import pytest

from tests.core.rulebook import band, drive, hold, limit, run, told

IN = band("a", 4, 8)


@pytest.mark.parametrize(
    ("b", "warned"),
    [
        ({0: 79, 0.15: 82, 0.3: 85, 0.4: 87}, True),
        ({0: 79, 0.15: 82, 0.3: 85, 0.399999: 87}, False),
        ({0: 79, 0.2: 83, 0.4: 87}, False),
        ({0: 40, 0.15: 60, 0.3: 80, 0.4: 85}, True),
        ({0: 40, 0.15: 60, 0.3: 80, 0.4: 84.9}, False),
        ({0: 86, 0.1: 88, 0.2: 90, 0.3: 92, 0.4: 92, 0.5: 92}, True),
        ({0: 80, 0.2: 95, 0.4: 95, 0.6: 95}, True),
    ],
    ids=[
        "0.4 s, four samples",
        "0.399999 s",
        "three samples",
        "85 %",
        "less than 85 %",
        "still steep",
        "rise at first",
    ],
)
def test_a_warning_needs_time_samples_and_nearness(b, warned):
    """Rule 36: each at its very edge, with a slope that reaches 100 within 0.7 s."""
    capture = hold(9, IN, limits=(limit("b", 100, scope="drive"),))
    assert any("ahead b" in x for x in told(capture, drive(a={0: 5, 0.1: 5}, b=b))) is warned


def test_a_warning_looks_at_the_shortest_row_only():
    """Rule 36: the steep rise lies before the row from 0.2 to 0.6 s."""
    b = {0: 60, 0.1: 70, 0.2: 86, 0.3: 88, 0.4: 88, 0.5: 88, 0.6: 88, 0.7: 88}
    capture = hold(9, IN, limits=(limit("b", 100, scope="drive"),))
    assert [x for x in told(capture, drive(a={0: 5}, b=b)) if "ahead" in x] == ["0.4 ahead b", "0.6 ahead over b"]


def test_a_warning_does_not_look_back_over_what_was_not_seen():
    """Rule 36: three samples since the limit came back into sight after more than 5 s; a slope from before is none."""
    capture = hold(9, IN, limits=(limit("b", 100, scope="drive"),))
    b = {0: 70, 0.1: 75, 8: 98, 8.1: 99, 8.2: 99.5}
    assert [x for x in told(capture, drive(a={0: 9}, b=b)) if "ahead" in x] == []
    assert [x for x in told(capture, drive(a={0: 9}, b={**b, 8.4: 99.6})) if "ahead" in x] == ["8.4 ahead b"]


def test_a_value_that_stays_at_its_limit_reaches_it():
    """Rules 30 and 36: exactly at the limit it is inside, and no slope is needed to be there in 0.7 s."""
    capture = hold(9, IN, limits=(limit("b", 100, scope="drive"),))
    assert told(capture, drive(a={0: 9}, b=run(0, 0.4, 100, 0.1))) == ["0.4 ahead b"]


def test_a_slope_that_just_reaches_the_limit_is_one():
    """Rule 36: 20 a second for 0.7 s from 86 is exactly 100; over 0.699999 s it is not."""
    b = {0: 78, 0.1: 80, 0.2: 82, 0.3: 84, 0.4: 86}
    for ahead_us, warned in ((700_001, True), (699_999, False)):
        capture = hold(9, IN, limits=(limit("b", 100, scope="drive"),), warn_ahead_us=ahead_us)
        assert any("ahead b" in x for x in told(capture, drive(a={0: 5}, b=b))) is warned
