"""Quantities as text: what is taken, what is refused, and that factors are the published ones."""

from __future__ import annotations

import math
import subprocess
import sys

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.catalogue import default_catalogue
from coach.errors import UnitError
from coach.unit_factors import KNOWN, UNITS, convert_array
from coach.units import canonical_unit, convert, parse_duration_us, parse_quantity, parse_rate_hz, units_of

CATALOGUE = default_catalogue()


@pytest.mark.parametrize(
    ("text", "signal", "value"),
    [
        ("72 km/h", "road_speed", 72.0),
        ("45 mph", "road_speed", 72.42048),  # 1 mph is 0.44704 m/s exactly
        ("95 kPa", "gauge_boost", 95.0),
        ("14 psi", "gauge_boost", 96.526602104),  # 1 psi is 6.894757293168 kPa
        ("14 psig", "gauge_boost", 96.526602104),
        ("0.95 bar", "gauge_boost", 95.0),
        ("-0.5 bar", "gauge_boost", -50.0),
        ("29 inHg", "barometric_pressure", 98.20527057),  # 1 inHg is 3.386388640 kPa
        ("14.5 psi abs", "manifold_pressure", 99.973980751),
        ("80 degC", "coolant_temp", 80.0),
        ("176 °F", "coolant_temp", 80.0),
        ("300 K", "coolant_temp", 26.85),
        ("90 %", "pedal", 90.0),
        ("90%", "pedal", 90.0),
        (" 650 rpm ", "engine_speed", 650.0),
        ("2 min", "run_time", 120.0),
        ("+5 deg", "timing_advance", 5.0),
        ("0.85 lambda", "lambda", 0.85),
        ("0.85", "lambda", 0.85),
        (0.85, "lambda", 0.85),
        (5, "gear", 5.0),
        ("closed loop", "fuel_system_status", 2.0),
        ("On", "lamp", 1.0),
    ],
)
def test_a_number_with_its_unit_is_taken(text, signal, value):
    """Values come out in the catalogue's unit; factors from NIST by way of pint, as published."""
    assert parse_quantity(text, CATALOGUE[signal]) == pytest.approx(value, abs=2e-9)


@pytest.mark.parametrize(
    ("unit", "to", "factor"),
    [
        ("psi", "kPa", 6.894757293168),
        ("bar", "kPa", 100.0),
        ("inHg", "kPa", 3.386388640),
        ("mph", "m/s", 0.44704),
        ("lbf ft", "N.m", 1.3558179483),
    ],
)
def test_factors_are_the_published_ones(unit, to, factor):
    """The published figures: psi, bar and inHg in kPa, mph in m/s exactly, lbf ft in N m, by way of pint."""
    assert convert(1.0, unit, to) == pytest.approx(factor, abs=1e-9)


@pytest.mark.parametrize(
    ("text", "signal", "value"),
    [
        ("9 degF", "coolant_temp", 5.0),
        ("5 K", "coolant_temp", 5.0),
        ("5 °C", "coolant_temp", 5.0),
        ("10 psi", "manifold_pressure", 68.94757293168),
    ],
)
def test_differences_have_no_offset(text, signal, value):
    """A wander of 9 degF is 5 degC; a difference of absolute pressures may be in psi."""
    assert parse_quantity(text, CATALOGUE[signal], difference=True) == pytest.approx(value, abs=1e-8)


@pytest.mark.parametrize(
    "text",
    [
        "9**9**9 km/h",
        "1:30 km/h",
        "1,5 km/h",
        "72",
        "km/h",
        "",
        " ",
        "72 km / h",
        "72 kmh",
        "72 KM/H",
        "nan km/h",
        "inf km/h",
        "-inf km/h",
        "1e3 km/h",
        "0x10 km/h",
        "1_000 km/h",
        "٧٢ km/h",
        "７２ km/h",
        "72 km/h 5",
        "72 72 km/h",
        "--5 km/h",
        "72 km/h; import os",
        "72\nkm/h",
        "72 km/h\x00",
        "1" * 500 + " km/h",
        "72 (km/h)",
        "72 kPa",
        ".5 km/h",
        "5. km/h",
        "72 km/hour",
        "__import__('os') km/h",
        72,
        72.0,
        math.nan,
        math.inf,
        10**400,
        True,
        None,
        ["72 km/h"],
        {"min": 1},
        b"72 km/h",
    ],
    ids=lambda text: repr(text)[:30],
)
def test_everything_else_is_refused_in_one_sentence(text):
    """Hostile and careless texts get a short sentence; none is evaluated, none is guessed at."""
    with pytest.raises(UnitError) as caught:
        parse_quantity(text, CATALOGUE["road_speed"], where="keep.road_speed.min")
    assert caught.value.where == "keep.road_speed.min"
    assert 10 < len(caught.value.message) < 200
    assert caught.value.message.isprintable()


@pytest.mark.parametrize(
    ("text", "signal", "sentence"),
    [
        ("72 kPa", "road_speed", '"72 kPa" is a pressure where a speed was asked for: write it in km/h, mph or m/s'),
        (
            "14 psi",
            "manifold_pressure",
            '"14 psi" does not say whether it is absolute, and this is: write kPa, bar or psi abs',
        ),
        (
            "14 psi abs",
            "gauge_boost",
            (
                '"14 psi abs" is an absolute pressure where a gauge pressure was asked for: '
                "write it in kPa, bar, MPa or psi"
            ),
        ),
        (
            "95 kPa gauge",
            "manifold_pressure",
            (
                '"95 kPa gauge" is a gauge pressure where an absolute pressure was asked for: '
                "write it in kPa, bar, MPa, inHg or psi abs"
            ),
        ),
        ("1,5 bar", "gauge_boost", '"1,5 bar" is not one number and one unit: use a point for decimals'),
        ("80", "coolant_temp", '"80" has no unit: write "80 degC"'),
        (80, "coolant_temp", '"80" has no unit: write "80 degC"'),
        ("5 rpm", "gear", '"5 rpm" is an engine speed where a gear was asked for: write a bare number'),
        ("0.9 AFR", "lambda", '"0.9 AFR" has no unit of a ratio: write it in lambda'),
    ],
)
def test_a_wrong_unit_says_which_was_expected(text, signal, sentence):
    """Gauge and absolute are never mixed silently, and the sentence offers what would be right."""
    with pytest.raises(UnitError) as caught:
        parse_quantity(text, CATALOGUE[signal])
    assert caught.value.message == sentence


