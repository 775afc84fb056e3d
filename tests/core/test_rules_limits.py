"""Rules 30 to 36: limits, alarms and the warning ahead."""

from __future__ import annotations

import math

import pytest

from coach.core.spec import Facts
from tests.core.rulebook import attempts_of, band, drive, hold, limit, mark, row, run, told

A = band("a", 4, 8)
OK = run(0, 30, 5)


@pytest.mark.parametrize(("value", "stops"), [(6, False), (6.001, True)])
def test_a_limit_itself_is_inside(value, stops):
    """Rule 30: at 6 the limit of 6 is not passed."""
    lines = told(hold(9, A, limits=(limit("c", 6),)), drive(a=run(0, 1, 5), c=row(5, value)))
    assert any("stopped" in text for text in lines) is stops


def test_a_lower_limit_is_passed_downwards():
    """Rule 30."""
    lines = told(hold(9, A, limits=(limit("c", low=6),)), drive(a=run(0, 1, 5), c=row(6, 5.9)))
    assert lines[1:] == ["1 alarm c 5.9", "1 stopped limit c 5.9/6 | 0..0"]


def test_saturated_on_its_side_passes_any_limit():
    """Rule 30: the encoding ends at 5; that may be 6.1 as well."""
    lines = told(hold(9, A, limits=(limit("c", 6),)), drive(a=run(0, 1, 5), c=row(4, 5)), facts={"c": Facts(ceiling=5)})
    assert lines[1:] == ["1 alarm c 5", "1 stopped limit c 5/6 | 0..0"]


def test_saturated_on_the_other_side_is_inside():
    """Rule 30: at most 1 is surely not above 6."""
    lines = told(hold(9, A, limits=(limit("c", 6),)), drive(a=run(0, 1, 5), c=row(4, 1)), facts={"c": Facts(floor=1)})
    assert lines == ["0 began", "1 missed drive_ended | 0..1"]


def test_what_cannot_be_read_is_not_seen():
    """Rules 30 and 34: `c` comes every second but cannot be read; it is unseen 2 s after the last that could."""
    lines = told(hold(9, A, limits=(limit("c", 6, unseen=2),)), drive(a=run(0, 4, 5), c=row(5, 5, *[math.nan] * 3)))
    assert lines[1:] == ["3 alarm c unseen", "3 missed limit_unseen c -/2 | 0..1"]


def test_out_of_range_is_not_seen_and_passes_nothing():
    """Rule 30: 999 is not possible, so it is neither beyond nor inside."""
    facts = {"c": Facts(low=0, high=100)}
    lines = told(hold(9, A, limits=(limit("c", 6),)), drive(a=run(0, 1, 5), c=row(5, 999)), facts=facts)
    assert lines == ["0 began", "1 missed drive_ended | 0..1"]


def test_seen_exactly_unseen_ago_is_seen():
    """Rule 30: a sample exactly 2 s after the last is in time."""
    lines = told(hold(9, A, limits=(limit("c", 6, unseen=2),)), drive(a=run(0, 4, 5), c={0: 5, 2: 5, 4: 5}))
    assert lines == ["0 began", "4 missed drive_ended | 0..4"]


def test_an_attempts_limit_is_not_watched_before_it():
    """Rule 31: before the attempt begins nothing sounds."""
    samples = drive(a=row(0, 0, 5), c=row(9, 5, 5))
    assert told(hold(9, A, limits=(limit("c", 6),)), samples)[0] == "2 began"


def test_a_drives_limit_is_always_watched():
    """Rule 31: with scope drive the alarm sounds although no attempt runs."""
    samples = drive(a=row(0, 0, 0), c=row(5, 9, 5))
    assert told(hold(9, A, limits=(limit("c", 6, scope="drive"),)), samples) == [
        "1 alarm c 9",
        "2 alarm over c x1 peak 9 since 1",
    ]


