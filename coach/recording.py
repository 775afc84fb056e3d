"""The one array form of a drive: every reader yields it, every judge and report takes it.

Time is whole microseconds since the drive's first sample; one wall-clock anchor a drive.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

US = 1_000_000


@dataclass(frozen=True, slots=True)
class Series:
    """The samples of one signal.

    Attributes:
        t_us: int64, shape (n,), strictly increasing; microseconds since the drive's first sample.
        value: float64, shape (n,), in the catalogue's unit; NaN is a sample that could not be read.
    """

    t_us: NDArray[np.int64]
    value: NDArray[np.float64]

    def __len__(self) -> int:
        return len(self.t_us)


@dataclass(frozen=True, slots=True)
class Mark:
    """Something a person said during the drive, at a time.

    `kind` is one of `arm`, `disarm`, `skip`, `unskip`, `pause`, `resume`, `confirm`, `acknowledge`, `role`;
    `capture` is the capture's id where it concerns one; `text` is the item confirmed or note acknowledged.
    """

    t_us: int
    kind: str
    capture: str | None = None
    text: str = ""


@dataclass(frozen=True, slots=True)
class Note:
    """Something a reader or judge has to tell about a drive, once: `code`, where, and how often."""

    code: str
    text: str
    signal: str | None = None
    count: int = 1


@dataclass(frozen=True)
class Recording:
    """A drive in arrays.

    Attributes:
        series: signal name to its samples; only signals that were read, never derived ones.
        marks: what people said, by time; `None` when the source has no such record (a table).
        wall_us: wall clock at t=0, microseconds since 1970 UTC, or None when not known.
        end_us: a promise that every sample before this time is in `series` (a link that fell silent goes on promising);
            None when the last sample is all that is known.
        notes: what the reader noticed.
        meta: free facts about the origin (file name, columns unknown, ...), JSON-able.
    """

    series: Mapping[str, Series]
    marks: tuple[Mark, ...] | None = None
    wall_us: int | None = None
    end_us: int | None = None
    notes: tuple[Note, ...] = ()
    meta: Mapping[str, Any] = field(default_factory=dict)

    @property
    def samples(self) -> int:
        """How many samples there are in all."""
        return sum(len(s) for s in self.series.values())

    @property
    def duration_us(self) -> int:
        """Time of the last sample (the first one is at 0)."""
        return max((int(s.t_us[-1]) for s in self.series.values() if len(s)), default=0)

    def instants(self) -> Iterator[tuple[int, dict[str, float]]]:
        """Yields `(t_us, {signal: value})`, every time stamp once, in order."""
        names = [n for n, s in self.series.items() if len(s)]
        if not names:
            return
        t = np.concatenate([self.series[n].t_us for n in names])
        v = np.concatenate([self.series[n].value for n in names])
        which = np.repeat(np.arange(len(names)), [len(self.series[n]) for n in names])
        order = np.argsort(t, kind="stable")
        now: int | None = None
        frame: dict[str, float] = {}
        for i, value, k in zip(t[order].tolist(), v[order].tolist(), which[order].tolist(), strict=True):
            if i != now:
                if now is not None:
                    yield now, frame
                now, frame = i, {}
            frame[names[k]] = value
        if now is not None:
            yield now, frame


def from_pairs(samples: Iterable[tuple[int, str, float]], **more: Any) -> Recording:
    """A recording from `(t_us, signal, value)` in any order; the first of a signal in an instant stands."""
    columns: dict[str, dict[int, float]] = {}
    for t, name, value in samples:
        columns.setdefault(name, {}).setdefault(int(t), float(value))
    series = {}
    for name, column in columns.items():
        stamps = sorted(column)
        series[name] = Series(np.array(stamps, dtype=np.int64), np.array([column[t] for t in stamps], dtype=np.float64))
    return Recording(series, **more)