def outcome(text: str, signal: str) -> bool:
    """Whether a text became a finite number or a sentence that can be printed."""
    try:
        return math.isfinite(parse_quantity(text, CATALOGUE[signal]))
    except UnitError as error:
        return error.message.isprintable()


@given(st.text(max_size=80))
def test_no_text_does_anything_but_parse_or_be_refused(text):
    """Any text is a finite number or a UnitError, for every kind of quantity."""
    for signal in ("road_speed", "gauge_boost", "gear", "lambda", "fuel_system_status", "coolant_temp"):
        assert outcome(text, signal)


@given(st.integers(-(10**6), 10**6), st.integers(0, 3), st.data())
def test_what_is_written_is_what_is_read(number, decimals, data):
    """A number written with one of the signal's units comes back, over every unit of every signal."""
    signal = data.draw(st.sampled_from([s for s in CATALOGUE if UNITS[s.quantity]]))
    unit = data.draw(st.sampled_from(units_of(signal)))
    text = f"{number / 10**decimals:.{decimals}f}"
    value = parse_quantity(f"{text} {unit}", signal)
    assert convert(value, canonical_unit(signal.quantity), unit) == pytest.approx(float(text), rel=1e-6, abs=1e-5)


def test_the_catalogue_keeps_values_in_the_canonical_units():
    """A signal's own unit is the first one of its quantity, so that parsing ends there."""
    for signal in CATALOGUE:
        if UNITS[signal.quantity]:
            assert signal.unit == canonical_unit(signal.quantity), signal.name


@pytest.mark.parametrize(
    ("text", "us"),
    [
        ("90 s", 90_000_000),
        ("3 min", 180_000_000),
        ("1 h", 3_600_000_000),
        ("500 ms", 500_000),
        ("0 s", 0),
        ("0.7 s", 700_000),
    ],
)
def test_durations_are_whole_microseconds(text, us):
    """Seconds, minutes, hours and milliseconds."""
    assert parse_duration_us(text) == us


@pytest.mark.parametrize("text", ["1:30 min", "90", 90, "-1 s", "8 days", "200 h", "1,5 min", "5 Hz", "3 km/h", None])
def test_what_is_no_duration_is_refused(text):
    """Clock notation, negative times, more than a week, other units."""
    with pytest.raises(UnitError):
        parse_duration_us(text)


@pytest.mark.parametrize(("text", "rate"), [("8 Hz", 8.0), ("0.2 Hz", 0.2), ("8 1/s", 8.0)])
def test_rates_are_in_hertz(text, rate):
    """Samples a second."""
    assert parse_rate_hz(text) == rate


@pytest.mark.parametrize("text", ["0 Hz", "-1 Hz", "1001 Hz", "8", 8, "8 s", "8 rpm", "fast", None])
def test_what_is_no_rate_is_refused(text):
    """Zero, negative, absurd, without a unit."""
    with pytest.raises(UnitError):
        parse_rate_hz(text)


def test_an_unknown_unit_is_not_converted():
    """Only units of this project's own list are ever converted."""
    with pytest.raises(UnitError, match="not known"):
        convert(1.0, "furlong", "km")


@given(
    st.lists(st.integers(-(10**6), 10**6).map(lambda n: n / 100), max_size=5), st.sampled_from(["speed", "temperature"])
)
def test_whole_columns_convert_as_single_values_do(values, quantity):
    """The array form gives what the single form gives, over every unit of a quantity."""
    for unit in UNITS[quantity]:
        got = convert_array(np.array(values, dtype=np.float64), unit, canonical_unit(quantity))
        assert got.tolist() == [convert(x, unit, canonical_unit(quantity)) for x in values]


def test_a_column_of_an_unknown_unit_is_not_converted():
    """As with single values."""
    with pytest.raises(UnitError, match="not known"):
        convert_array(np.zeros(1), "furlong", "km")


def test_every_unit_has_a_factor():
    """Factors exist for each spelling that it may be handed."""
    for table in UNITS.values():
        for unit in table:
            assert convert(1.0, unit, next(iter(table))) > -300
    assert set(KNOWN) >= {"Hz", "1/s"}


def test_pint_is_not_imported_before_it_is_needed():
    """Reading values in canonical units needs no factor, so the server starts without pint."""
    code = (
        "import sys; from coach.units import parse_quantity, show; from coach.recipe import recipe_schema;"
        "parse_quantity('72 km/h', 'speed'); show(72.0, 'km/h'); assert 'pint' not in sys.modules, 'pint is there';"
        "assert 'pandas' not in sys.modules"
    )
    subprocess.run([sys.executable, "-c", code], check=True)


@pytest.mark.parametrize(
    ("text", "kelvin"), [("15 degC", 15.0), ("15 °C", 15.0), ("27 degF", 15.0), ("15 K", 15.0), ("-5 degC", -5.0)]
)
def test_a_difference_of_temperatures_has_no_zero(text, kelvin):
    """27 degF over outside are 15 K over it, whatever the scales begin with."""
    assert parse_quantity(text, "temperature_difference") == pytest.approx(kelvin)
