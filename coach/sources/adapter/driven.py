"""Cars that move: their values turned into answers; one that follows a recorded drive."""

from __future__ import annotations

import math
import threading
from abc import ABC, abstractmethod
from collections.abc import Collection, Iterable, Mapping
from typing import Literal

import numpy as np

from coach.clock import US, Clock
from coach.errors import BadInput
from coach.recording import Recording
from coach.signals import Catalogue, Identified, Reading
from coach.sources.adapter.car import CURRENT, EXTENDED, FREEZE, IDENTITY, Identity, code_bytes
from coach.sources.adapter.encode import encode
from coach.sources.adapter.frames import UNITS_29
from coach.sources.adapter.maker import encode_identified

After = Literal["hold", "again", "off"]
"""What the car does when its drive is over: stays as it is, drives once more, or is switched off."""

GAP_US = 2 * US
"""A recording without any sample for longer than this has a gap, in which the car does not answer either."""
_EDGE_US = US // 5

_MONITORS, _STANDARD = 0x01, 0x1C
_GEARBOX = frozenset({_MONITORS, 0x0C, 0x0D, _STANDARD, 0xA4})
"""What the second control unit answers, as far as the car has it."""

_FILLING = {
    0x01: bytes.fromhex("00076100"),
    **dict.fromkeys(range(0x24, 0x2C), bytes.fromhex("00003A00")),
    **dict.fromkeys(range(0x34, 0x3C), bytes.fromhex("00008000")),
    0x77: bytes.fromhex("0100000000"),
    0x78: bytes.fromhex("010000000000000000"),
    0x87: bytes.fromhex("0100000000"),
    0xA4: bytes.fromhex("03000000"),
}
"""Bytes that no signal looks at: monitors, a sensor's voltage or current, which parts are there (from memory)."""


class DrivenCar(ABC):
    """A car whose mode-01 answers are made from signals.

    Args:
        signals: names of those it has. What the catalogue has no reading for is left out.
        catalogue: how they are encoded.
        clock: the drive's time.
        speed: how many times as fast as real the drive goes by.
        after: what happens when it is over.
        identity: who the car is.
        prefer: parameters to be used where a signal has several.
        more: answers beside the signals', by mode and parameter; unit 0 gives them.

    The drive begins with the first value that is asked for, so that connecting costs nothing of it.

    Raises:
        BadInput: a speed that is none.
    """

    def __init__(
        self,
        signals: Iterable[str],
        catalogue: Catalogue,
        clock: Clock,
        *,
        speed: float = 1.0,
        after: After = "hold",
        identity: Identity | None = None,
        prefer: Collection[int] = (),
        more: Mapping[tuple[int, int], bytes] | None = None,
    ) -> None:
        if not 0 < speed < math.inf:
            raise BadInput(f"a drive's speed is a number above 0, such as 1 or 8, not {speed:g}", where="speed")
        self._clock, self._speed, self._after = clock, speed, after
        self.identity = identity if identity is not None else Identity()
        self._more = dict(more or {})
        self._start_us: int | None = None
        self._lock = threading.RLock()
        self._layout: dict[int, list[tuple[str, Reading]]] = {}
        self._makers: dict[tuple[int, int], list[tuple[str, Identified]]] = {}
        for name in signals:
            if name in catalogue and (maker := catalogue[name].identified) is not None:
                self._makers.setdefault((maker.identifier, _unit(maker.header)), []).append((name, maker))
            if name in catalogue and (own := catalogue[name].reading) is not None:
                ways = (own, *catalogue[name].readings)
                reading = next((r for r in ways if r.pid in prefer), own)
                self._layout.setdefault(reading.pid, []).append((name, reading))

    def restart(self) -> None:
        """The drive begins anew with the next value that is asked for."""
        with self._lock:
            self._start_us = None

    def answer(self, mode: int, pid: int, ecu: int) -> bytes | None:
        """See `Car.answer`."""
        with self._lock:
            t_us = self._time(start=mode in {CURRENT, EXTENDED})
            if not self._awake(t_us):
                return None
            if ecu == 0 and (mode, pid) in self._more:
                return self._more[mode, pid]
            if mode == CURRENT:
                return self._current(pid, ecu, t_us)
            if mode == FREEZE:
                return self._frozen(pid, ecu)
            if mode == EXTENDED:
                return self._of_maker(pid, ecu, t_us)
            return self.identity.answer(mode, pid, ecu)

    def offers(self, mode: int, ecu: int) -> frozenset[int]:
        """See `Car.offers`. Nothing while the car does not answer."""
        with self._lock:
            if not self._awake(self._time(start=False)):
                return frozenset()
        own = {p for m, p in self._more if m == mode and ecu == 0}
        if mode == IDENTITY:
            own |= self.identity.offers(ecu)
        if mode == CURRENT:
            own |= {pid for pid in (*self._layout, _MONITORS, _STANDARD) if ecu == 0 or pid in _GEARBOX}
        if mode == FREEZE and ecu == 0:
            own |= {0x02, *self._layout} if self.identity.stored else {0x02}
        return frozenset(own)

    def volts(self) -> float | None:
        """See `Car.volts`."""
        with self._lock:
            for name in ("adapter_voltage", "module_voltage"):
                value = self._value(name, self._time(start=False))
                if value is not None and not math.isnan(value):
                    return value
        return 14.1 if self._awake(self._time(start=False)) else 12.4

    def _time(self, *, start: bool) -> int:
        now_us = self._clock.steady_us()
        if self._start_us is None:
            if not start:
                return 0
            self._start_us = now_us
        t_us = int((now_us - self._start_us) * self._speed)
        end_us = self._end_us
        if self._after == "again" and end_us is not None and t_us > end_us:
            self._start_us, t_us = now_us, 0
            self._rewind()
        return t_us

    def _awake(self, t_us: int) -> bool:
        silent = self._gap(t_us)  # asked first: it drives the simulated car on, which may end its script
        over = self._end_us is not None and t_us > self._end_us
        return not silent and not (over and self._after == "off")

    def _current(self, pid: int, ecu: int, t_us: int) -> bytes | None:
        if ecu and pid not in _GEARBOX:
            return None
        parts = [(reading, self._value(name, t_us)) for name, reading in self._layout.get(pid, ())]
        known = [(reading, v) for reading, v in parts if v is not None and not math.isnan(v)]
        if known:
            return encode(known, filling=_FILLING.get(pid, b""))
        if pid == _STANDARD:
            return b"\x06"
        if pid == _MONITORS:
            codes = len(self.identity.stored) if ecu == 0 else 0
            return bytes([(0x80 if codes else 0) | min(codes, 127)]) + _FILLING[_MONITORS][1:]
        return None

    def _of_maker(self, identifier: int, ecu: int, t_us: int) -> bytes | None:
        """The answer to an identifier that the vehicle file defines."""
        parts = [(reading, self._value(name, t_us)) for name, reading in self._makers.get((identifier, ecu), ())]
        known = [(reading, v) for reading, v in parts if v is not None and not math.isnan(v)]
        return encode_identified(known) if known else None

    def _frozen(self, pid: int, ecu: int) -> bytes | None:
        """The values at the drive's beginning, kept with the first stored code."""
        if ecu or (pid != 0x02 and not self.identity.stored):
            return None
        if pid == 0x02:
            return code_bytes(self.identity.stored[0]) if self.identity.stored else b"\0\0"
        return self._current(pid, 0, 0) if pid in self._layout else None

    @abstractmethod
    def _gap(self, t_us: int) -> bool:
        """Whether the car falls silent at this time of the drive."""

    @property
    @abstractmethod
    def _end_us(self) -> int | None:
        """When the drive is over, where that is known."""

    @abstractmethod
    def _value(self, name: str, t_us: int) -> float | None:
        """The signal at a time of the drive; None or NaN where there is no value."""

    @abstractmethod
    def _rewind(self) -> None:
        """The drive starts again at 0."""


