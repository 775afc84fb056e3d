"""Holds changes back so that nothing flickers: lines stay, corrections wait, numbers change twice a second at most."""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import replace

from coach.advice.state import Instruction

STEER_AFTER_US = 400_000
STEER_UNTIL_US = 800_000
STAY_US = 1_500_000
NUMBER_US = 500_000


class HoldBack:
    """One face after another. Times are the watcher's clock.

    At once: warnings, alarms, a lost link, what a person did. A correction appears after 0.4 s outside and leaves
    after 0.8 s inside. Any other line stays 1.5 s.
    """

    def __init__(self) -> None:
        self._shown: Instruction | None = None
        self._since = 0
        self._number_at = 0
        self._raw: Hashable = None
        self._raw_since = 0
        self._steering: Instruction | None = None

    def update(self, wanted: Instruction, steer: Instruction | None, now_us: int, *, running: bool) -> Instruction:
        """The face to show now.

        Args:
            wanted: what is called for, corrections apart.
            steer: the correction called for now, or None.
            now_us: the watcher's clock.
            running: whether the leading capture's attempt runs; when it is over, nothing is left to correct.
        """
        steering = self._debounced(steer, now_us) if running else None
        if not running:
            self._raw, self._raw_since, self._steering = None, now_us, None
        candidate = wanted
        if steering is not None and wanted.rank == "plain":
            candidate = steering
        shown = self._shown
        if shown is None:
            return self._show(candidate, now_us)
        if candidate.key == shown.key:
            return self._renumber(shown, candidate, now_us)
        stay = STEER_AFTER_US if "steer" in {candidate.rank, shown.rank} else STAY_US
        if candidate.rank == "at_once" or now_us - self._since >= stay:
            return self._show(candidate, now_us)
        return shown

    def _debounced(self, steer: Instruction | None, now_us: int) -> Instruction | None:
        key = None if steer is None else steer.key
        if key != self._raw:
            self._raw, self._raw_since = key, now_us
        lasted = now_us - self._raw_since
        if steer is not None and (lasted >= STEER_AFTER_US or _same(self._steering, steer)):
            self._steering = steer
        elif steer is None and lasted >= STEER_UNTIL_US:
            self._steering = None
        return self._steering

    def _show(self, face: Instruction, now_us: int) -> Instruction:
        self._shown, self._since, self._number_at = face, now_us, now_us
        return face

    def _renumber(self, shown: Instruction, wanted: Instruction, now_us: int) -> Instruction:
        """The same line with its new number and caption, unless those changed a moment ago."""
        moved = (shown.number, shown.caption) != (wanted.number, wanted.caption)
        if moved and now_us - self._number_at >= NUMBER_US:
            self._shown, self._number_at = wanted, now_us
        else:
            self._shown = replace(wanted, number=shown.number, number_kind=shown.number_kind, caption=shown.caption)
        return self._shown


def _same(one: Instruction | None, other: Instruction) -> bool:
    return one is not None and one.key == other.key
