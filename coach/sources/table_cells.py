"""Cells that are no plain numbers: signs for no value, signs for a value that could not be read, words of a status."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coach.signals import Signal

ABSENT = frozenset(("nan", "n/a", "na", "null", "none", "nil", "-", "--", "---"))
"""Written where there is no sample, lower case. An empty cell says the same."""

UNREADABLE = frozenset(("#n/a", "#value!", "#num!", "#div/0!", "error", "err", "invalid", "no data", "nodata", "?"))
"""Written where there was a sample that could not be read, lower case."""

_NUMBER = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
COMMA_DECIMAL = re.compile(r"[+-]?[0-9]+,[0-9]+")
POINT_DECIMAL = re.compile(r"[+-]?[0-9]*\.[0-9]+")
_SWITCH = {"true": 1.0, "on": 1.0, "yes": 1.0, "false": 0.0, "off": 0.0, "no": 0.0}
_MOST_REMEMBERED = 100_000


class BadCell(ValueError):
    """A cell that is neither number nor sign; `row` counts from 0 within what was handed in."""

    def __init__(self, row: int, text: str) -> None:
        super().__init__(row, text)
        self.row = row
        self.text = text


@dataclass(slots=True)
class Numbers:
    """Cells read.

    Attributes:
        value: float64, shape (n,); NaN where there is none or it could not be read.
        there: whether there is a sample.
        absent: how many cells bear a sign for no sample; `first_absent` is the row of the first.
    """

    value: NDArray[np.float64]
    there: NDArray[np.bool_]
    absent: int
    first_absent: int


def numbers(cells: Iterable[object], signal: Signal | None, decimal: str) -> Numbers:
    """Cells as numbers: text, or what a reader has made of it already (a number, a truth value, NaN for empty).

    Args:
        cells: of one column.
        signal: what they carry, for the words of a status; None for a time.
        decimal: `.` or `,`.

    Raises:
        BadCell: the first cell that is neither a number nor a sign.
    """
    known: dict[str, tuple[float, int]] = {}
    pairs = []
    for row, cell in enumerate(cells):
        # What is empty comes as a float that is not a number.
        text = cell if isinstance(cell, str) else "" if isinstance(cell, float) and math.isnan(cell) else str(cell)
        pair = known.get(text)
        if pair is None:
            if len(known) > _MOST_REMEMBERED:
                known.clear()
            pair = known[text] = _number(row, text.strip(), signal, decimal)
        pairs.append(pair)
    value = np.array([pair[0] for pair in pairs], dtype=np.float64)
    state = np.array([pair[1] for pair in pairs], dtype=np.int8)
    absent = np.flatnonzero(state == 1)
    return Numbers(value, state == 2, len(absent), int(absent[0]) if len(absent) else -1)


def _number(row: int, text: str, signal: Signal | None, decimal: str) -> tuple[float, int]:
    """Value, and 0 for an empty cell, 1 for a sign of no sample, 2 for a sample."""
    plain = text.lower()
    if not text:
        return np.nan, 0
    number = text.replace(",", ".", 1) if decimal == "," and "." not in text else text
    if _NUMBER.fullmatch(number) and not (decimal == "," and "." in text):
        return float(number), 2
    if plain in ABSENT:
        return np.nan, 1
    if plain in UNREADABLE or plain.lstrip("+-") in ("inf", "infinity"):
        return np.nan, 2
    if signal is not None:
        for value, word in signal.states:
            if plain == word:
                return float(value), 2
        if signal.quantity == "state" and plain in _SWITCH:
            return _SWITCH[plain], 2
        if signal.quantity == "gear" and plain in ("n", "neutral"):
            return 0.0, 2
    raise BadCell(row, text)
