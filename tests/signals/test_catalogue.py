"""The catalogue against the published formulas, and its own promises.

tests/data/mode01_decoding.csv: formulas, ranges and worked bytes of 52 mode-01 parameters, on which three open decoders
agree; the standard's own text (SAE J1979, ISO 15031-5) was not readable, and A4 is decoded by none of them.
"""

from __future__ import annotations

import csv
import json
import re
from pathlib import Path

import pytest

from coach.catalogue import default_catalogue, wide_manifold_pressure
from coach.catalogue_page import signals_page
from coach.signals import Catalogue, Reading, Signal, plain_name

ROOT = Path(__file__).parents[2]
ROWS = list(csv.DictReader((ROOT / "tests/data/mode01_decoding.csv").read_text(encoding="utf-8").splitlines()))
CATALOGUE = default_catalogue()


def readings() -> dict[int, list[Reading]]:
    """Every reading of the catalogue by parameter."""
    table: dict[int, list[Reading]] = {}
    for signal in CATALOGUE:
        for reading in (signal.reading, *signal.readings):
            if reading is not None:
                table.setdefault(reading.pid, []).append(reading)
    return table


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row["pid"])
def test_worked_bytes_decode_to_the_published_value(row):
    """The bytes of each published example give its value, in the first part that the catalogue reads."""
    pid = int(row["pid"], 16)
    known = readings()[pid]
    data = bytes.fromhex(row["example_bytes"])
    if len(data) < int(row["bytes"]):
        pytest.fail("the example is shorter than the answer")
    wanted = json.loads(row["value"])[0]
    assert wanted in [pytest.approx(r.decode(data), rel=1e-12) for r in known]


@pytest.mark.parametrize("row", [r for r in ROWS if r["pid"] not in ("5E", "A4")], ids=lambda row: row["pid"])
def test_the_ends_of_the_encoding_are_the_published_range(row):
    """All bits clear and all bits set give the ends of the published range."""
    pid = int(row["pid"], 16)
    reading = readings()[pid][0]
    low, high = row["range"].split(";")[0].split("..")
    assert reading.lowest == pytest.approx(float(low))
    if high.startswith("<"):
        assert float(high[1:]) * 0.9999 < reading.highest < float(high[1:])
    else:
        assert reading.highest == pytest.approx(float(high), abs=0.005)


def test_the_fuel_rate_reaches_its_raw_end():
    """Lists cap the fuel rate at 3212.75 L/h; the two bytes go on to 3276.75."""
    assert CATALOGUE["fuel_rate"].reading.highest == pytest.approx(3276.75)


def test_an_answer_of_the_wrong_length_is_refused():
    """Short and long answers are not decoded."""
    for data in (b"\x1a", b"\x1a\xf8\x00"):
        with pytest.raises(ValueError, match="takes 2 bytes"):
            CATALOGUE["engine_speed"].reading.decode(data)


def test_bits_of_a_byte_are_told_apart():
    """The lamp is the top bit of the byte whose other seven count the codes (from memory)."""
    answer = bytes([0x83, 0x07, 0x65, 0x04])
    assert CATALOGUE["lamp"].reading.decode(answer) == 1
    assert CATALOGUE["code_count"].reading.decode(answer) == 3
    assert CATALOGUE["gear_reported"].reading.decode(bytes([0xFF, 0x40, 0, 0])) == 4


@pytest.mark.parametrize(
    ("header", "name"),
    [
        ("Engine RPM", "engine_speed"),
        ("Vehicle Speed Sensor", "road_speed"),
        ("vehicle speed", "road_speed"),
        ("Engine Coolant Temperature", "coolant_temp"),
        ("Intake Manifold Absolute Pressure", "manifold_pressure"),
        ("Accelerator Pedal Position D", "pedal"),
        ("engine_speed_rpm", "engine_speed"),
        ("road_speed_kmh", "road_speed"),
        ("manifold_pressure_kpa", "manifold_pressure"),
        ("  LAMBDA ", "lambda"),
        ("Short Term Fuel Trim - Bank 1", "short_trim_1"),
        ("coolant-temp", "coolant_temp"),
    ],
)
def test_columns_are_known_by_standard_names(header, name):
    """Standard parameter names find their signal, whatever their case and punctuation."""
    found = CATALOGUE.by_column(header)
    assert found is not None
    assert found.name == name


