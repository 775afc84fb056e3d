"""Reasons as sentences."""

from __future__ import annotations

import pytest

from coach.advice.reasons import drive_time, reason_text, remedy_text, short_reason
from coach.core.events import Code, Outcome, Reason
from coach.core.spec import Capture, Limit
from coach.shown import IMPERIAL
from tests.advice.making import PART_LOAD, S, attempt, make_lines

AT = 872 * S  # 14:32


def text(code, signal, value, bound, units=None, **more):
    lines = make_lines(units) if units else make_lines()
    return reason_text(lines.readouts, lines.words, Reason(code, AT, signal, value, bound), **more)


@pytest.mark.parametrize(
    ("us", "shown"), [(0, "0:00"), (AT, "14:32"), (AT + 999_999, "14:32"), (3849 * S, "1:04:09"), (-5, "0:00")]
)
def test_time_from_the_start_of_the_drive(us, shown):
    assert drive_time(us) == shown


@pytest.mark.parametrize(
    ("code", "signal", "value", "bound", "sentence"),
    [
        (Code.HIGH, "road_speed", 91.0, 88.0, "Too fast: 91 km/h against 88 at 14:32."),
        (Code.LOW, "road_speed", 70.0, 72.0, "Too slow: 70 km/h against 72 at 14:32."),
        (Code.HIGH, "engine_speed", 1032.0, 1000.0, "Engine speed 1032 rpm against 1000 at 14:32."),
        (Code.LOW, "coolant_temp", 79.0, 80.0, "Coolant 79 °C against at least 80 at 14:32."),
        (Code.LOW, "gear", 4.0, 5.0, "Wrong gear: fourth, not fifth, at 14:32."),
        (Code.HIGH, "lambda_1", 1.2, 1.05, "Lambda, sensor 1 1.20 against 1.05 at 14:32."),
        # 88 km/h admits a reading of 88, so a bound of 55 mph (88.51 km/h) is shown as 88 and 89 fails.
        (Code.HIGH, "road_speed", 89.0, 88.51392, "Too fast: 89 km/h against 88 at 14:32."),
        (Code.SATURATED, "manifold_pressure", 255.0, 240.0,
         "Manifold pressure, absolute reached the end of what it can show, 255 kPa, at 14:32."),
        (Code.UNREADABLE, "road_speed", None, None, "Road speed could not be read at 14:32."),
        (Code.OUT_OF_RANGE, "coolant_temp", 300.0, None, "Coolant 300 °C at 14:32 cannot be right."),
        (Code.WANDER, "engine_speed", 2160.0, 150.0,
         "Engine speed moved more than 150 rpm by 14:32; it stood at 2160."),
        (Code.STALE, "road_speed", None, 2.0, "Road speed fell silent: no sample for 2 s at 14:32."),
        (Code.UNKNOWN, "gauge_boost", None, None, "Gauge boost was not known at 14:32."),
        (Code.UNKNOWN, "gear", None, None, "The gear was not known at 14:32: clutch, slip or another ratio."),
        (Code.EXCURSIONS, "road_speed", 18.0, 18.0,
         "Road speed was outside for more than 18 s in all by 14:32, a tenth of the time."),
        (Code.DIP, "engine_speed", 3000.0, 3100.0,
         "Engine speed went back to 3000 rpm at 14:32; 3100 was as far as it may."),
        (Code.SLOW, "engine_speed", 15.0, 15.0, "The sweep took longer than 15 s, at 14:32."),
        (Code.LIMIT, "gauge_boost", 99.0, 95.0, "Limit passed: Gauge boost 99 kPa, limit 95, at 14:32."),
        (Code.LIMIT_UNSEEN, "gauge_boost", None, 0.625,
         "Gauge boost has a limit and was not seen for 0.62 s at 14:32."),
        (Code.GAP, "engine_speed", None, 0.625, "Engine speed has a gap of more than 0.62 s at 14:32."),
        (Code.RATE, "engine_speed", 2.99, 6.4, "Engine speed came 2.99 times a second by 14:32; 6.4 is the least."),
        (Code.DRIVE_ENDED, None, None, None, "The drive ended at 14:32."),
        (Code.DISARMED, None, None, None, "It was disarmed at 14:32."),
        (Code.PAUSED, None, None, None, "The drive was paused at 14:32."),
        (Code.SKIPPED, None, None, None, "It was skipped at 14:32."),
    ],
)  # fmt: skip
def test_every_code_has_a_sentence_with_its_numbers(code, signal, value, bound, sentence):
    assert text(code, signal, value, bound) == sentence


def test_counted_excursions():
    """A cap on their number is told from a share of the time."""
    assert text(Code.EXCURSIONS, "road_speed", 3.0, 2.0, max_excursions=2) == (
        "Road speed was outside 3 times by 14:32; 2 are excused."
    )


def test_lower_limit():
    assert text(Code.LIMIT, "module_voltage", 11.8, 12.0, upper=False) == (
        "Limit passed: Voltage, module 11.8 V, limit 12.0, at 14:32."
    )


def test_units_of_the_reader():
    assert text(Code.HIGH, "road_speed", 91.0, 88.0, IMPERIAL) == "Too fast: 57 mph against 54 at 14:32."
    assert text(Code.WANDER, "coolant_temp", 90.0, 5.0, IMPERIAL).startswith("Coolant moved more than 9 °F")


def test_status_in_words():
    """Values of a status are words in its reason too."""
    lines = make_lines()
    status = next(s for s in lines.readouts._catalogue if s.states)
    (low, first), (high, second) = status.states[:2]
    sentence = text(Code.HIGH, status.name, float(high), float(low))
    assert first in sentence
    assert second in sentence


def test_short_reason_for_the_page():
    lines = make_lines()
    assert short_reason(lines.readouts, lines.words, attempt(), PART_LOAD) == "91 km/h against 88."
    assert short_reason(lines.readouts, lines.words, attempt(code=None), PART_LOAD) == ""
    capture = Capture("x", hold_us=S, limits=(Limit("module_voltage", low=12),))
    made = attempt(capture, Outcome.STOPPED, Code.LIMIT, signal="module_voltage", value=11.8, bound=12.0)
    assert short_reason(lines.readouts, lines.words, made, capture) == "Voltage, module 11.8 V, limit 12.0."


@pytest.mark.parametrize(
    ("made", "remedy"),
    [
        (attempt(), "Stay under 88 km/h."),
        (
            attempt(signal="gear", code=Code.LOW, value=4.0, bound=5.0),
            "Take fifth gear before it begins and stay in it.",
        ),
        (attempt(signal="coolant_temp", code=Code.LOW, value=79.0, bound=80.0), "Let it warm up first."),
        (attempt(signal="pedal_travel", code=Code.LOW, value=44.0, bound=90.0), "Keep the pedal down to the end."),
        (attempt(code=Code.DRIVE_ENDED, signal=None, value=None, bound=None), "Drive on until the phone says secured."),
        (attempt(outcome=Outcome.SECURED), ""),
        (attempt(code=None), ""),
    ],
)
def test_remedy(made, remedy):
    lines = make_lines()
    assert remedy_text(lines.readouts, lines.words, made) == remedy
