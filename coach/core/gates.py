"""What may keep an attempt from beginning although its conditions are met (rules 14 and 15)."""

from __future__ import annotations

from typing import Literal

from coach.core.spec import Capture
from coach.core.tracks import BEFORE, NEVER
from coach.recording import Mark

Gate = Literal["arm", "needs", "rest", "confirm", "skipped", "paused", "limit"]


class Gates:
    """The gates of one capture, each as the time from which it stands open (NEVER: it does not open by itself).

    `opens_us`: from when on all stand open.
    """

    __slots__ = (
        "armed_us",
        "confirmed_us",
        "limit_us",
        "needs_us",
        "opens_us",
        "paused_us",
        "rest_us",
        "skipped_us",
        "spec",
    )

    def __init__(self, spec: Capture) -> None:
        self.spec = spec
        self.armed_us = NEVER if spec.arming else BEFORE
        self.skipped_us = BEFORE
        self.paused_us = BEFORE
        self.rest_us = BEFORE
        self.limit_us = BEFORE
        self.confirmed_us = dict.fromkeys(spec.confirm, NEVER)
        self.needs_us = dict.fromkeys(spec.needs, NEVER)
        self._settle()

    def open(self, t_us: int) -> bool:
        """Whether an attempt may begin at `t_us`, as far as the gates go."""
        return self.opens_us <= t_us

    def rest(self, until_us: int) -> None:
        """No attempt before `until_us`."""
        self.rest_us = until_us
        self._settle()

    def wait_for_answer(self) -> None:
        """A limit was passed: no attempt in this drive."""
        self.limit_us = NEVER
        self._settle()

    def have(self, capture: str, t_us: int) -> bool:
        """`capture`, which may be needed, is secured from `t_us` on; says whether that was waited for."""
        if self.needs_us.get(capture) != NEVER:
            return False
        self.needs_us[capture] = t_us
        self._settle()
        return True

    def _settle(self) -> None:
        self.opens_us = max(
            self.armed_us, self.skipped_us, self.paused_us, self.rest_us, self.limit_us,
            *self.confirmed_us.values(), *self.needs_us.values(),
        )  # fmt: skip

    def shut(self, t_us: int) -> Gate | None:
        """Which gate is shut at `t_us`: the one to name first, or None."""
        if self.paused_us > t_us:
            return "paused"
        if self.skipped_us > t_us:
            return "skipped"
        if self.limit_us > t_us:
            return "limit"
        if any(at > t_us for at in self.needs_us.values()):
            return "needs"
        if self.rest_us > t_us:
            return "rest"
        if any(at > t_us for at in self.confirmed_us.values()):
            return "confirm"
        return "arm" if self.armed_us > t_us else None

    def mark(self, mark: Mark) -> Literal["disarmed", "paused", "skipped"] | None:
        """Take in what a person said; returns why a running attempt must end, if it must."""
        why = self._said(mark)
        self._settle()
        return why

    def _said(self, mark: Mark) -> Literal["disarmed", "paused", "skipped"] | None:
        kind, mine = mark.kind, mark.capture == self.spec.id
        if kind == "pause":
            if self.paused_us != NEVER:
                self.paused_us = NEVER
                return "paused"
        elif kind == "resume":
            if self.paused_us == NEVER:
                self.paused_us = mark.t_us
        elif not mine:
            return None
        elif kind == "arm" and self.spec.arming and self.armed_us == NEVER:
            self.armed_us = mark.t_us
        elif kind == "disarm" and self.spec.arming:
            self.armed_us = NEVER
            return "disarmed"
        elif kind == "skip":
            self.skipped_us = NEVER
            return "skipped"
        elif kind == "unskip" and self.skipped_us == NEVER:
            self.skipped_us = mark.t_us
        elif kind == "confirm" and self.confirmed_us.get(mark.text) == NEVER:
            self.confirmed_us[mark.text] = mark.t_us
        return None
