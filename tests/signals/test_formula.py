"""Formulas of bytes: the grammar and nothing else, values by hand, nothing executed."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.errors import BadInput
from coach.formula import Field, parse_formula


@pytest.mark.parametrize(
    ("text", "data", "value"),
    [
        ("u8(0)", "FF", 255), ("s8(0)", "FF", -1), ("u16(0) * 0.25", "1AF8", 1726), ("s16(1)/10", "00FF9C", -10),
        ("u24(0)", "010203", 66051), ("s24(0)", "FFFFFE", -2), ("u32(0)", "FFFFFFFF", 4294967295),
        ("s32(0)", "80000000", -2147483648), ("bits(0, 4, 4)", "A5", 10), ("bits(1,0,1)", "0005", 1),
        ("2 + 3 * u8(0)", "04", 14), ("(2 + 3) * u8(0)", "04", 20), ("-u8(0) - -1", "04", -3),
        ("10 - 4 - u8(0)", "01", 5), ("64 / 4 / u8(0)", "02", 8), (" u8 ( 0 ) ", "07", 7),
        ("u8(0) * u8(1) / 100", "0A14", 2), ("((u8(0)))", "03", 3), ("1.5*u8(0)+0.25", "02", 3.25),
    ],
)  # fmt: skip
def test_values_by_hand(text: str, data: str, value: float) -> None:
    assert parse_formula(text).value(bytes.fromhex(data)) == pytest.approx(value)


def test_what_it_reads_is_known_once_each() -> None:
    formula = parse_formula("u8(3) * 2 + u8(3) - bits(4, 1, 2) + s16(0)")
    assert formula.fields == (Field(3), Field(4, shift=1, bits=2), Field(0, 2, signed=True))
    assert formula.length == 5
    assert [(f.low, f.high) for f in formula.fields] == [(0, 255), (0, 3), (-32768, 32767)]


def test_where_there_is_no_value_there_is_none() -> None:
    assert math.isnan(parse_formula("u8(0) / u8(1)").value(b"\x05\x00"))
    assert parse_formula("u8(0) / 2").value(b"\x05") == 2.5


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "missing at its end"), ("5 * 3", "no byte of the answer"), ("u8(0", '")" is missing'),
        ("u8(0) +", "missing at its end"), ("u8 0", '"(" is missing before "0"'), ("u8()", "a whole number"),
        ("u8(64)", "0 to 63"), ("u8(-1)", "a whole number"), ("u8(0.5)", "a whole number"), ("u7(0)", 'no "u7"'),
        ("u64(0)", 'no "u64"'), ("u8(0) ** 2", "not expected"), ("u8(0) % 2", "no place"), ("u8(0); 1", "no place"),
        ("__import__", "no place"), ("open(0)", 'no "open"'), ("u8(0, 1)", "takes one number"), ("A * 2", "no place"),
        ("bits(0, 1)", "three numbers"), ("bits(0, 7, 2)", "one byte"), ("bits(0, 0, 0)", "one byte"),
        ("bits(0, 9, 1)", "one byte"), ("1e5 * u8(0)", "not expected"), ("(" * 30 + "u8(0)" + ")" * 30, "too deeply"),
        ("-" * 40 + "u8(0)", "too deeply"), ("u8(0)" + " + 1" * 100, "longer than 200"),
        ("u8(0) u8(1)", "not expected"),
        ("u8(0))", "not expected"), (",", "not expected"), ("u8(0) + *", "not expected"),
        ("0x10 + u8(0)", "not expected"),
        ("u8(0)\n+ ü", "no place"),
    ],
)  # fmt: skip
def test_everything_else_is_refused_in_one_sentence(text: str, says: str) -> None:
    with pytest.raises(BadInput) as caught:
        parse_formula(text)
    assert says in caught.value.message


@given(st.text(alphabet="us816240bits(),.+-*/ x", max_size=40))
def test_any_text_is_a_formula_or_refused(text: str) -> None:
    """No other exception, and what is understood has a value or none for every answer."""
    try:
        formula = parse_formula(text)
    except BadInput:
        return
    for data in (bytes(64), b"\xff" * 64):
        formula.value(data)


@given(st.binary(min_size=8, max_size=8), st.sampled_from(["u8(1)", "s16(2)", "u32(4)", "bits(3, 2, 5)", "s24(0)"]))
def test_a_field_written_is_read_again_and_touches_nothing_else(data: bytes, text: str) -> None:
    field = parse_formula(text).fields[0]
    changed = bytearray(data)
    field.into(changed, field.of(data))
    assert bytes(changed) == data
    for number in (field.low, field.high):
        field.into(changed, number)
        assert field.of(bytes(changed)) == number
