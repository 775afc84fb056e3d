"""Signals of one maker in the virtual car: bytes that decode to the value, and invented values inside their range."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.formula import parse_formula
from coach.signals import Identified, Signal
from coach.sources.adapter.maker import encode_identified, invented
from coach.sources.simulator.car import State

LINEAR = ("u8(0)", "s8(1) * 0.75", "u16(0) * 0.25 - 40", "s16(0) * 0.1", "(u16(1) - 64) * 0.5", "-u8(0) / 2",
          "u24(0) / 100", "s32(0) * 0.001", "bits(1, 2, 3)", "u8(0) * 256 + u8(1)", "(u8(1) * 256 + u8(0)) / 32",
          "100 - u8(2) / 2.55")  # fmt: skip


def reading(text: str, factor: float = 1.0, offset: float = 0.0) -> Identified:
    return Identified(0x203C, "7E0", 4, text, factor, offset)


@pytest.mark.parametrize("text", LINEAR)
@given(share=st.floats(0, 1))
def test_a_value_that_the_formula_can_give_comes_back_to_its_step(text: str, share: float) -> None:
    """Any number of its fields, as a value, into bytes, and back."""
    formula = parse_formula(text)
    numbers = [round(f.low + share * (f.high - f.low)) for f in formula.fields]
    value = formula.of_numbers(numbers)
    one = reading(text, 0.5, -10)
    again = one.decode(encode_identified([(one, value * 0.5 - 10)]))
    assert again == pytest.approx(value * 0.5 - 10, abs=1e-6)


def test_a_value_between_two_steps_goes_to_the_nearer_and_one_outside_to_the_end() -> None:
    one = reading("u8(0) * 0.5")
    assert one.decode(encode_identified([(one, 10.2)])) == 10.0
    assert one.decode(encode_identified([(one, 10.3)])) == 10.5
    assert one.decode(encode_identified([(one, -7.0)])) == 0.0
    assert one.decode(encode_identified([(one, 1e9)])) == 127.5


def test_a_quotient_of_fields_comes_near() -> None:
    one = reading("100 * u8(0) / u8(1)")
    assert one.decode(encode_identified([(one, 50.0)])) == pytest.approx(50.0, abs=1.0)


def test_signals_that_share_an_identifier_do_not_disturb_each_other() -> None:
    low, high = reading("bits(0, 0, 4)"), reading("bits(0, 4, 4)")
    word = reading("u16(2)")
    data = encode_identified([(low, 5.0), (high, 9.0), (word, 513.0)])
    assert data == bytes([0x95, 0, 2, 1])
    assert [r.decode(data) for r in (low, high, word)] == [5, 9, 513]


def signal(name: str, low: float, high: float, quantity: str = "percent") -> Signal:
    return Signal(name, name, name, "", quantity, low, high, identified=reading("u8(0)"))  # type: ignore[arg-type]


def test_invented_values_follow_the_car_and_stay_in_range() -> None:
    idle, pull = State(map_kpa=34, intake_c=25), State(map_kpa=178, boost_kpa=79, intake_c=30, run_s=9)
    knock = signal("knock_retard", -12, 3, "angle")
    assert invented(knock, idle) == 0
    assert -6 <= invented(knock, pull) < -4
    assert invented(signal("knock_sum", 0, 10), pull) > 4
    duty = signal("wastegate_duty", 0, 100)
    assert invented(duty, idle) == 5
    assert invented(duty, pull) == pytest.approx(79)
    assert invented(signal("charge_air_temp", -40, 215, "temperature"), pull) == pytest.approx(47.8, abs=0.5)
    assert 20 < invented(signal("cam_angle", 0, 60, "angle"), pull) < 45
    assert invented(signal("hot", 60, 90, "temperature"), idle) == 60