@pytest.mark.parametrize("header", ["", "boost", "time", "pressure", "temperature", "road_speed_mph"])
def test_an_ambiguous_column_is_nobodys(header):
    """A bare boost, or a unit that is not the signal's own, is not guessed at."""
    assert CATALOGUE.by_column(header) is None


def test_no_column_name_belongs_to_two_signals():
    """Names and column names are unique, as they are compared."""
    owner: dict[str, str] = {}
    for signal in CATALOGUE:
        for text in {plain_name(other) for other in (signal.name, *signal.columns)}:
            assert owner.setdefault(text, signal.name) == signal.name, text


def test_names_are_plain_and_about_fifty():
    """Names are snake case, and there are as many as the trade asks for."""
    assert 45 <= len(CATALOGUE) <= 80
    assert all(re.fullmatch(r"[a-z][a-z0-9_]*", s.name) for s in CATALOGUE)
    assert all(s.note.endswith(".") and s.title and len(s.short) <= 12 for s in CATALOGUE)


def test_inputs_exist_and_are_measured():
    """Every input of a derived signal is in the catalogue, and the first way rests on measured ones."""
    for signal in CATALOGUE:
        for name in (*signal.inputs, *signal.or_inputs):
            assert name in CATALOGUE
        assert all(not CATALOGUE[name].inputs for name in signal.inputs)


def test_what_saturates_and_what_does_not():
    """MAP at the end of its byte says only `at least`; a floored pedal and a standstill say what they are."""
    assert CATALOGUE["manifold_pressure"].ceiling == 255
    assert CATALOGUE["pedal"].ceiling is None
    assert CATALOGUE["road_speed"].floor is None


def test_an_end_of_encoding_is_a_value_that_can_come():
    """The largest raw answer reaches the ceiling, so that saturation is noticed."""
    for signal in CATALOGUE:
        for reading in (signal.reading, *signal.readings):
            if reading is not None and signal.ceiling is not None:
                assert reading.highest >= signal.ceiling, signal.name
            if reading is not None and signal.floor is not None:
                assert reading.lowest <= signal.floor, signal.name


def test_a_floored_sensor_is_still_in_range():
    """A percentage of all bits set is not out of range by a rounding error."""
    for signal in CATALOGUE:
        if signal.quantity == "percent" and signal.reading is not None and signal.name != "absolute_load":
            assert signal.low <= signal.reading.lowest
            assert signal.reading.highest <= signal.high, signal.name


def test_how_long_values_hold():
    """2 s; temperatures and voltages 10 s; barometric pressure 60 s."""
    for signal in CATALOGUE:
        if signal.quantity in ("temperature", "voltage"):
            assert signal.stale_us == 10_000_000
    assert CATALOGUE["barometric_pressure"].stale_us == 60_000_000
    for name in (
        "engine_speed",
        "road_speed",
        "manifold_pressure",
        "pedal",
        "throttle",
        "lambda",
        "gauge_boost",
        "gear",
    ):
        assert CATALOGUE[name].stale_us == 2_000_000


def test_a_wide_answer_replaces_the_narrow_one():
    """A car with two-byte manifold pressure keeps the signal's name and sees further."""
    wide = CATALOGUE.with_signals([wide_manifold_pressure()])
    assert len(wide) == len(CATALOGUE)
    assert wide["manifold_pressure"].ceiling > 2000
    assert wide["manifold_pressure"].reading.decode(bytes([1, 0x0C, 0x80, 0, 0])) == 100.0
    assert CATALOGUE["manifold_pressure"].ceiling == 255


def test_a_catalogue_takes_no_name_twice():
    """Two entries of one name are an error, not a choice."""
    signal = Signal("x", "X", "X", "", "count", 0, 1)
    with pytest.raises(ValueError, match="defined twice"):
        Catalogue.of([signal, signal])


def test_the_page_of_signals_is_made_from_the_catalogue():
    """docs/reference/signals.md is what `python -m coach.catalogue_page` writes, with a heading for each signal."""
    page = (ROOT / "docs" / "reference" / "signals.md").read_text(encoding="utf-8")
    assert page == signals_page(CATALOGUE)
    for signal in CATALOGUE:
        assert f"\n## {signal.name}\n" in page
