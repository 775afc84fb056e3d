"""Samples in blocks: packed tables of (signal, flags, time, value[, uncertainty]), little-endian, read by numpy.

Format 1, 16 bytes a sample: uint16 signal (the drive's own number for it), uint16 flags, int32 microseconds since
the block's base, float64 value. Format 2 adds uint32 uncertainty of the time in microseconds: 20 bytes. The base is
the block's earliest time. The checksum is CRC-32 of the data. Flags: 1 = came too late to be judged (a time at or
before one that was judged already), 2 = the signal was there already at that time.
"""

from __future__ import annotations

import zlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from coach.recording import Note, Series

LATE = 1
TWICE = 2

PLAIN = 1
WITH_UNCERTAINTY = 2
DTYPES = {
    PLAIN: np.dtype([("signal", "<u2"), ("flags", "<u2"), ("t", "<i4"), ("value", "<f8")]),
    WITH_UNCERTAINTY: np.dtype(
        [("signal", "<u2"), ("flags", "<u2"), ("t", "<i4"), ("value", "<f8"), ("uncertainty", "<u4")]
    ),
}

SPAN_US = 300_000
"""A block is closed when it spans so much: with its commit it stays under the promised 0.5 s."""
FARTHEST_US = 2**31 - 1


class Block(NamedTuple):
    """A block as it is stored, in the order of the table's columns."""

    first_us: int
    last_us: int
    samples: int
    format: int
    checksum: int
    data: bytes


class BlockBuilder:
    """Collects samples and cuts them into blocks."""

    def __init__(self) -> None:
        self._clear()

    def _clear(self) -> None:
        self._t: list[int] = []
        self._signal: list[int] = []
        self._value: list[float] = []
        self._flags: list[int] = []
        self._uncertainty: list[int] = []
        self._low = self._high = 0

    def __len__(self) -> int:
        return len(self._t)

    def fits(self, t_us: int) -> bool:
        """Whether a sample at `t_us` may join the block that is open."""
        if not self._t:
            return True
        return t_us - self._low < SPAN_US and self._high - t_us < FARTHEST_US

    def add(self, t_us: int, signal: int, value: float, flags: int = 0, uncertainty_us: int = 0) -> None:
        """Adds a sample; the caller asked `fits` before."""
        if not self._t:
            self._low = self._high = t_us
        elif t_us < self._low:
            self._low = t_us
        elif t_us > self._high:
            self._high = t_us
        self._t.append(t_us)
        self._signal.append(signal)
        self._value.append(value)
        self._flags.append(flags)
        self._uncertainty.append(uncertainty_us)

    def cut(self) -> Block | None:
        """The block so far, or None when there is nothing; the next sample opens a new one."""
        if not self._t:
            return None
        kind = WITH_UNCERTAINTY if any(self._uncertainty) else PLAIN
        table = np.empty(len(self._t), dtype=DTYPES[kind])
        table["signal"] = self._signal
        table["flags"] = self._flags
        table["t"] = np.array(self._t, dtype=np.int64) - self._low
        table["value"] = self._value
        if kind == WITH_UNCERTAINTY:
            table["uncertainty"] = self._uncertainty
        data = table.tobytes()
        block = Block(self._low, self._high, len(self._t), kind, zlib.crc32(data), data)
        self._clear()
        return block


@dataclass(frozen=True)
class Samples:
    """Samples of whole blocks as arrays of one length, in the order in which they came."""

    t_us: NDArray[np.int64]
    signal: NDArray[np.uint16]
    value: NDArray[np.float64]
    flags: NDArray[np.uint16]
    damaged: int = 0


def decode(blocks: Iterable[tuple[int, int, int, int, int, bytes]]) -> Samples:
    """All samples of `blocks` (see `Block`); one whose checksum is wrong is left out and counted."""
    crc32 = zlib.crc32
    good: dict[int, tuple[list[int], list[int], bytearray]] = {kind: ([], [], bytearray()) for kind in DTYPES}
    sizes = {kind: dtype.itemsize for kind, dtype in DTYPES.items()}
    damaged = 0
    # A drive of eight hours has 100,000 blocks: nothing is made for one but what is needed.
    for first_us, _, count, kind, checksum, data in blocks:
        if crc32(data) != checksum or len(data) != count * sizes.get(kind, -1):
            damaged += 1
            continue
        bases, counts, packed = good[kind]
        bases.append(first_us)
        counts.append(count)
        packed += data  # at once, so that the row's own bytes can be used again for the next
    tables = [_table(kind, *columns) for kind, columns in good.items() if columns[0]]
    if not tables:
        tables = [_table(PLAIN, [], [], bytearray())]
    t, table = tables[0]
    if len(tables) > 1:
        # Mixed formats are rare; only the order in time matters to a reader, and a stable sort restores it.
        t = np.concatenate([p[0] for p in tables])
        table = np.concatenate([p[1][["signal", "flags", "value"]] for p in tables])
        by_time = np.argsort(t, kind="stable")
        t, table = t[by_time], table[by_time]
    return Samples(t, table["signal"], table["value"], table["flags"], damaged)


def _table(
    kind: int, bases: list[int], counts: list[int], packed: bytearray
) -> tuple[NDArray[np.int64], NDArray[np.void]]:
    table = np.frombuffer(packed, dtype=DTYPES[kind])
    base = np.repeat(np.array(bases, dtype=np.int64), np.array(counts, dtype=np.int64))
    return base + table["t"], table


def to_series(samples: Samples, names: Sequence[str]) -> tuple[dict[str, Series], tuple[Note, ...]]:
    """The samples that may be judged, by signal, and notes on those that may not.

    Args:
        names: signal names by the drive's own numbers.
    """
    t, signal, value, flags = samples.t_us, samples.signal, samples.value, samples.flags
    notes: list[Note] = []
    if samples.damaged:
        text = "Blocks of samples were damaged and are left out."
        notes.append(Note("damaged_blocks", text, count=samples.damaged))
    if flags.any():
        for bit, code, text in (
            (LATE, "late_samples", "Samples came with a time at or before one already judged; kept, not judged."),
            (TWICE, "twice_samples", "A signal came twice with one time; the first stands."),
        ):
            for k in np.unique(signal[(flags & bit) != 0]):
                count = int(((flags & bit) != 0)[signal == k].sum())
                notes.append(Note(code, text, signal=names[int(k)], count=count))
        good = flags == 0
        t, signal, value = t[good], signal[good], value[good]
    order = np.argsort(signal, kind="stable")
    counts = np.bincount(signal, minlength=len(names)) if len(signal) else np.zeros(len(names), dtype=np.int64)
    ends = np.cumsum(counts)
    t, value = t[order], value[order]
    series = {}
    for k, name in enumerate(names):
        if counts[k]:
            part = slice(int(ends[k] - counts[k]), int(ends[k]))
            series[name] = Series(t[part], value[part])
    return series, tuple(notes)