def _unit(header: str) -> int:
    """The control unit's number that a request's header means; -1 where there is no such unit here."""
    if len(header) == 3:
        return int(header, 16) & 7
    address = int(header[-4:-2], 16)
    return UNITS_29.index(address) if address in UNITS_29 else -1


class RecordingCar(DrivenCar):
    """A car that repeats a recorded drive; between samples a value stays as it was.

    Arguments as for `DrivenCar`; the signals are those of `recording`.

    Raises:
        BadInput: a speed that is none, or no signal in it can be asked for.
    """

    def __init__(
        self,
        recording: Recording,
        catalogue: Catalogue,
        clock: Clock,
        *,
        speed: float = 1.0,
        after: After = "hold",
        identity: Identity | None = None,
        prefer: Collection[int] = (),
        more: Mapping[tuple[int, int], bytes] | None = None,
    ) -> None:
        series = {name: s for name, s in recording.series.items() if len(s)}
        super().__init__(
            series, catalogue, clock, speed=speed, after=after, identity=identity, prefer=prefer, more=more
        )
        if not self._layout and not self._makers:
            raise BadInput("the drive has no signal that a car could be asked for", where="drive")
        self._series = series
        self._stamps = np.unique(np.concatenate([s.t_us for s in series.values()]))
        self._last_us = max(recording.duration_us, recording.end_us or 0)

    @property
    def _end_us(self) -> int | None:
        return self._last_us

    def _value(self, name: str, t_us: int) -> float | None:
        series = self._series.get(name)
        if series is None:
            return None
        return float(series.value[max(0, int(np.searchsorted(series.t_us, t_us, side="right")) - 1)])

    def _rewind(self) -> None:
        """Nothing to do: every time of a recording is at hand."""

    def _gap(self, t_us: int) -> bool:
        after = int(np.searchsorted(self._stamps, t_us, side="right"))
        if after == 0 or after == len(self._stamps):
            return False
        before_us, after_us = int(self._stamps[after - 1]), int(self._stamps[after])
        return after_us - before_us > GAP_US and t_us > before_us + _EDGE_US
