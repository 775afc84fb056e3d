"""What a loop is made of: the face of the page, whoever saves windows, and all that it is handed.

Nothing here does anything: `loop.py` does.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal, Protocol

from coach.advice import DriveState, LinkState
from coach.clock import Clock
from coach.core.events import Ended as AttemptEnded
from coach.core.events import Event, Secured
from coach.core.spec import Capture, JudgePlan
from coach.core.view import JudgeView
from coach.drive.ring import Ring
from coach.store.drivelog import DriveLog


class Face(Protocol):
    """Makes the live state of the page; `coach.advice.Adviser` does."""

    def update(
        self, view: JudgeView, events: Sequence[Event], now_us: int, link: LinkState, drive: DriveState
    ) -> dict[str, Any]:
        """The state at `now_us` of a steady clock, after `events`."""
        ...

    def seen(self) -> None:
        """Somebody closes the alarm."""
        ...

    def read_as(self, words: Any = None, units: Any = None, dial: Any = None) -> None:
        """Goes on in another language or other units, or as the dial reads; what is left out stays."""
        ...


class WindowKeeper(Protocol):
    """Saves the files of secured windows."""

    def secured(self, event: Secured) -> None:
        """A window qualifies; it may go on."""
        ...

    def ended(self, event: AttemptEnded) -> None:
        """A window is over."""
        ...

    def reached(self, t_us: int) -> None:
        """The drive has come so far."""
        ...

    def finish(self) -> None:
        """The drive is over and all its samples are handed to the store."""
        ...


@dataclass(frozen=True)
class Parts:
    """What a loop is made of."""

    drive: str
    plan: JudgePlan
    log: DriveLog
    clock: Clock
    ring: Ring
    face: Face
    windows: WindowKeeper
    stop_source: threading.Event
    source_kind: Literal["replay", "simulator", "link"]
    speed: float | None = 1.0
    wall_us: int | None = None
    wall_known: bool = True
    recipe_sha: str = ""
    favour: Callable[[frozenset[str]], None] | None = None
    """Is told the signals of the captures that run, so that a slow link may ask for them more often."""
    link_facts: Callable[[int], Mapping[str, Any]] | None = None
    """Gives what else the page is to know of the link at a time: rates asked and had, whether another tester asks."""
    rates_hz: Callable[[int], Mapping[str, float]] | None = None
    """Gives the rate at which each signal came lately, for the page."""


def rests_on(capture: Capture) -> Iterator[str]:
    """The signals that a capture records, and the measured ones that its conditions and limits rest on."""
    yield from (asked.signal for asked in capture.record)
    yield from (band.signal for band in (*capture.start, *capture.keep))
    yield from capture.stale_us
    for limit in capture.limits:
        yield from limit.unseen_us
