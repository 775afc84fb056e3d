"""Samples of a drive in one compact file: for each signal its times as differences, then its values.

All numbers little-endian: n times int64 (the first one whole, then differences, in microseconds), n values float64. NaN
is a sample that could not be read. How many there are of which signal stands in the manifest, in the file's own order.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from hashlib import sha256

import numpy as np

from coach.errors import BundleError
from coach.recording import Recording, Series

BYTES = 16
"""A sample's size."""
LONGEST_US = 10**14
"""Three years: no drive is longer, and no sum of such times runs over."""


@dataclass(frozen=True)
class BundledRecording(Recording):
    """A drive of which not every signal is inside from end to end.

    Attributes:
        last_us: time of the drive's last sample, whether it is inside or not.
    """

    last_us: int = 0

    @property
    def duration_us(self) -> int:
        """Time of the drive's last sample."""
        return max(self.last_us, super().duration_us)


def pack(series: Series) -> bytes:
    """One signal's samples."""
    steps = np.diff(series.t_us, prepend=np.int64(0)).astype("<i8")
    return steps.tobytes() + series.value.astype("<f8").tobytes()


def digest(packed: bytes) -> str:
    """SHA-256 of one signal's samples, in hexadecimal."""
    return sha256(packed).hexdigest()


def unpack(raw: bytes, counts: Sequence[tuple[str, int]], where: str) -> Iterator[tuple[str, Series, str]]:
    """Name, samples and SHA-256 of each signal.

    Args:
        raw: the whole file.
        counts: signal and number of its samples, in the file's order.

    Raises:
        BundleError: it has more or fewer samples than was said, or times that do not rise.
    """
    if sum(count for _, count in counts) * BYTES != len(raw):
        raise BundleError("it does not have as many samples as the manifest says", where=where)
    at = 0
    for name, count in counts:
        part = raw[at : at + count * BYTES]
        at += count * BYTES
        steps = np.frombuffer(part, "<i8", count)
        value = np.frombuffer(part, "<f8", count, count * 8)
        bounded = count == 0 or (
            0 <= int(steps[0]) <= LONGEST_US and int(steps.min(initial=1)) >= 0 and int(steps.max()) <= LONGEST_US
            and float(np.sum(steps, dtype=np.float64)) <= LONGEST_US
        )  # fmt: skip
        if not bounded or bool((steps[1:] <= 0).any()):
            raise BundleError(f"the times of {name} do not rise, or are no times of a drive", where=where)
        yield name, Series(np.cumsum(steps, dtype=np.int64), value.astype(np.float64)), digest(part)
