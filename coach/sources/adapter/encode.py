"""The inverse of `coach.signals.Reading`: a value becomes the bytes that decode to it, within half a step."""

from __future__ import annotations

import math
from collections.abc import Iterable

from coach.signals import Reading


def raw_of(reading: Reading, value: float) -> int:
    """The whole number that stands for `value`, held within the encoding.

    Args:
        reading: how the answer is decoded.
        value: in the signal's unit, not NaN.

    Raises:
        ValueError: `value` is not a number.
    """
    if math.isnan(value):
        raise ValueError("what is not a number cannot be encoded")
    most = (1 << (reading.bits or 8 * reading.width)) - 1
    # Held first: an infinite value has no nearest whole number.
    return math.floor(min(max((value - reading.offset) / reading.scale, 0.0), float(most)) + 0.5)


def encode(parts: Iterable[tuple[Reading, float]], *, filling: bytes = b"") -> bytes:
    """The data bytes of one parameter's answer, which may carry several signals.

    Args:
        parts: readings of the same parameter, each with its value.
        filling: what stands where no reading looks (which parts are supported, a second sensor); shorter is zeros.

    Raises:
        ValueError: no parts, or parts of different parameters.
    """
    known = list(parts)
    if len({(r.pid, r.length) for r, _ in known}) != 1:
        raise ValueError("an answer is made of the readings of one parameter")
    length = known[0][0].length
    whole = int.from_bytes(filling[:length].ljust(length, b"\0"), "big")
    for reading, value in known:
        shift = 8 * (length - reading.first - reading.width) + reading.shift
        most = (1 << (reading.bits or 8 * reading.width)) - 1
        whole = whole & ~(most << shift) | raw_of(reading, value) << shift
    return whole.to_bytes(length, "big")
