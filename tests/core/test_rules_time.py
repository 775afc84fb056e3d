"""Rules 1 to 8: time, samples, instants, derived signals."""

from __future__ import annotations

import math
from itertools import permutations

from coach.core.afterwards import judge_recording
from coach.core.events import Code, Ended
from coach.core.judge import Judge
from coach.core.spec import Facts, JudgePlan
from coach.recording import Note
from tests.core.judging import online
from tests.core.rulebook import BOOST, band, drive, hold, limit, mark, row, run, told, us

FACTS = {"a": Facts(low=0, high=20, ceiling=10, floor=1)}


def test_one_microsecond_counts():
    """Rule 1: a hold of 2 s is not secured by a sample one microsecond early, and is by the next one."""
    assert told(hold(2, band("a", 4, 8)), drive(a={0: 5, 1.999999: 5, 2: 5})) == [
        "0 began",
        "2 secured",
        "2 secured | 0..2",
    ]


def test_order_within_an_instant_does_not_matter():
    """Rule 2: however the samples of one instant are ordered, the verdict is the same."""
    plan = JudgePlan((hold(1, band("a", 4, 8), band("b", 4, 8), limits=(limit("c", 9),)),))
    seen = set()
    for names in permutations("abc"):
        judge = Judge(plan)
        events = judge.feed(0, dict.fromkeys(names, 5.0)) + judge.feed(us(1), dict.fromkeys(names, 9.5)) + judge.end()
        seen.add(tuple(map(repr, events)))
    assert len(seen) == 1


def test_an_instant_that_comes_late_is_noted_and_not_judged():
    """Rule 3: samples stamped at or before the last instant change nothing and are counted."""
    judge = Judge(JudgePlan((hold(1, band("a", 4, 8)),)))
    judge.feed(us(1), {"a": 5})
    assert judge.feed(us(1), {"a": 99}) == []
    assert judge.feed(us(0.5), {"a": 99}) == []
    assert judge.notes() == (Note("late", "stamped at or before the last judged instant, and not judged", "a", 2),)
    (end,) = judge.end()
    assert isinstance(end, Ended)
    assert end.attempt.reason is not None
    assert end.attempt.reason.code == "drive_ended"


def test_things_happen_at_instants_of_the_capture_only():
    """Rule 4: `a` goes bad at 2 s and good at 3 s; a sample of `b` at 3.5 s, which nothing asks for, begins nothing."""
    samples = drive(a={0: 5, 2: 9, 3: 5}, b={1: 0, 3.5: 0, 9: 0})
    assert told(hold(20, band("a", 4, 8), stale=60), samples) == [
        "0 began",
        "2 missed high a 9/8 | 0..0",
        "3 began",
        "9 missed drive_ended | 3..3",
    ]


def test_rest_is_over_only_at_an_instant_of_the_capture():
    """Rule 4: a gate that opens between instants lets an attempt begin at the next instant of the capture."""
    samples = drive(a={0: 5, 4: 5, 5: 9, 6: 5, 9: 5}, b=run(0, 10, 1, 0.5))
    assert told(hold(20, band("a", 4, 8), rest=2.5, stale=60), samples)[2:] == [
        "9 began",
        "10 missed drive_ended | 9..9",
    ]


def test_what_is_no_number_is_unreadable():
    """Rule 5: a sample that is not a number meets no band."""
    assert told(hold(9, band("a", 0)), drive(a={0: 5, 1: math.nan}))[1] == "1 missed unreadable a -/- | 0..0"


def test_what_is_outside_the_plausible_range_is_out_of_range():
    """Rule 5: 21 where 20 is the most the signal can be is no high value but no value."""
    assert told(hold(9, band("a", 0)), drive(a={0: 5, 1: 21}), facts=FACTS)[1] == "1 missed out_of_range a 21/- | 0..0"


def test_the_end_of_the_encoding_never_meets_a_minimum():
    """Rules 5 and 9: at 10 the encoding ends; that is "at least 10", and it does not meet a minimum of 4."""
    assert told(hold(9, band("a", 4)), drive(a={0: 5, 1: 10}), facts=FACTS)[1] == "1 missed saturated a 10/4 | 0..0"


def test_a_sample_exactly_stale_after_later_is_in_time():
    """Rule 6: with 2 s the sample at exactly 2 s keeps the attempt alive."""
    assert told(hold(9, band("a", 4, 8), stale=2), drive(a={0: 5, 2: 5})) == ["0 began", "2 missed drive_ended | 0..2"]


def test_a_sample_one_microsecond_later_is_not():
    """Rules 6 and 22: the signal was unknown from 2 s on, and the break is stamped then."""
    assert told(hold(9, band("a", 4, 8), stale=2), drive(a={0: 5, 2.000001: 5})) == [
        "0 began",
        "2 missed stale a -/2 | 0..0",
        "2.000001 began",
        "2.000001 missed drive_ended | 2.000001..2.000001",
    ]