def test_after_ignores_the_first_moments():
    """Rule 31: from 2 s after the start on it is watched; a sample exactly then is looked at."""
    samples = drive(a=run(0, 3, 5), c=row(9, 9, 9, 9))
    assert told(hold(9, A, limits=(limit("c", 6, after=2),)), samples) == [
        "0 began",
        "2 alarm c 9",
        "2 stopped limit c 9/6 | 0..0",
    ]


def test_after_is_over_for_a_value_that_came_back():
    """Rule 31: beyond at 1 s, inside at 2 s: nothing happened."""
    samples = drive(a=run(0, 3, 5), c=row(9, 9, 5, 5))
    assert told(hold(9, A, limits=(limit("c", 6, after=2),)), samples) == ["0 began", "3 missed drive_ended | 0..3"]


def test_the_drives_alarm_does_not_wait_for_after():
    """Rules 31 and 32: with scope drive the alarm sounds at 1 s, and being inside at 2 s nothing is ended."""
    samples = drive(a=run(0, 3, 5), c=row(5, 9, 5, 5))
    assert told(hold(9, A, limits=(limit("c", 6, after=2, scope="drive"),)), samples)[1:] == [
        "1 alarm c 9",
        "2 alarm over c x1 peak 9 since 1",
        "3 missed drive_ended | 0..3",
    ]


def test_a_drives_limit_still_beyond_after_after_stops_the_attempt():
    """Rules 31 and 33: the passing began while `after` ran; the sample at its end is beyond and ends the attempt."""
    samples = drive(a=run(0, 3, 5), c=row(5, 9, 9, 9))
    assert told(hold(9, A, limits=(limit("c", 6, after=2, scope="drive"),)), samples) == [
        "0 began",
        "1 alarm c 9",
        "2 stopped limit c 9/6 | 0..0",
    ]


def test_one_alarm_a_passing():
    """Rule 32: three samples beyond sound once; coming back is said, with their number and the worst."""
    samples = drive(a=run(0, 4, 0), c=row(5, 7, 9, 8, 5))
    assert told(hold(9, A, limits=(limit("c", 6, scope="drive"),)), samples) == [
        "1 alarm c 7",
        "4 alarm over c x3 peak 9 since 1",
    ]


def test_the_worst_below_a_lower_limit_is_the_lowest():
    """Rule 32."""
    samples = drive(a=run(0, 4, 0), c=row(5, 3, 1, 2, 5))
    assert (
        told(hold(9, A, limits=(limit("c", low=4, scope="drive"),)), samples)[1] == "4 alarm over c x3 peak 1 since 1"
    )


@pytest.mark.parametrize(("again", "sounds"), [(5, False), (5.000001, True)])
def test_it_sounds_again_after_more_than_three_seconds_inside(again, sounds):
    """Rule 32: inside from 2 s on; beyond again at exactly 5 s belongs to the same passing, later is a new one."""
    samples = drive(a={0: 0}, c={0: 5, 1: 7, 2: 5, 3: 5, 4: 5, again: 7})
    lines = told(hold(9, A, limits=(limit("c", 6, scope="drive"),)), samples)
    assert (len(lines) == 3) is sounds
    assert lines[:2] == ["1 alarm c 7", "2 alarm over c x1 peak 7 since 1"]


def test_the_row_inside_must_be_unbroken():
    """Rule 32: beyond at 4 s for a moment; the row inside begins anew at 4.5 s."""
    samples = drive(a={0: 0}, c={0: 5, 1: 7, 2: 5, 4: 7, 4.5: 5, 6: 7, 6.5: 5})
    lines = told(hold(9, A, limits=(limit("c", 6, scope="drive"),)), samples)
    assert lines == ["1 alarm c 7", "2 alarm over c x1 peak 7 since 1"]


def test_lasting_says_how_long_it_must_be_beyond():
    """Rule 33: beyond from 1 s on; it ends at 3 s, where no sample is; the alarm does not wait."""
    samples = drive(a=run(0, 4, 5), c={0: 5, 1: 7, 2.5: 8, 4: 7})
    assert told(hold(9, A, limits=(limit("c", 6, lasting=2),)), samples)[1:3] == [
        "1 alarm c 7",
        "3 stopped limit c 8/6 | 0..0",
    ]


