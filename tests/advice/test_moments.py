"""Secured, missed, stopped; and alarms, which stay until they are closed."""

from __future__ import annotations

import pytest

from coach.advice.moments import Moments, alarm_line, alarm_text, missed_key, missed_line, secured_line
from coach.core.events import Alarm, AlarmOver, Code, Collected, Ended, Outcome, Secured
from coach.core.spec import Band, Capture, Collect, Limit, Sweep
from coach.shown import Units
from tests.advice.making import IDLE, PART_LOAD, ROLL_ON, S, attempt, judge_view, look, make_lines

PULL = {"coolant_temp": 86.0, "gear": 3.0, "engine_speed": 3000.0, "pedal_travel": 97.0}
CAPTURES = {c.id: c for c in (PART_LOAD, ROLL_ON, IDLE)}
BOOST = Alarm(0, "roll-on", "gauge_boost", 99.0, 95.0)
STOPPED = attempt(ROLL_ON, Outcome.STOPPED, Code.LIMIT, signal="gauge_boost", value=99.0, bound=95.0, progress=0.5)


def view(boost=0.0):
    return judge_view(look(ROLL_ON, PULL | {"gauge_boost": boost}))


def ended(made):
    return Ended(made.end_us, made.capture, made)


def test_secured_is_shown_for_4_s():
    moments = Moments(CAPTURES)
    moments.feed([Secured(0, "part-load", 0, 0)], view(), 0)
    assert moments.moment.capture == "part-load"
    moments.feed([], view(), 4 * S - 1)
    assert moments.moment is not None
    moments.feed([], view(), 4 * S)
    assert moments.moment is None


def test_miss_is_shown_for_6_s():
    moments = Moments(CAPTURES)
    moments.feed([ended(attempt())], view(), 0)
    moments.feed([], view(), 6 * S - 1)
    assert moments.moment.attempt.outcome is Outcome.MISSED
    moments.feed([], view(), 6 * S)
    assert moments.moment is None


def test_secured_takes_the_place_of_a_miss_once_that_could_be_read():
    moments = Moments(CAPTURES)
    moments.feed([ended(attempt())], view(), 0)
    moments.feed([Secured(1, "settled-idle", 0, 0)], view(), S)
    assert moments.moment.attempt is not None
    moments.feed([], view(), 2 * S)
    assert moments.moment.capture == "settled-idle"


def test_miss_waits_for_secured_and_the_newer_miss_wins():
    moments = Moments(CAPTURES)
    moments.feed([Secured(0, "part-load", 0, 0)], view(), 0)
    moments.feed([ended(attempt(number=1))], view(), S)
    moments.feed([ended(attempt(number=2))], view(), 2 * S)
    assert moments.moment.attempt is None
    moments.feed([], view(), 4 * S)
    assert moments.moment.attempt.number == 2


@pytest.mark.parametrize(
    "made",
    [
        attempt(outcome=Outcome.SECURED),
        attempt(small=True),
        attempt(code=Code.DRIVE_ENDED, signal=None, value=None, bound=None),
        attempt(code=Code.SKIPPED, signal=None, value=None, bound=None),
    ],
)
def test_what_nobody_needs_to_be_told(made):
    """The end of a secured window, small attempts, and what a person chose."""
    moments = Moments(CAPTURES)
    moments.feed([ended(made)], view(), 0)
    assert moments.moment is None


def test_alarm_stays_until_8_s_inside_then_the_stop_is_shown():
    """It closes by itself, to the miss face with the octagon."""
    moments = Moments(CAPTURES)
    moments.feed([BOOST, ended(STOPPED)], view(99.0), 0)
    assert moments.alarm.over
    assert moments.moment is None
    moments.feed([], view(98.0), 10 * S)
    assert moments.alarm.inside_us is None
    moments.feed([AlarmOver(0, "roll-on", "gauge_boost", 0, 3, 99.0)], view(60.0), 11 * S)
    moments.feed([], view(60.0), 19 * S - 1)
    assert moments.alarm is not None
    moments.feed([], view(60.0), 19 * S)
    assert moments.alarm is None
    assert moments.moment.attempt.outcome is Outcome.STOPPED


def test_beyond_again_starts_the_8_s_again():
    moments = Moments(CAPTURES)
    moments.feed([BOOST], view(99.0), 0)
    moments.feed([], view(90.0), S)
    moments.feed([], view(96.0), 2 * S)
    moments.feed([], view(90.0), 3 * S)
    moments.feed([], view(90.0), 11 * S - 1)
    assert moments.alarm is not None


def test_seen_closes_the_alarm():
    moments = Moments(CAPTURES)
    moments.feed([BOOST, ended(STOPPED)], view(99.0), 0)
    moments.close_alarms()
    moments.feed([], view(99.0), S)
    assert moments.alarm is None
    assert moments.moment is not None


