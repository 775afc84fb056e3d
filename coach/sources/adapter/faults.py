"""Faults on command: what can go wrong between car and listener, by name, for some requests, at a time."""

from __future__ import annotations

import re
import threading
from collections import Counter
from dataclasses import dataclass
from typing import Literal

from coach.clock import US
from coach.errors import BadInput

Level = Literal["car", "line", "wire"]
"""Where a fault happens: in what the control units send, in what the adapter says, or in the bytes on the way."""


@dataclass(frozen=True, slots=True)
class Kind:
    """One sort of fault: where it happens, what happens in a sentence, and its time in seconds where it has one."""

    level: Level
    tells: str
    seconds: float = 0.0


KINDS: dict[str, Kind] = {
    "no-data": Kind("line", "The adapter says NO DATA."),
    "can-error": Kind("line", "The adapter says CAN ERROR."),
    "stopped": Kind("line", "The adapter says STOPPED."),
    "bus-init-error": Kind("line", "The adapter says BUS INIT: ERROR."),
    "bus-busy": Kind("line", "The adapter says BUS BUSY."),
    "buffer-full": Kind("line", "The answer, then BUFFER FULL."),
    "unable-to-connect": Kind("line", "The adapter says UNABLE TO CONNECT."),
    "garbage": Kind("line", "Readable nonsense in place of the answer."),
    "negative": Kind("car", "A negative response (7F, the mode, 12) in place of the answer."),
    "pending": Kind("car", "Response pending (7F, the mode, 78) at once, the answer after the time.", 0.3),
    "only-pending": Kind(
        "car", "Response pending (7F, the mode, 78) of the first unit, and no answer of it after that."
    ),
    "wrong-parameter": Kind("car", "The answer to another parameter."),
    "short-answer": Kind("car", "A well-formed answer whose last byte is missing."),
    "short-frame": Kind("car", "A frame that ends before its declared length."),
    "foreign": Kind("car", "An answer of another control unit, with other data, in place of the one asked for."),
    "other-tester": Kind("car", "The answer, and beside it the engine's answer to somebody else's request."),
    "noise": Kind("wire", "Random bytes in place of the answer; a prompt ends them."),
    "dropped": Kind("wire", "Some bytes of the answer are lost."),
    "split": Kind("wire", "The answer dribbles in, byte by byte, this long apart.", 0.01),
    "no-prompt": Kind("wire", "The answer without the prompt behind it."),
    "silence": Kind("wire", "Nothing at all."),
    "late": Kind("wire", "The answer comes later by the time, whatever is sent meanwhile.", 1.5),
    "disconnect": Kind("wire", "The connection ends; each further count ends the next one as it is made."),
    "reset": Kind("wire", "The adapter starts anew, with its own settings, and says its name in place of the answer."),
}
"""All of them. Faults of the wire also strike AT commands; the others only requests to the car."""


@dataclass(slots=True)
class Fault:
    """A fault in store: `left` requests (None: until cleared), from `at_us` after the start on."""

    kind: str
    seconds: float
    left: int | None = 1
    at_us: int = 0
    begun: bool = False


class Faults:
    """What shall go wrong. Any thread may add to it; the adapter takes from it. One fault strikes one request."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._store: list[Fault] = []
        self.struck: Counter[str] = Counter()
        """How often each kind has struck."""

    def now(self, kind: str, count: int | None = 1, *, seconds: float | None = None) -> None:
        """The next `count` requests meet this fault; None: all until `clear`.

        Args:
            kind: one of `KINDS`.
            count: how many requests.
            seconds: another time than the kind's own, where it has one.

        Raises:
            BadInput: no such kind, or a count or time that makes no sense.
        """
        self.schedule(kind, 0.0, count, seconds=seconds)

    def schedule(self, kind: str, at_s: float, count: int | None = 1, *, seconds: float | None = None) -> None:
        """As `now`, but from `at_s` seconds after the adapter's start on. Raises BadInput."""
        if kind not in KINDS:
            raise BadInput(f"there is no fault {kind!r}; there are: {', '.join(KINDS)}", where="fault")
        if count is not None and count < 1:
            raise BadInput(f"a fault strikes 1 request or more, not {count}", where="fault")
        if not 0 <= at_s < 1e9 or not 0 <= (seconds or 0.0) < 1e6:
            raise BadInput("a fault's time is a number of seconds from 0 on", where="fault")
        wait = KINDS[kind].seconds if seconds is None else seconds
        with self._lock:
            self._store.append(Fault(kind, wait, count, round(at_s * US)))

    def clear(self) -> None:
        """Nothing goes wrong any more."""
        with self._lock:
            self._store.clear()

    def waiting(self) -> tuple[str, ...]:
        """The kinds still in store, in order."""
        with self._lock:
            return tuple(fault.kind for fault in self._store)

    def take(self, levels: tuple[Level, ...], since_us: int) -> Fault | None:
        """The first fault due that happens at one of the levels; one of its strikes is used up.

        Args:
            levels: where it may happen.
            since_us: time since the adapter's start.
        """
        with self._lock:
            for fault in self._store:
                if fault.at_us <= since_us and KINDS[fault.kind].level in levels:
                    return self._strike(fault)
        return None

    def take_again(self, kind: str) -> Fault | None:
        """A fault of this kind that has struck before and has strikes left."""
        with self._lock:
            for fault in self._store:
                if fault.kind == kind and fault.begun:
                    return self._strike(fault)
        return None

    def _strike(self, fault: Fault) -> Fault:
        fault.begun = True
        if fault.left is not None:
            fault.left -= 1
        if fault.left == 0:
            self._store.remove(fault)
        self.struck[fault.kind] += 1
        return fault


_WRITTEN = re.compile(r"(?P<kind>[a-z-]+)(@(?P<at>\d+(\.\d+)?)s?)?(x(?P<count>\d+|all))?")


def parse_fault(text: str) -> tuple[str, float, int | None]:
    """`kind@seconds[xN]` as arguments of `Faults.schedule`; without seconds: at once; `xall`: until cleared.

    Raises:
        BadInput: not of this form, or no such kind.
    """
    found = _WRITTEN.fullmatch(text.strip())
    if found is None:
        raise BadInput(f"{text!r} is no fault: write kind@seconds or kind@seconds and xN, such as silence@60x3")
    if found["kind"] not in KINDS:
        raise BadInput(f"there is no fault {found['kind']!r}; there are: {', '.join(KINDS)}")
    count = None if found["count"] == "all" else int(found["count"] or 1)
    return found["kind"], float(found["at"] or 0), count
