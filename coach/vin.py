"""Vehicle identification numbers: the check digit, and the form in which one may be shown."""

from __future__ import annotations

# 49 CFR 565.15(c): the value of each letter (I, O and Q are never used), and the weight of each of the 17 places.
_VALUES = {
    **{str(digit): digit for digit in range(10)},
    **dict(zip("ABCDEFGH", range(1, 9), strict=True)),
    **dict(zip("JKLMN", range(1, 6), strict=True)),
    "P": 7,
    "R": 9,
    **dict(zip("STUVWXYZ", range(2, 10), strict=True)),
}
_WEIGHTS = (8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2)

SHOWN = 4
"""Last places of the number that stay: they tell two cars of one owner apart, and name none."""


def check_digit(vin: str) -> str:
    """The digit (or X) that belongs in the ninth place of a number of 17 characters.

    Source: 49 CFR 565.15(c). It binds in North America; elsewhere the ninth place is free.

    Raises:
        ValueError: not 17 of the characters that may be used.
    """
    if len(vin) != 17 or any(c not in _VALUES for c in vin):
        raise ValueError("a vehicle identification number is 17 capital letters and digits, without I, O and Q")
    rest = sum(_VALUES[c] * weight for c, weight in zip(vin, _WEIGHTS, strict=True)) % 11
    return "X" if rest == 10 else str(rest)


def mask_vin(vin: str) -> str:
    """The number with all but its last places hidden: on screens, in what is printed and in bundles alike."""
    return "*" * max(0, len(vin) - SHOWN) + vin[-SHOWN:] if len(vin) > SHOWN else "*" * len(vin)
