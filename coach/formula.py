"""Bytes of an answer into a number, by a formula that a person wrote: a small grammar of our own, nothing is executed.

    sum     = product { ("+" | "-") product }
    product = factor { ("*" | "/") factor }
    factor  = "-" factor | number | field | "(" sum ")"
    number  = digits [ "." digits ]
    field   = ("u8" | "u16" | "u24" | "u32" | "s8" | "s16" | "s24" | "s32") "(" byte ")"
            | "bits" "(" byte "," lowest "," count ")"

A field is a whole number of the answer, high byte first, from `byte` on, which counts from 0; `s` ones are signed in
two's complement. `bits` are `count` bits of one byte from the bit `lowest` up, 0 being the lowest.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache

from coach.errors import BadInput

MOST_CHARACTERS = 200
MOST_DEPTH = 20
MOST_BYTES = 64
"""An answer of one identifier is never longer here."""
FIELDS = {f"{sign}{8 * width}": (width, sign == "s") for sign in "us" for width in (1, 2, 3, 4)}

_TOKEN = re.compile(r"\s*(?:([0-9]+(?:\.[0-9]+)?)|([a-z]+[0-9]*)|([-+*/(),]))")
_Value = Callable[[Sequence[int]], float]


@dataclass(frozen=True, slots=True)
class Field:
    """A whole number inside an answer: `width` bytes from `at` on, high byte first; of them `bits` from `shift` up."""

    at: int
    width: int = 1
    signed: bool = False
    shift: int = 0
    bits: int = 0

    @property
    def low(self) -> int:
        """The smallest number that it holds."""
        return -(1 << (8 * self.width - 1)) if self.signed else 0

    @property
    def high(self) -> int:
        """The largest number that it holds."""
        return (1 << (self.bits or 8 * self.width - self.signed)) - 1

    def of(self, data: bytes) -> int:
        """The number in an answer that is long enough."""
        raw = int.from_bytes(data[self.at : self.at + self.width], "big", signed=self.signed)
        return raw >> self.shift & self.high if self.bits else raw

    def into(self, data: bytearray, number: int) -> None:
        """Writes the number into an answer."""
        if self.bits:
            data[self.at] = data[self.at] & ~(self.high << self.shift) | number << self.shift
        else:
            data[self.at : self.at + self.width] = number.to_bytes(self.width, "big", signed=self.signed)


@dataclass(frozen=True)
class Formula:
    """A formula that was understood.

    Attributes:
        text: as written.
        fields: what it reads of the answer, in the order of the text, each once.
    """

    text: str
    fields: tuple[Field, ...]
    _value: _Value

    @property
    def length(self) -> int:
        """Bytes that an answer must have at least."""
        return max(f.at + f.width for f in self.fields)

    def of_numbers(self, numbers: Sequence[int]) -> float:
        """The value for one number of each field; NaN where it is not defined (a division by zero)."""
        try:
            value = self._value(numbers)
        except ZeroDivisionError:
            return math.nan
        return value if math.isfinite(value) else math.nan

    def value(self, data: bytes) -> float:
        """The value of an answer of at least `length` bytes; NaN where it is not defined."""
        return self.of_numbers([f.of(data) for f in self.fields])


@lru_cache(maxsize=256)
def parse_formula(text: str) -> Formula:
    """The formula in a text.

    Raises:
        BadInput: not of the grammar, too long, too deep, or without any byte of the answer in it.
    """
    if len(text) > MOST_CHARACTERS:
        raise BadInput(f"this is longer than {MOST_CHARACTERS} characters")
    reader = _Reader(text)
    value = reader.sum(0)
    if reader.word is not None:
        raise BadInput(f'"{reader.word}" was not expected there; a formula is like (u16(0) - 64) * 0.25')
    if not reader.fields:
        raise BadInput("no byte of the answer is in it; write u8(0) for the first one")
    return Formula(text, tuple(reader.fields), value)


class _Reader:
    """Reads a text from left to right; `word` is what comes next, None at the end."""

    def __init__(self, text: str) -> None:
        self.text, self.at = text.rstrip(), 0
        self.fields: list[Field] = []
        self.word: str | None = None
        self.next()

    def next(self) -> str | None:
        """The word that came next before; the one after it is looked at."""
        before = self.word
        if self.at >= len(self.text):
            self.word = None
            return before
        found = _TOKEN.match(self.text, self.at)
        if found is None:
            sign = self.text[self.at :].lstrip()[:1]
            raise BadInput(f'"{sign}" has no place in a formula; a formula is like (u16(0) - 64) * 0.25')
        self.at, self.word = found.end(), found[0].strip()
        return before

    def sum(self, depth: int) -> _Value:
        left = self.product(depth)
        while self.word in ("+", "-"):
            left = _joined(self.next() or "", left, self.product(depth))
        return left

    def product(self, depth: int) -> _Value:
        left = self.factor(depth)
        while self.word in ("*", "/"):
            left = _joined(self.next() or "", left, self.factor(depth))
        return left

    def factor(self, depth: int) -> _Value:
        if depth >= MOST_DEPTH:
            raise BadInput("this is nested too deeply")
        word = self.next()
        if word is None:
            raise BadInput("something is missing at its end")
        if word == "-":
            inner = self.factor(depth + 1)
            return lambda numbers: -inner(numbers)
        if word == "(":
            inside = self.sum(depth + 1)
            self.expect(")")
            return inside
        if word[0].isdigit():
            number = float(word)
            return lambda _: number
        if word in FIELDS or word == "bits":
            return self.field(word)
        if word[0].isalpha():
            raise BadInput(f'there is no "{word}" in a formula; there are {", ".join(FIELDS)} and bits')
        raise BadInput(f'"{word}" was not expected there; a formula is like (u16(0) - 64) * 0.25')

    def field(self, name: str) -> _Value:
        self.expect("(")
        numbers = [self.whole()]
        while self.word == ",":
            self.next()
            numbers.append(self.whole())
        self.expect(")")
        found = _field(name, numbers)
        if found not in self.fields:
            self.fields.append(found)
        place = self.fields.index(found)
        return lambda values: float(values[place])

    def whole(self) -> int:
        word = self.next()
        if word is None or not word.isdigit() or int(word) >= MOST_BYTES:
            raise BadInput(f"a byte is a whole number from 0 to {MOST_BYTES - 1}, as in u8(0)")
        return int(word)

    def expect(self, sign: str) -> None:
        if self.word != sign:
            raise BadInput(f'"{sign}" is missing before "{self.word}"' if self.word else f'"{sign}" is missing')
        self.next()


def _field(name: str, numbers: list[int]) -> Field:
    if name == "bits":
        if len(numbers) != 3:
            raise BadInput("bits takes three numbers: byte, lowest bit, how many, as in bits(0, 4, 2)")
        at, lowest, count = numbers
        if not 1 <= count <= 8 - lowest:
            raise BadInput("bits lie in one byte: lowest bit 0 to 7, and no more than there are above it")
        return Field(at, shift=lowest, bits=count)
    if len(numbers) != 1:
        raise BadInput(f"{name} takes one number, its first byte, as in {name}(0)")
    width, signed = FIELDS[name]
    return Field(numbers[0], width, signed)


def _joined(sign: str, left: _Value, right: _Value) -> _Value:
    if sign == "+":
        return lambda numbers: left(numbers) + right(numbers)
    if sign == "-":
        return lambda numbers: left(numbers) - right(numbers)
    if sign == "*":
        return lambda numbers: left(numbers) * right(numbers)
    return lambda numbers: left(numbers) / right(numbers)
