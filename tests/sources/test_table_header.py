from __future__ import annotations

import pytest

from coach.catalogue import default_catalogue
from coach.signals import Catalogue, Signal
from coach.sources.table_header import Column, Names, mended, split_header, time_unit, unit_of
from coach.units import units_of

CATALOGUE = default_catalogue()
NAMES = Names(CATALOGUE)


@pytest.mark.parametrize(
    ("header", "signal", "unit"),
    [
        ("road_speed", "road_speed", "km/h"),
        ("ROAD  Speed", "road_speed", "km/h"),
        ("Vehicle Speed Sensor [km/h]", "road_speed", "km/h"),
        ("Vehicle Speed Sensor{MPH}", "road_speed", "mph"),
        ("road_speed_kmh", "road_speed", "km/h"),
        ("road_speed_km_h", "road_speed", "km/h"),
        ("speed_ms", "road_speed", "m/s"),
        ("road speed mph", "road_speed", "mph"),
        ("Engine RPM [U/min]", "engine_speed", "rpm"),
        ("Engine speed [1/min]", "engine_speed", "1/min"),
        ("coolant_temp_c", "coolant_temp", "degC"),
        ("Coolant (deg F)", "coolant_temp", "degF"),
        ("coolant temperature [\ufffdC]", "coolant_temp", "degC"),
        ("MAP [kPa]", "manifold_pressure", "kPa"),
        ("map (bar abs)", "manifold_pressure", "bar abs"),
        ("gauge_boost [psig]", "gauge_boost", "psi gauge"),
        ("maf_g_s", "mass_airflow", "g/s"),
        ("load_pct", "calculated_load", "%"),
        ("Timing advance [°]", "timing_advance", "°"),
        ("lambda_1", "lambda_1", ""),
        ("Lambda (sensor 1)", "lambda_1", ""),
        ("lambda [-]", "lambda", ""),
        ("lambda_1 [lambda]", "lambda_1", ""),
        ("Gear", "gear_reported", ""),
        ("gear_reported [-]", "gear_reported", ""),
        ("pedal_e [%]", "pedal_e", "%"),
        ("Short fuel trim, bank 1 (%)", "short_trim_1", "%"),
    ],
)
def test_headers_that_are_known(header, signal, unit):
    """Names, titles and other names in any case and spacing; units in brackets or at the end."""
    column = NAMES.column(3, header)
    assert isinstance(column, Column)
    assert (column.index, column.header, column.signal.name, column.unit) == (3, header, signal, unit)


@pytest.mark.parametrize(
    ("header", "why"),
    [
        ("boost", "unknown"),
        ("gear 1", "unknown"),
        ("rpm limit", "unknown"),
        ("", "unknown"),
        ("[km/h]", "unknown"),
        ("engine_speed [km/h]", "unknown_unit"),
        ("lambda [AFR]", "unknown_unit"),
        ("map [psi]", "unknown_unit"),
        ("road_speed [parsec]", "unknown_unit"),
    ],
)
def test_headers_that_are_not_guessed(header, why):
    """What is not known, and what has a unit that does not fit, is not read."""
    assert NAMES.column(0, header).why == why


def test_every_signal_is_found_by_name_and_title():
    """With its own unit in brackets, each signal of the catalogue is found by its name and its title."""
    for signal in CATALOGUE:
        expected = "gear_reported" if signal.name == "gear" else signal.name
        for name in (signal.name, signal.title):
            column = NAMES.column(0, f"{name} [{signal.unit}]" if signal.unit else name)
            assert isinstance(column, Column), name
            assert column.signal.name == expected
            assert not column.assumed


def test_every_unit_is_known_as_the_project_writes_it():
    """Each unit that a quantity may have in a recipe is one that a header may have."""
    for signal in CATALOGUE:
        for unit in units_of(signal):
            found = unit_of(unit, signal)
            assert found is not None, (signal.name, unit)


def test_a_gear_without_a_reported_one():
    """A catalogue without a reported gear does not read a gear column as the estimate."""
    small = Catalogue.of([CATALOGUE["gear"], CATALOGUE["engine_speed"]])
    assert Names(small).signal("gear") is None


def test_own_signals_are_found():
    """Signals that a vehicle or recipe adds are found by name, title and other names."""
    own = Signal("egt", "Exhaust probe", "EGT", "degC", "temperature", -40, 1200, columns=("probe 1",))
    names = Names(CATALOGUE.with_signals([own]))
    for header in ("egt [°C]", "Exhaust probe [°C]", "Probe 1 [°C]", "egt_degC"):
        assert names.column(0, header).signal is own


@pytest.mark.parametrize(
    ("header", "is_time", "unit"),
    [
        ("time", True, None), ("Time", True, None), ("t", True, None), ("t_s", True, "s"), ("Time [s]", True, "s"),
        ("time (ms)", True, "ms"), ("time_ms", True, "ms"), ("Time Stamp", True, None), ("timestamp [us]", True, "us"),
        ("timestamp [Âµs]", True, "us"), ("elapsed time (min)", True, "min"), ("Time [hh:mm:ss.ms]", True, None),
        ("seconds", True, "s"), ("milliseconds", True, "ms"), ("Date time", True, None), ("time of day", True, None),
        ("engine_run_time [s]", False, None), ("time since clear [min]", False, None), ("rpm", False, None),
        ("", False, None), ("timing_advance", False, None),
    ],
)  # fmt: skip
def test_time_columns(header, is_time, unit):
    """Which headers are a time, and which unit they say; none is taken for milliseconds unless it says so."""
    assert time_unit(header) == (is_time, unit)


def test_mended():
    """Broken characters are mended, whole ones kept."""
    assert mended("[Â°C]") == "[°C]"
    assert mended(" Öl [°C] ") == "Öl [°C]"
    assert mended("\ufefftime") == "time"


def test_split_header():
    """Brackets part the unit; without brackets the ends are tried; the whole comes last."""
    assert list(split_header("a (b) [c]")) == [("a (b)", "c"), ("a (b) [c]", None)]
    assert list(split_header("a_b_c")) == [("a_b", "c"), ("a", "b_c"), ("a_b_c", None)]
