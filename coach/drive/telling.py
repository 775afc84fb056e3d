"""What the page is told of a running drive: its phase, and its live state ten times a second.

Judges and stores nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

from coach.advice import DriveState, LinkState
from coach.clock import US
from coach.core.events import Event
from coach.core.judge import Judge
from coach.drive.parts import Parts, rests_on

Phase = Literal["recording", "paused", "stopping", "ended"]


@dataclass(frozen=True)
class Now:
    """How a drive stands at a moment.

    Attributes:
        left_us: how long a stop can still be taken back, while there is one.
        error: the sentence why it ended early.
        trouble: what is wrong while it goes on.
        locked: only stopping is open: the car moves, or may, and nobody has confirmed being the passenger.
    """

    phase: Phase
    t_us: int
    left_us: int | None
    error: str | None
    trouble: str | None
    role: str | None
    moving: bool
    locked: bool


class Telling:
    """Keeps what only the page asks for: the link and how long it is silent, and the events since the last state.

    Attributes:
        heard_us: when the source was last heard, of the steady clock.
        told_us: when the last state was published.
    """

    def __init__(self, parts: Parts, now_us: int) -> None:
        self.parts = parts
        self.heard_us = now_us
        self.told_us = now_us
        self._link = LinkState("up" if parts.source_kind == "link" else "none")
        self._events: list[Event] = []

    def lost(self, reason: str) -> None:
        """The link is lost; `reason` is its code."""
        self._link = LinkState("lost", self._age_s(), reason)

    def back(self) -> None:
        """The link is there again."""
        self._link = LinkState("up", 0.0)

    def said(self, events: Sequence[Event]) -> None:
        """Events of the judge, for the next state."""
        self._events.extend(events)

    def drive(self, now: Now) -> None:
        """Publishes how the drive stands."""
        told = {"id": self.parts.drive, "phase": now.phase, "t_s": now.t_us / US}
        self.parts.ring.publish("drive", told | {"error": now.error, "trouble": now.trouble})

    def state(self, now: Now, judge: Judge) -> None:
        """Publishes the live state, with everything since the one before."""
        parts, t_us = self.parts, now.t_us
        self.told_us = parts.clock.steady_us()
        link = self._link
        if link.state == "lost" or parts.source_kind == "link":
            link = LinkState(link.state, self._age_s(), link.reason)
        events, self._events = self._events, []
        view = judge.view(t_us)
        if parts.favour is not None:
            running = {c.id for c in view.captures if c.phase == "running"}
            parts.favour(frozenset(s for c in parts.plan.captures if c.id in running for s in rests_on(c)))
        drive = DriveState(parts.drive, now.phase, t_us, now.left_us, parts.source_kind, parts.speed)
        state = parts.face.update(view, events, self.told_us, link, drive)
        if parts.link_facts is not None:
            state["link"] |= parts.link_facts(t_us)
        if parts.rates_hz is not None:
            state["link"]["rates_hz"] = {name: round(rate, 1) for name, rate in parts.rates_hz(t_us).items()}
        state["drive"] |= {
            "recipe": parts.recipe_sha, "role": now.role, "moving": now.moving, "locked": now.locked,
            "stored_s": self._stored_s(),
        }  # fmt: skip
        state["trouble"] = _trouble(now)
        parts.ring.publish("state", state)

    def stored(self) -> None:
        """Publishes the last state again with how far the drive is durable, unless another drive has begun."""
        stored_s = self._stored_s()

        def told(state: dict[str, Any]) -> dict[str, Any] | None:
            drive = state["drive"]
            if drive.get("id") != self.parts.drive or drive.get("stored_s") == stored_s:
                return None
            return {**state, "drive": {**drive, "stored_s": stored_s}}

        self.parts.ring.amend(told)

    def _stored_s(self) -> float:
        return max(0, self.parts.log.durable_us) / US

    def _age_s(self) -> float:
        return (self.parts.clock.steady_us() - self.heard_us) / US


def _trouble(now: Now) -> dict[str, Any] | None:
    text = now.error or now.trouble
    return None if text is None else {"stopped": now.error is not None, "text": text}