def test_newest_alarm_is_shown_and_one_signal_has_one():
    moments = Moments(CAPTURES)
    hot = Alarm(0, "roll-on", "coolant_temp", 109.0, 108.0)
    moments.feed([BOOST, hot], view(99.0), 0)
    assert moments.alarm.alarm is hot
    moments.feed([BOOST], view(99.0), S)
    assert moments.alarm.alarm is BOOST
    assert len(moments._alarms) == 2


def test_unseen_limit_ends_by_its_age():
    """What is not seen cannot be seen to come back."""
    moments = Moments(CAPTURES)
    unseen = Alarm(0, "roll-on", "gauge_boost", None, 95.0, unseen=True)
    moments.feed([unseen], judge_view(look(ROLL_ON, PULL | {"gauge_boost": None})), 0)
    assert alarm_text(make_lines(), moments.alarm) == "Boost is not seen, limit 95."
    moments.feed([], judge_view(look(ROLL_ON, PULL | {"gauge_boost": None})), 8 * S)
    assert moments.alarm is None


@pytest.mark.parametrize(
    ("signal", "limit", "value", "line", "text"),
    [
        ("gauge_boost", {"high": 95}, 99.0, "Lift off the pedal", "Boost 99 kPa, limit 95."),
        ("engine_speed", {"high": 6200}, 6300.0, "Lift off the pedal", "Engine 6300 rpm, limit 6200."),
        ("coolant_temp", {"high": 108}, 109.0, "Ease off, let it cool", "Coolant 109 °C, limit 108."),
        ("road_speed", {"high": 130}, 131.0, "Slow down now", "Speed 131 km/h, limit 130."),
        ("module_voltage", {"low": 12}, 11.5, "Stop where it is safe", "Voltage 11.5 V, limit 12.0."),
        ("lambda_1", {"high": 1.1}, 1.2, "Stop where it is safe", "Lambda 1 1.20, limit 1.10."),
    ],
)
def test_alarm_words_by_signal(signal, limit, value, line, text):
    """Pressure and engine speed, temperature, road speed, voltage and others."""
    capture = Capture("x", hold_us=S, limits=(Limit(signal, **limit),))
    bound = next(iter(limit.values()))
    moments = Moments({"x": capture})
    moments.feed([Alarm(0, "x", signal, value, bound)], judge_view(look(capture, {signal: value})), 0)
    face = alarm_line(make_lines(), moments.alarm)
    assert (face.line, face.caption) == (line, text)
    assert (face.number, face.number_kind, face.ground, face.mark, face.rank) == (
        "",
        "none",
        "alarm",
        "octagon",
        "at_once",
    )


def test_alarm_says_when_the_attempt_is_over():
    moments = Moments(CAPTURES)
    moments.feed([BOOST, ended(STOPPED)], view(99.0), 0)
    assert alarm_text(make_lines(), moments.alarm) == "Boost 99 kPa, limit 95. This attempt is over."
    assert alarm_text(make_lines(Units(pressure="psi")), moments.alarm).startswith("Boost 14.4 psi, limit 13.7.")


