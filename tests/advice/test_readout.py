"""Values, bounds and distances as the driver reads them."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.advice.readout import Readout, Readouts, clock_text, family_of, order_of
from coach.catalogue import default_catalogue
from coach.shown import IMPERIAL, METRIC, Units
from coach.words import load_words

BAR = Units(pressure="bar")


def readout(name: str, units: Units = METRIC) -> Readout:
    return Readouts(default_catalogue(), load_words(), units)[name]


@pytest.mark.parametrize(
    ("us", "text"),
    [(72_000_000, "1:12"), (71_000_001, "1:12"), (1, "0:01"), (0, "0:00"), (-5, "0:00"), (180e6, "3:00")],
)
def test_clock_reads_nothing_only_when_nothing_is_left(us, text):
    """What is left is rounded up."""
    assert clock_text(us) == text


def test_written_order_of_signals():
    """Warm, gear, pedal, engine speed, road speed, then the rest."""
    catalogue = default_catalogue()
    names = ["road_speed", "lambda_1", "pedal_travel", "gear", "engine_speed", "coolant_temp", "calculated_load"]
    ordered = sorted(names, key=lambda n: order_of(catalogue[n]))
    assert ordered == [
        "coolant_temp",
        "gear",
        "pedal_travel",
        "engine_speed",
        "road_speed",
        "calculated_load",
        "lambda_1",
    ]
    assert family_of(catalogue["throttle"]) == "pedal"
    assert family_of(catalogue["manifold_pressure"]) == "load"


@pytest.mark.parametrize(
    ("name", "units", "value", "low", "high", "off", "spare"),
    [
        ("road_speed", METRIC, 63, 72, 88, "9", "9 under"),
        ("road_speed", METRIC, 91, 72, 88, "3", "3 over"),
        ("road_speed", METRIC, 81, 72, 88, "0", "7 to spare"),
        ("road_speed", METRIC, 88, 72, 88, "0", "at the edge"),
        ("road_speed", METRIC, 0, None, 0, "0", "right"),
        # The least whole km/h that passes is 73, which is 45.4 mph: 46 is the first whole mph that never fails.
        ("road_speed", IMPERIAL, 70, 72.42048, 88.51392, "3", "3 under"),
        ("engine_speed", METRIC, 1032, 650, 1000, "50", "32 over"),
        ("engine_speed", METRIC, 840, 650, 1000, "0", "160 to spare"),
        ("coolant_temp", METRIC, 66, 80, None, "14", "14 under"),
        ("coolant_temp", IMPERIAL, 66, 80, None, "25", "25 under"),
        ("gear", METRIC, 4, 5, 5, "1", "one up"),
        ("gear", METRIC, 6, 4, 4, "2", "two down"),
        ("gear", METRIC, 5, 5, 5, "0", "right"),
        ("gauge_boost", METRIC, 84, None, 95, "0", "11 to spare"),
        ("gauge_boost", BAR, 84, None, 95, "0.00", "0.11 to spare"),
        ("lambda_1", METRIC, 1.2, 0.9, 1.05, "0.15", "0.15 over"),
    ],
)
def test_distances(name, units, value, low, high, off, spare):
    """How far off and how much to spare, in the driver's units."""
    shown = readout(name, units)
    assert float(shown.off(value, low, high)) == float(off)
    assert shown.spare(value, low, high) == spare


@pytest.mark.parametrize(
    ("name", "units", "band", "asked"),
    [
        ("road_speed", METRIC, (72, 88, None), "72 to 88"),
        # 45 and 55 mph exactly, by the factor 0.44704 m/s (exact by definition): the readings are whole km/h.
        ("road_speed", METRIC, (72.42048, 88.51392, None), "73 to 88"),
        ("road_speed", METRIC, (None, 0, None), "standing still"),
        ("coolant_temp", METRIC, (80, None, None), "80 or more"),
        ("coolant_temp", METRIC, (None, 108, None), "108 or less"),
        ("gear", METRIC, (5, 5, None), "fifth"),
        ("engine_speed", METRIC, (None, None, 150), "within 150"),
        ("road_speed", METRIC, (80, 80, None), "80"),
    ],
)
def test_what_is_asked(name, units, band, asked):
    """A condition in a few words, its bounds as the readings that pass."""
    assert readout(name, units).asked(*band) == asked


def test_values_of_signals_with_states_are_words():
    """A status is shown in its words, and is right or not."""
    status = next(s for s in default_catalogue() if s.states)
    shown = readout(status.name)
    number, word = status.states[0]
    assert shown.value(number) == word
    assert shown.asked(number, number) == word
    assert shown.spare(number, number, number) == "right"
    assert shown.spare(number + 1, number, number) == "not right"


def test_no_value_is_a_dash():
    assert readout("road_speed").value(None) == "–"
    assert readout("road_speed").value(float("nan")) == "–"


def test_engine_speed_is_read_in_tens_and_counted_in_fifties():
    """Figures that flicker help nobody."""
    shown = readout("engine_speed")
    assert shown.value(842.25) == "840"
    assert shown.distance(1203) == "1250"
    assert shown.distance(0) == "0"
    assert shown.distance(-3) == "0"


@pytest.mark.parametrize(
    ("name", "text", "spoken"),
    [("road_speed", "72", "seventy-two"), ("engine_speed", "1250", "one thousand two hundred"),
     ("engine_speed", "0", "zero"),
     ("engine_speed", "50", "one hundred"), ("lambda_1", "0.15", "one")],
)  # fmt: skip
def test_spoken_numbers_are_whole(name, text, spoken):
    """Engine speeds in hundreds, others whole, and never nothing while something is left."""
    assert readout(name).spoken(text) == spoken


@given(
    value=st.floats(0, 250), low=st.floats(10, 90), width=st.floats(2, 60), units=st.sampled_from([METRIC, IMPERIAL])
)
def test_distance_is_nothing_exactly_inside(value, low, width, units):
    """The number counts to zero: it is above zero outside the band and zero inside."""
    shown = readout("road_speed", units)
    inside = low <= value <= low + width
    assert (float(shown.off(value, low, low + width)) == 0) == inside
    spare = shown.spare(value, low, low + width)
    assert spare.endswith(("to spare", "at the edge")) == inside