def test_inside_exactly_then_is_in_time():
    """Rule 33."""
    samples = drive(a=run(0, 4, 5), c={0: 5, 1: 7, 3: 5, 4: 5})
    assert told(hold(9, A, limits=(limit("c", 6, lasting=2),)), samples)[-1] == "4 missed drive_ended | 0..4"


def test_lasting_counts_an_unbroken_row():
    """Rule 33: inside at 2 s; the row begins anew at 2.5 s."""
    samples = drive(a=run(0, 6, 5), c={0: 5, 1: 7, 2: 5, 2.5: 7, 4: 7, 6: 7})
    assert "4.5 stopped limit c 7/6 | 0..2" in told(hold(9, A, limits=(limit("c", 6, lasting=2),)), samples)


def test_lasting_counts_from_after_on():
    """Rules 31 and 33: beyond from the start; `after` is over at 1 s, and the row lasts until 3 s."""
    samples = drive(a=run(0, 5, 5), c=run(0, 5, 7))
    assert told(hold(9, A, limits=(limit("c", 6, after=1, lasting=2),)), samples)[1:] == [
        "1 alarm c 7",
        "3 stopped limit c 7/6 | 0..0",
    ]


def test_the_window_of_a_stop_ends_at_the_last_sample_inside():
    """Rule 19: `c` comes every other second."""
    samples = drive(a=run(0, 5, 5), c={0: 5, 2: 5, 4: 7})
    assert told(hold(9, A, limits=(limit("c", 6),)), samples)[2] == "4 stopped limit c 7/6 | 0..2"


def test_two_limits_at_once_both_sound_and_the_first_by_name_is_the_reason():
    """Rules 32, 33 and 40."""
    samples = drive(a=run(0, 2, 5), b=row(1, 1, 9), c=row(5, 5, 9))
    lines = told(hold(9, A, limits=(limit("c", 6), limit("b", 6))), samples)
    assert lines[1:] == ["2 alarm b 9", "2 alarm c 9", "2 stopped limit b 9/6 | 0..1"]


def test_an_unseen_limit_sounds_the_same_alarm():
    """Rule 34: stamped when it ran out, and not when the next sample came."""
    samples = drive(a=run(0, 9, 5), c={0: 5, 1: 5, 8: 5})
    assert told(hold(9, A, limits=(limit("c", 6, unseen=2.5),)), samples)[1:4] == [
        "3.5 alarm c unseen",
        "3.5 missed limit_unseen c -/2.5 | 0..1",
        "8 began",
    ]


def test_a_limit_ends_a_secured_window_and_leaves_it_secured():
    """Rule 35."""
    samples = drive(a=run(0, 3, 5), c=row(5, 5, 5, 7))
    assert told(hold(1, A, limits=(limit("c", 6),)), samples)[2:] == ["3 alarm c 7", "3 secured limit c 7/6 | 0..2"]


def test_an_unseen_limit_ends_a_secured_window_and_leaves_it_secured():
    """Rule 35."""
    samples = drive(a=run(0, 6, 5), c=row(5, 5))
    assert told(hold(1, A, limits=(limit("c", 6, unseen=2),)), samples)[2:] == [
        "3 alarm c unseen",
        "3 secured limit_unseen c -/2 | 0..1",
    ]


def test_the_warning_comes_when_the_slope_reaches_the_limit_soon():
    """Rule 36: one a second and a step of 0.2 s: at 9.4 with 10 to reach in 0.7 s. 9.2 would reach 9.9."""
    rising = {round(0.2 * i, 1): 8.4 + 0.2 * i for i in range(6)}
    samples = drive(a=run(0, 1, 5, 0.2), c=rising)
    assert told(hold(9, A, limits=(limit("c", 10),)), samples)[1] == "1 ahead c"