@pytest.mark.parametrize(
    ("made", "capture", "line", "number", "caption"),
    [
        (attempt(), PART_LOAD, "Missed, too fast", "0:19", "short. 91 km/h against 88. Settle near 80."),
        (attempt(code=Code.LOW, value=70.0, bound=72.0), PART_LOAD, "Missed, too slow", "0:19",
         "short. 70 km/h against 72. Settle near 80."),
        (attempt(signal="gear", code=Code.LOW, value=4.0, bound=5.0), PART_LOAD, "Missed, wrong gear", "0:19",
         "short. Fourth, not fifth. Stay in fifth."),
        (attempt(signal="coolant_temp", code=Code.LOW, value=79.0, bound=80.0), PART_LOAD, "Missed, too cold", "0:19",
         "short. 79 °C against 80. Warm it longer."),
        (attempt(code=Code.STALE, value=None, bound=2.0), PART_LOAD, "Missed, data lost", "0:19",
         "short. Road speed fell silent. Check the plug."),
        (attempt(code=Code.UNREADABLE, value=None, bound=None), PART_LOAD, "Missed, bad data: speed", "0:19",
         "short. Road speed could not be read. Check the plug."),
        (attempt(signal="gear", code=Code.UNKNOWN, value=None, bound=None), PART_LOAD, "Missed, gear not known", "0:19",
         "short. Gear was not known. Keep the clutch closed."),
        (attempt(outcome=Outcome.SPARSE, code=Code.RATE, value=2.1, bound=3.2), PART_LOAD, "Missed, too few samples",
         "0:19", "short. Road speed: 2.1 a second, 3.2 needed."),
        (attempt(outcome=Outcome.SPARSE, code=Code.GAP, value=None, bound=1.25), PART_LOAD, "Missed, gap in the data",
         "0:19", "short. Check the plug."),
        (attempt(code=Code.EXCURSIONS, value=18.0, bound=18.0), PART_LOAD, "Missed, out too often", "0:19",
         "short. Keep off the edges."),
        (attempt(ROLL_ON, signal="pedal_travel", code=Code.LOW, value=44.0, bound=90.0, progress=0.5), ROLL_ON,
         "Missed, too little pedal", "1200", "short. 44 % against 90. Press it further."),
        (attempt(ROLL_ON, signal="engine_speed", code=Code.DIP, value=3000.0, bound=3100.0, progress=0.5), ROLL_ON,
         "Missed, it fell back", "1200", "short. Keep the pedal still."),
        (attempt(ROLL_ON, signal="engine_speed", code=Code.SLOW, value=15.0, bound=15.0, progress=0.5), ROLL_ON,
         "Missed, it took too long", "1200", "short. 15 s were not enough. Press at once."),
        (attempt(ROLL_ON, signal="gauge_boost", code=Code.LIMIT_UNSEEN, value=None, bound=0.6, progress=0.5), ROLL_ON,
         "Missed, limit not seen", "1200", "short. Gauge boost was not seen. Check the plug."),
        (STOPPED, ROLL_ON, "Stopped, limit passed", "", "Gauge boost 99 kPa, limit 95."),
        (attempt(IDLE, signal="engine_speed", code=Code.WANDER, value=900.0, bound=150.0, progress=0.5), IDLE,
         "Missed, not steady", "0:45", "short. Keep it still."),
    ],
)  # fmt: skip
def test_missed_says_how_short_against_what_and_where_to_settle(made, capture, line, number, caption):
    from coach.advice.reasons import short_reason

    lines = make_lines()
    face = missed_line(lines, made, capture, short_reason(lines.readouts, lines.words, made, capture))
    assert (face.line, face.number, face.caption) == (line, number, caption)
    assert (face.ground, face.rank) == ("calm", "moment")
    assert face.mark == ("octagon" if made is STOPPED else "broken")
    assert face.speech == (f"{line}." if made is STOPPED else f"{line}. Try again.")


def test_missed_without_a_reason():
    made = attempt(code=None)
    assert missed_key(make_lines(), made) == "other"
    assert missed_line(make_lines(), made, PART_LOAD, "").caption == "short."


def test_aim_only_where_there_is_a_middle():
    """A one-sided band has none, and a load is steered too."""
    lines = make_lines()
    one = Capture("x", hold_us=S, keep=(Band("road_speed", None, 88),))
    assert "Settle" not in missed_line(lines, attempt(), one, "").caption
    load = Capture("x", hold_us=S, keep=(Band("calculated_load", 20, 40),))
    made = attempt(signal="calculated_load", value=50.0, bound=40.0)
    assert missed_line(lines, made, load, "").caption.endswith("Settle near 30.")
    assert missed_key(lines, made) == "other_high"
    hot = Capture("x", hold_us=S, keep=(Band("coolant_temp", 80, 100),))
    made = attempt(signal="coolant_temp", value=101.0, bound=100.0)
    assert "Settle" not in missed_line(lines, made, hot, "").caption


def secured(capture, *, count=1, left=3, course=False):
    moments = Moments({capture.id: capture})
    moments.feed([Secured(0, capture.id, 0, 0)], judge_view(), 0)
    seen = look(capture, {}, secured_count=count)
    return secured_line(make_lines(), moments.moment, capture, seen, left, "Full pedal in third", course=course)


def test_secured_says_how_many_to_go_and_which_is_next():
    face = secured(PART_LOAD)
    assert (face.line, face.number, face.caption) == ("Secured", "3", "to go. Next: Full pedal in third.")
    assert (face.ground, face.mark, face.speech) == ("secured", "tick", "Secured. Three to go.")
    assert secured(PART_LOAD, course=True).caption == "to go. Next, Full pedal in third: closed course only."


def test_sweep_secured_says_lift_off():
    face = secured(ROLL_ON, count=1, left=2)
    assert face.speech == "Done. Lift off."
    assert face.caption == "to go. The same once more."


def test_sweep_without_span_counts_whole_units():
    capture = Capture("x", sweep=Sweep("road_speed", 50, 90, 3))
    made = attempt(capture, code=Code.DIP, value=60.0, bound=65.0, progress=0.25)
    assert missed_line(make_lines(), made, capture, "").number == "30"


def test_a_piece_is_no_finish_and_the_last_one_is():
    """Of a capture that collects, securing a piece shows nothing; having collected all shows `Secured`."""
    capture = Capture("x", hold_us=5 * S, keep=(Band("road_speed", 70, 90),), collect=Collect(60 * S))
    moments = Moments({"x": capture})
    moments.feed([Secured(5 * S, "x", 0, 0)], judge_view(), 5 * S)
    assert moments.moment is None
    moments.feed([Collected(60 * S, "x", 60 * S)], judge_view(), 60 * S)
    assert moments.moment is not None
