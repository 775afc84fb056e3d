"""Bytes into values: published worked bytes, and the decoders from memory by hand-made ones."""

from __future__ import annotations

import csv
import json
import math
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.catalogue import wide_manifold_pressure
from coach.sources.link.decode import (
    OTHER_WAYS,
    as_read,
    bitmap,
    calibration_ids,
    choose,
    codes,
    readable,
    verification_numbers,
    vin,
    ways,
)
from tests.link.wired import CATALOGUE

DATA = Path(__file__).parents[1] / "data/mode01_decoding.csv"


def rows() -> list[dict[str, str]]:
    with DATA.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_what_three_open_decoders_agree_on_comes_out_here() -> None:
    """tests/data/mode01_decoding.csv: worked bytes on which three open decoders agree."""
    checked = set()
    for row in rows():
        pid, data, values = int(row["pid"], 16), bytes.fromhex(row["example_bytes"]), json.loads(row["value"])
        for name, way in choose(CATALOGUE, {pid: len(data)}).items():
            if way.bit is None:
                value = way.value(data)
                if name not in {"lamp", "code_count"}:
                    assert any(math.isclose(value, v, rel_tol=1e-9, abs_tol=1e-9) for v in values), (name, row)
                    checked.add(pid)
    assert {0x0C, 0x24, 0x34, 0x44, 0x61, 0x62, 0x63, 0xA6} <= checked


@pytest.mark.parametrize(
    ("name", "pid", "data", "value"),
    [
        # All from memory: no published table that could be read has these.
        ("mass_airflow", 0x66, "0103200000", 25.0),
        ("coolant_temp", 0x67, "018200", 90.0),
        ("intake_temp", 0x68, "01410000000000", 25.0),
        ("intake_temp", 0x68, "014100", 25.0),
        ("rail_pressure", 0x6D, "0303E807D028", 20_000.0),
        ("rail_pressure", 0x6D, "0303E807D0280000000000", 20_000.0),
        ("rail_pressure_commanded", 0x6D, "0303E807D028", 10_000.0),
        ("rail_pressure_commanded", 0x6D, "0303E807D0280000000000", 10_000.0),
        ("manifold_pressure_commanded", 0x70, "01168000000000000000", 180.0),
        ("exhaust_pressure", 0x73, "0132C80000", 130.0),
        ("manifold_pressure", 0x87, "010C800000", 100.0),
        ("gear_reported", 0xA4, "03300DAC", 3.0),
        ("gear_ratio_reported", 0xA4, "03300DAC", 3.5),
        ("charge_air_temp", 0x77, "0146000000", 30.0),
        ("exhaust_temp", 0x78, "011F40000000000000", 760.0),
    ],
)
def test_parameters_that_say_what_is_there(name: str, pid: int, data: str, value: float) -> None:
    """The value where the first byte says that it is there, none where it does not."""
    body = bytes.fromhex(data)
    way = choose(CATALOGUE, {pid: len(body)})[name]
    assert way.value(body) == pytest.approx(value)
    assert math.isnan(way.value(b"\x00" + body[1:]))
    with pytest.raises(ValueError, match="takes"):
        way.value(body[:-1])


def test_friction_torque_has_the_offset_of_its_sisters() -> None:
    """From memory: A - 125, as the published 61 and 62."""
    assert choose(CATALOGUE, {0x8E: 1})["friction_torque"].value(b"\x8c") == 15


def test_the_usual_parameter_is_preferred() -> None:
    lengths = {0x05: 1, 0x67: 3, 0x24: 4, 0x34: 4, 0x0B: 1, 0x87: 5}
    chosen = choose(CATALOGUE, lengths)
    assert chosen["coolant_temp"].reading.pid == 0x05
    assert chosen["lambda_1"].reading.pid == 0x24
    assert chosen["manifold_pressure"].reading.pid == 0x0B
    assert choose(CATALOGUE, {0x05: 2, 0x67: 3})["coolant_temp"].reading.pid == 0x67
    assert choose(CATALOGUE, {0x34: 4})["lambda_1"].reading.pid == 0x34