def test_the_warning_needs_four_samples():
    """Rule 36: three samples over 0.6 s say nothing yet."""
    samples = drive(a=run(0, 0.6, 5, 0.3), c={0: 9, 0.3: 9.5, 0.6: 9.9})
    assert told(hold(9, A, limits=(limit("c", 10),)), samples)[1] == "0.6 missed drive_ended | 0..0.6"


def test_the_warning_needs_four_tenths_of_a_second():
    """Rule 36: four samples within 0.3 s say nothing; the fifth, at exactly 0.4 s, does."""
    samples = drive(a=run(0, 0.4, 5, 0.1), c=row(9.4, 9.5, 9.6, 9.7, 9.8, step=0.1))
    assert told(hold(9, A, limits=(limit("c", 10),)), samples)[1] == "0.4 ahead c"


def test_no_warning_far_below_the_limit():
    """Rule 36: 84 reaches 100 soon at that slope, but it is not within 15 % of it."""
    samples = drive(a=run(0, 0.4, 5, 0.1), c=row(60, 66, 72, 78, 84, step=0.1))
    assert told(hold(9, A, limits=(limit("c", 100),)), samples)[1] == "0.4 missed drive_ended | 0..0.4"


def test_the_warning_is_over_when_the_slope_is():
    """Rule 36: level for four samples."""
    samples = drive(a=run(0, 1, 5, 0.1), c=row(9.4, 9.5, 9.6, 9.7, 9.8, 9.8, 9.8, 9.8, 9.8, 9.8, 9.8, step=0.1))
    lines = told(hold(9, A, limits=(limit("c", 10),)), samples)
    assert [text.split(" ", 1)[1] for text in lines[1:3]] == ["ahead c", "ahead over c"]


def test_the_warning_is_over_when_the_limit_is_passed():
    """Rules 32 and 36: the alarm takes its place."""
    samples = drive(a=run(0, 0.5, 5, 0.1), c=row(9.4, 9.5, 9.6, 9.7, 9.8, 10.1, step=0.1))
    lines = told(hold(9, A, limits=(limit("c", 10),)), samples)
    assert sorted(lines[2:4]) == ["0.5 ahead over c", "0.5 alarm c 10.1"]


def test_the_warning_is_over_when_nobody_watches():
    """Rule 36: the attempt ends because of `a`, and its limits are watched no longer."""
    samples = drive(a={**run(0, 0.4, 5, 0.1), 0.45: 9}, c=row(9.4, 9.5, 9.6, 9.7, 9.8, step=0.1))
    assert told(hold(9, A, limits=(limit("c", 10),)), samples)[-1] == "0.45 ahead over c"


def test_a_gap_in_the_row_says_nothing_about_the_slope():
    """Rule 36: two samples further apart than `unseen` are no row."""
    samples = drive(a=run(0, 4, 0, 0.5), c={0: 9.2, 0.5: 9.4, 2: 9.5, 2.2: 9.6, 2.4: 9.8})
    assert told(hold(9, A, limits=(limit("c", 10, scope="drive", unseen=1),)), samples) == []


def test_a_lower_limit_warns_on_the_way_down():
    """Rule 36: falling by one a second from 1.1 times the limit."""
    samples = drive(a=run(0, 0.5, 5, 0.1), c=row(10.9, 10.8, 10.7, 10.6, 10.5, step=0.1))
    assert told(hold(9, A, limits=(limit("c", low=10),)), samples)[1] == "0.4 ahead c"


def test_a_stop_is_never_small():
    """Rules 33 and 43: people are told of a stop although the attempt lasted no time."""
    (attempt,) = attempts_of(hold(9, A, limits=(limit("c", 6),)), drive(a=run(0, 1, 5), c=row(5, 7)))
    assert not attempt.small


def test_a_pause_does_not_silence_a_drives_limit():
    """Rules 14 and 31: scope drive is watched always."""
    samples = drive([mark(0.5, "pause")], a=run(0, 2, 5), c=row(5, 5, 7))
    assert "2 alarm c 7" in told(hold(9, A, limits=(limit("c", 6, scope="drive"),)), samples)
