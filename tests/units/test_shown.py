"""What people are shown: the driver's units, and bounds that never admit what fails."""

from __future__ import annotations

import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from coach.catalogue import default_catalogue
from coach.shown import IMPERIAL, METRIC, Units, show, show_against, show_band, show_difference, unit_written, units_for
from coach.units import convert

CATALOGUE = default_catalogue()
SYSTEMS = [METRIC, IMPERIAL, Units("mph", "bar", "degC")]


@pytest.mark.parametrize(
    ("value", "unit", "system", "text"),
    [
        (80.0, "km/h", "metric", "80 km/h"),
        (80.4672, "km/h", "imperial", "50 mph"),
        (95.0, "kPa", Units(pressure="bar"), "0.95 bar"),
        (95.0, "kPa", "imperial", "13.8 psi"),
        (80.0, "degC", "metric", "80 °C"),
        (80.0, "degC", "imperial", "176 °F"),
        (90.2, "%", "metric", "90 %"),
        (0.853, "lambda", "metric", "0.85"),
        (14.7, "AFR", "metric", "14.7:1"),
        (5.0, "", "metric", "5"),
        (-0.4, "km/h", "metric", "0 km/h"),
        (12.0, "km", "imperial", "7 mi"),
        (-12.5, "deg", "metric", "-12.5°"),
        (None, "km/h", "metric", "– km/h"),
        (math.nan, "km/h", "imperial", "– mph"),
    ],
)
def test_a_value_in_the_drivers_units(value, unit, system, text):
    """Few digits, the unit as it is written, no minus zero, a dash for nothing."""
    assert str(show(value, unit, system)) == text


def test_a_difference_has_no_offset():
    """5 degC more is 9 °F more."""
    assert str(show_difference(5.0, "degC", "imperial")) == "9 °F"


def test_a_word_that_is_no_system_is_refused():
    """Only metric and imperial have names."""
    with pytest.raises(ValueError, match="not metric or imperial"):
        units_for("us")


def test_units_as_written():
    """What stands beside a number."""
    assert [unit_written(u, s) for u, s in (("degC", "imperial"), ("kPa", METRIC), ("N.m", METRIC))] == [
        "°F",
        "kPa",
        "Nm",
    ]


def test_45_to_55_mph_is_73_to_88_kilometres_an_hour():
    """The example of the design: bounds are shown as the readings that pass."""
    low, high = convert(45, "mph", "km/h"), convert(55, "mph", "km/h")
    assert [str(b) for b in show_band(low, high, "km/h", step=1)] == ["73 km/h", "88 km/h"]
    assert [str(b) for b in show_band(low, high, "km/h", "imperial")] == ["45 mph", "55 mph"]
    # A dial at 45 mph is 72.4 km/h, which the car may report as 72: that number is not shown as good.
    assert [str(b) for b in show_band(low, high, "km/h", "imperial", step=1)] == ["46 mph", "54 mph"]


def test_one_sided_and_narrow_bands():
    """A missing bound stays missing; a band narrower than the digits gets more of them."""
    assert show_band(None, None, "km/h") == (None, None)
    low, high = show_band(None, 0.0, "km/h", step=1)
    assert low is None
    assert str(high) == "0 km/h"
    assert [b.text for b in show_band(72.42, 72.48, "km/h")] == ["72.42", "72.48"]
    assert [b.text for b in show_band(72.42, 72.42, "km/h")] == ["72.42", "72.42"]
    assert [b.text for b in show_band(72.4, 72.8, "km/h", step=1)] == ["72.4", "72.8"]


signals = st.sampled_from(["road_speed", "engine_speed", "coolant_temp", "gauge_boost", "manifold_pressure", "lambda"])


@given(signals, st.sampled_from(SYSTEMS), st.data())
def test_no_number_shown_as_good_fails(name, system, data):
    """Whatever the band, both shown bounds pass the judgement when read back."""
    signal = CATALOGUE[name]
    value = st.floats(-200, 9000).map(lambda x: round(x, 3))
    low, high = sorted([data.draw(value), data.draw(value)])
    step = data.draw(st.sampled_from([None, signal.step]))
    for shown in show_band(low, high, signal.unit, system, step=step):
        back = convert(shown.value, system.of(signal.unit), signal.unit)
        assert low - 1e-6 <= back <= high + 1e-6


@given(signals, st.sampled_from(SYSTEMS), st.data())
def test_a_value_looks_inside_exactly_if_it_passes(name, system, data):
    """A failing value is shown outside the bounds on screen and a passing one inside, on the right side."""
    signal = CATALOGUE[name]
    low, high = sorted([data.draw(st.integers(-100, 400)), data.draw(st.integers(-100, 400))])
    low, high = data.draw(st.sampled_from([(low, high), (None, high), (low, None)]))
    near = low if low is not None else high
    value = data.draw(st.floats(near - 3, near + 3) | st.floats(-200, 500))
    # Values within a rounding error of a bound are not told apart by a screen.
    assume(all(bound is None or value == bound or abs(value - bound) > 1e-5 for bound in (low, high)))
    low_shown, high_shown = show_band(low, high, signal.unit, system)
    shown = show_against(value, low, high, signal.unit, system)
    assert (low_shown is None or shown.value >= low_shown.value) == (low is None or value >= low)
    assert (high_shown is None or shown.value <= high_shown.value) == (high is None or value <= high)


def test_a_value_that_cannot_be_read_is_a_dash_beside_its_band():
    """No number is made up."""
    assert show_against(None, 1.0, 2.0, "km/h").text == "–"