def test_manifold_pressure_that_goes_further_is_taken_where_both_agree() -> None:
    """Two bytes see what one cannot; a car whose two answers differ, or that has no such sensor, is read as usual."""
    lengths, usual = {0x0B: 1, 0x87: 5}, bytes([100])
    for wide, pid in (("010C800000", 0x87), ("010DC00000", 0x87), ("010DC10000", 0x0B), ("000C800000", 0x0B)):
        answers = {0x0B: usual, 0x87: bytes.fromhex(wide)}
        assert choose(CATALOGUE, lengths, answers)["manifold_pressure"].reading.pid == pid
    assert choose(CATALOGUE, lengths, {0x0B: usual})["manifold_pressure"].reading.pid == 0x0B
    assert choose(CATALOGUE.with_signals([wide_manifold_pressure()]), lengths, {
        0x0B: usual, 0x87: bytes.fromhex("000C800000"),
    })["manifold_pressure"].reading.pid == 0x0B  # fmt: skip
    # The other signals of two ways stay as they are.
    answers = {0x05: b"\x82", 0x67: bytes.fromhex("018200")}
    assert choose(CATALOGUE, {0x05: 1, 0x67: 3}, answers)["coolant_temp"].reading.pid == 0x05


def test_a_vehicle_file_that_promises_two_bytes_is_not_taken_at_its_word() -> None:
    """A car that was found to give one byte saturates at 255 kPa, whatever its file says."""
    told = CATALOGUE.with_signals([wide_manifold_pressure()])
    for lengths, ceiling in (({0x0B: 1}, 255.0), ({0x87: 5}, 65535 / 32), ({0x0B: 1, 0x87: 5}, 65535 / 32)):
        assert as_read(told, choose(told, lengths))["manifold_pressure"].ceiling == pytest.approx(ceiling)


def test_every_other_way_belongs_to_a_signal_of_the_catalogue() -> None:
    for way in OTHER_WAYS:
        assert way in ways(CATALOGUE)[way.signal]
    assert readable(CATALOGUE, [0x0C, 0x1C, 0x87]) == [0x0C, 0x87]


def test_a_bitmap_says_what_is_offered() -> None:
    """BE 1F A8 13, a usual first bitmap (bits counted by hand)."""
    assert bitmap(0, bytes.fromhex("BE1FA813")) == {
        0x01, 0x03, 0x04, 0x05, 0x06, 0x07, 0x0C, 0x0D, 0x0E, 0x0F, 0x10, 0x11, 0x13, 0x15, 0x1C, 0x1F, 0x20,
    }  # fmt: skip
    assert bitmap(0xE0, b"\x80\0\0\0") == {0xE1}


def test_the_vehicles_number_comes_without_its_filling() -> None:
    """1G4AH59H45G118341 (49 CFR 565.15): behind a count on CAN, behind zeros on older buses."""
    text = b"1G4AH59H45G118341"
    assert vin(b"\x01" + text) == vin(b"\0\0\0" + text) == vin(text + b"\0\0") == text.decode()
    for wrong in (b"", b"\x01" + text[:-1], b"\x01" + text + b"X", b"I" + text[1:], text.lower(), b"\xe9" + text[1:],
                  b"-" + text[1:]):  # fmt: skip
        assert vin(wrong) is None


def test_calibrations_come_with_or_without_a_count() -> None:
    one, two = b"COACH-ENGINE-01\0", b"AB\xff12".ljust(16, b"\0")
    assert calibration_ids(b"\x02" + one + two) == ["COACH-ENGINE-01", "AB12"]
    assert calibration_ids(one) == ["COACH-ENGINE-01"]
    assert calibration_ids(b"\0" * 16) == []
    assert calibration_ids(one[:-1]) == calibration_ids(b"") == []
    assert verification_numbers(bytes.fromhex("021791BC8200000001")) == ["1791BC82", "00000001"]
    assert verification_numbers(bytes.fromhex("1791BC82")) == ["1791BC82"]
    assert verification_numbers(b"\x01\x02") == verification_numbers(b"") == []


def test_trouble_codes_have_their_letters() -> None:
    assert codes(bytes.fromhex("0401714123C1008ABC"), counted=True) == ["P0171", "C0123", "U0100", "B0ABC"]
    assert codes(bytes.fromhex("01017103000000"), counted=True) == ["P0171"]
    assert codes(b"\0", counted=True) == codes(b"", counted=True) == codes(b"\0" * 6, counted=False) == []
    assert codes(bytes.fromhex("017100000000"), counted=False) == ["P0171"]
    assert codes(bytes.fromhex("00017100000000"), counted=False) == ["P0171"]


@given(st.binary(max_size=40))
def test_no_bytes_make_a_decoder_fall(data: bytes) -> None:
    vin(data)
    calibration_ids(data)
    verification_numbers(data)
    codes(data, counted=True)
    codes(data, counted=False)
