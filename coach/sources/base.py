"""What a source is: it pushes what happens, in order of time, to one listener, until it ends or is stopped.

The loop that runs a source hands in `emit`; a bounded queue behind it makes the source wait instead of losing samples.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Literal, Protocol, TypeAlias

from coach.clock import Clock
from coach.recording import Mark


@dataclass(frozen=True, slots=True)
class Instant:
    """All samples of one stamp: signal to value in the catalogue's unit; NaN is a sample that could not be read.

    `t_us` is microseconds since the drive's first sample. Stamps of one source's instants strictly increase.
    `uncertainty_us` says how far off the stamp may be, either way; 0 where nobody knows.
    """

    t_us: int
    values: Mapping[str, float]
    uncertainty_us: int = 0


@dataclass(frozen=True, slots=True)
class Advance:
    """A promise: every instant before `t_us` has been emitted."""

    t_us: int


@dataclass(frozen=True, slots=True)
class Marked:
    """Something that a person said in the drive that is replayed; it comes before the samples of the same stamp."""

    mark: Mark


@dataclass(frozen=True, slots=True)
class Lost:
    """Samples have stopped coming although they should; `reason` is one sentence. The source goes on trying."""

    reason: str


@dataclass(frozen=True, slots=True)
class Back:
    """After `Lost`: samples come again."""


@dataclass(frozen=True, slots=True)
class Ended:
    """The last event of every source: `finished` (no more samples), `stopped` (told to), or `failed`.

    `text` is a sentence when it failed, else empty.
    """

    reason: Literal["finished", "stopped", "failed"]
    text: str = ""


SourceEvent: TypeAlias = Instant | Advance | Marked | Lost | Back | Ended


class Source(Protocol):
    """Anything that yields samples. One object serves one drive."""

    @property
    def name(self) -> str:
        """Words for a screen, e.g. the file's name."""
        ...

    @property
    def kind(self) -> Literal["replay", "simulator", "link"]:
        """What sort of source it is."""
        ...

    @property
    def signals(self) -> frozenset[str]:
        """The measured signals that it offers; a link knows them only once it is connected."""
        ...

    @property
    def people_recorded(self) -> bool:
        """Whether it brings its own record of what people said (`Marked`)."""
        ...

    @property
    def meta(self) -> Mapping[str, Any]:
        """Facts about the origin to be kept with the drive, JSON-able."""
        ...

    def run(self, emit: Callable[[SourceEvent], None], stop: threading.Event, clock: Clock) -> None:
        """Emits everything, then `Ended`, and returns. Runs in a thread of its caller's.

        Args:
            emit: takes one event. It may block; while it does the source waits. It must return soon once `stop` is
                set. What it raises goes through to the caller.
            stop: once set, the source emits `Ended("stopped")` and returns within 100 ms.
            clock: the only clock that it reads and waits on.
        """
        ...
