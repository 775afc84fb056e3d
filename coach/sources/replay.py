"""A recorded drive played as if it happened now: at real speed, N times as fast, or flat out. It drops no sample."""

from __future__ import annotations

import math
import threading
from collections.abc import Callable, Iterator, Mapping
from typing import Any, Literal

import numpy as np

from coach.clock import US, Clock
from coach.errors import BadInput
from coach.recording import Mark, Recording, Series
from coach.sources.base import Advance, Ended, Instant, Marked, SourceEvent

TICK_S = 0.1
"""While nothing is recorded, the time that has passed is told this often (seconds of the clock)."""

STRETCH = 2_000
"""How many stamps of the longest series are made into instants at a time."""


class Replay:
    """A source that plays a recording.

    Every event is due at a time counted from the start, so the error of one wait is never carried to the next. When the
    listener is slow the replay runs late, then catches up.

    Args:
        recording: the drive.
        speed: 1.0 is real speed, 8.0 eight times as fast, None as fast as the listener takes it.
        name: words for a screen; default the recording's file name.

    Raises:
        BadInput: a speed that is not above zero.
    """

    kind: Literal["replay"] = "replay"

    def __init__(self, recording: Recording, speed: float | None = 1.0, *, name: str | None = None) -> None:
        if speed is not None and not 0 < speed < float("inf"):
            raise BadInput(f"a replay's speed is a number above 0, such as 1 or 8, not {speed:g}", where="speed")
        self.recording = recording
        self.speed = speed
        self.name = name if name is not None else str(recording.meta.get("file", "replay"))
        self.signals = frozenset(n for n, s in recording.series.items() if len(s))
        self.people_recorded = recording.marks is not None
        self.meta: Mapping[str, Any] = {
            **recording.meta,
            "wall_us": recording.wall_us,
            "notes": [{"code": n.code, "text": n.text, "signal": n.signal, "count": n.count} for n in recording.notes],
        }

    def run(self, emit: Callable[[SourceEvent], None], stop: threading.Event, clock: Clock) -> None:
        """Plays the drive once; see `Source.run`."""
        start_us = clock.steady_us()
        for t_us, event in _merged(self.recording):
            if self.speed is not None and not self._wait_until(t_us, start_us, emit, stop, clock):
                break
            if stop.is_set():
                break
            emit(event)
        emit(Ended("stopped" if stop.is_set() else "finished"))

    def _wait_until(
        self, t_us: int, start_us: int, emit: Callable[[SourceEvent], None], stop: threading.Event, clock: Clock
    ) -> bool:
        """Waits until `t_us` of the drive is due, telling the time on the way; False when stopped."""
        assert self.speed is not None
        due_us = start_us + math.ceil(t_us / self.speed)
        while (left_us := due_us - clock.steady_us()) > 0:
            if clock.wait(stop, min(left_us / US, TICK_S)):
                return False
            now_us = int((clock.steady_us() - start_us) * self.speed)
            if left_us > TICK_S * US and now_us < t_us:
                emit(Advance(now_us))
        return True


def _merged(recording: Recording) -> Iterator[tuple[int, SourceEvent]]:
    """Instants and marks by time; a mark comes before the instant of its stamp. Last the promise of the drive's end."""
    marks: list[Mark] = sorted(recording.marks or (), key=lambda mark: mark.t_us)
    at = 0
    for t_us, values in _instants(recording):
        while at < len(marks) and marks[at].t_us <= t_us:
            yield marks[at].t_us, Marked(marks[at])
            at += 1
        yield t_us, Instant(t_us, values)
    for mark in marks[at:]:
        yield mark.t_us, Marked(mark)
    if recording.end_us is not None:
        yield recording.end_us, Advance(recording.end_us)


def _instants(recording: Recording) -> Iterator[tuple[int, dict[str, float]]]:
    """`recording.instants()`, made a stretch at a time: a drive of hours starts at once and takes little memory."""
    longest = max(recording.series.values(), key=len, default=None)
    if longest is None:
        return
    cuts = [*longest.t_us[::STRETCH].tolist()[1:], None]
    begin = dict.fromkeys(recording.series, 0)
    for cut in cuts:
        stretch = {}
        for name, series in recording.series.items():
            end = len(series) if cut is None else int(np.searchsorted(series.t_us, cut))
            stretch[name] = Series(series.t_us[begin[name] : end], series.value[begin[name] : end])
            begin[name] = end
        yield from Recording(stretch).instants()