def test_a_derived_signal_has_a_sample_whenever_an_input_has_one():
    """Rule 7: boost is a minus b; it leaves its band when `b` alone changes."""
    samples = drive(a={0: 10, 1: 10}, b={0: 4, 1.5: 1})
    assert told(hold(9, band("boost", 5, 7)), samples)[1] == "1.5 missed high boost 9/7 | 0..1"


def test_a_derived_signal_holds_until_its_first_input_is_stale():
    """Rule 7: `b` was last seen at 0, so boost is unknown from 5 s on although `a` still comes."""
    samples = drive(a=run(0, 8, 10), b={0: 4})
    assert told(hold(9, band("boost", 5, 7)), samples)[1] == "5 missed stale boost -/5 | 0..5"


def test_a_derived_signal_needs_fresh_inputs():
    """Rule 7: no boost, and so no attempt, while one of its inputs is older than it may be."""
    samples = drive(a={0: 10, 7: 10, 8: 10}, b={1: 4, 8: 4})
    assert told(hold(9, band("boost", 5, 7)), samples) == [
        "1 began",
        "5 missed stale boost -/5 | 1..1",
        "8 began",
        "8 missed drive_ended | 8..8",
    ]


def test_an_unreadable_input_makes_the_derived_signal_unreadable():
    """Rule 7: boost cannot be read where `a` cannot."""
    samples = drive(a={0: 10, 1: math.nan}, b={0: 4})
    assert told(hold(9, band("boost", 5, 7)), samples)[1] == "1 missed unreadable boost -/- | 0..0"


def test_a_saturated_input_saturates_the_derived_signal():
    """Rules 5, 7 and 30: `a` at the end of its encoding is "at least this", so boost passes any upper limit."""
    samples = drive(a={0: 9, 1: 10}, b={0: 4, 1: 4}, c={0: 5, 1: 5})
    capture = hold(9, band("c", 4, 8), limits=(limit("boost", 50),))
    assert told(capture, samples, facts=FACTS)[1:3] == ["1 alarm boost 6", "1 stopped limit boost 6/50 | 0..0"]


def test_a_signal_that_the_source_measures_is_not_derived():
    """Rule 7: without its derivation in the plan, a measured boost is judged as it was measured."""
    samples = drive(a={0: 10, 1: 10}, b={0: 4, 1: 4}, boost=row(1, 1))
    capture = hold(9, band("boost", 0, 2))
    assert told(capture, samples, derivations=())[0] == "0 began"
    assert BOOST.name == "boost"


def test_staleness_differs_by_place():
    """Rule 8: the same signal may be fresh for one capture and stale for another."""
    patient, strict = hold(9, band("a", 4, 8), stale=3, id="patient"), hold(9, band("a", 4, 8), stale=1, id="strict")
    lines = told([patient, strict], drive(a={0: 5, 2.5: 5}))
    assert "1 strict missed stale a -/1 | 0..0" in lines
    assert "2.5 patient missed drive_ended | 0..2.5" in lines


def test_a_gear_is_unknown_when_nothing_better_came_in_time():
    """Rule 7: `gear` fits nothing from 1 s on; what it said holds 0.4 s more, and the reason is dated 1 s."""
    lines = told(hold(9, band("gear", 4, 8)), drive(n={0: 4, 1: 5, 1.2: 5, 2: 5}))
    assert lines[1] == "1.4 missed unknown gear -/- | 0..0"


def test_a_gear_that_comes_back_in_time_was_never_lost():
    """Rule 7: a sample that fits at exactly 0.4 s after the first that did not is in time."""
    lines = told(hold(9, band("gear", 4, 8)), drive(n={0: 4, 1: 5, 1.4: 4, 2: 4}))
    assert lines == ["0 began", "2 missed drive_ended | 0..2"]


def test_a_gear_that_is_stale_when_it_would_be_unknown_is_stale():
    """Rules 6 and 7: what it said at 0 holds until 1 s; since nothing fitted at 0.6 s, it holds until 1 s as well."""
    lines = told(hold(9, band("gear", 4, 8), stale=1), drive(n={0: 4, 0.6: 5, 2: 5}))
    assert lines[1] == "1 missed stale gear -/1 | 0..0"


def test_what_follows_from_words_of_one_stamp_comes_in_the_order_in_which_they_were_said():
    """Rules 15 and 41: "two" is skipped, then the drive is paused; a stored drive tells it like a live one."""
    captures = [hold(9, band("a", 4, 8), id="one"), hold(9, band("a", 4, 8), id="two")]
    plan = JudgePlan(tuple(captures))
    recording = drive([mark(2, "skip", "two"), mark(2, "pause")], a=run(0, 4, 5))
    ends = [e for e in online(plan, recording) if isinstance(e, Ended)]
    assert [(e.capture, e.attempt.reason.code) for e in ends] == [("two", Code.SKIPPED), ("one", Code.PAUSED)]
    assert list(judge_recording(plan, recording).events) == online(plan, recording)
