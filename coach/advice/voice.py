"""When something is to be spoken: a new line, a repeated correction, the time left at half, a minute, 30 s and 10 s."""

from __future__ import annotations

from collections.abc import Hashable

from coach.advice.state import US, Instruction
from coach.words import Words

REPEAT_US = (6 * US, 14 * US, 30 * US)
"""An unchanged correction is said again this long after its line appeared."""
_TIMES = ((60 * US, "face.hold_minute.speech"), (30 * US, "face.hold_thirty.speech"), (10 * US, "face.hold_ten.speech"))
_REPEATED = ("change_", "speed_up", "slow_down", "steer_")


class Voice:
    """Gives every utterance a number: the page speaks when the number changes, and knows what may cut what."""

    def __init__(self, words: Words) -> None:
        self.words = words
        self._text, self._number = "", 0
        self._unit = ""
        self._key: Hashable = None
        self._code, self._since, self._repeats = "", 0, 0
        self._left: float | None = None
        self._holding: Hashable = None

    def update(
        self,
        face: Instruction,
        now_us: int,
        *,
        hold: tuple[float, float] | None,
        attempt: Hashable,
        sweep: bool = False,
    ) -> tuple[str, int, str]:
        """The utterance in force, its number, and the unit of the number in it (empty: none).

        Args:
            face: what is shown now.
            now_us: the watcher's clock.
            hold: microseconds left and in all of the hold that runs, or None.
            attempt: which attempt runs, or None.
            sweep: whether a sweep runs: then only alarms and its end are spoken.
        """
        said = self._number
        if sweep and face.rank in {"plain", "steer"}:
            # Nobody listens to a voice while the pedal is down; what it was about counts as said.
            self._key, self._code, self._since, self._repeats = face.key, face.code, now_us, len(REPEAT_US)
            self._holding = attempt
            return self._text, self._number, self._unit
        if face.key != self._key:
            self._new_line(face, now_us, attempt)
        elif face.code.startswith(_REPEATED) and self._due(now_us):
            self._repeats += 1
            self._say(face.speech, face.unit)
        passed = self._milestones(face, hold)
        # What to do now comes before how long it still takes.
        if passed and said == self._number:
            self._say(passed)
        return self._text, self._number, self._unit

    def _due(self, now_us: int) -> bool:
        return self._repeats < len(REPEAT_US) and now_us - self._since >= REPEAT_US[self._repeats]

    def _new_line(self, face: Instruction, now_us: int, attempt: Hashable) -> None:
        before, self._code = self._code, face.code
        self._key, self._since, self._repeats = face.key, now_us, 0
        if before == "lost_car":
            self._say(self.words("face.lost_car.speech_back"))
        elif face.code.startswith("hold_") and before.startswith("nudge_") and attempt == self._holding:
            pass  # it was never left: the hold goes on, and so does the silence
        else:
            self._say(face.speech, face.unit)
        self._holding = attempt

    def _milestones(self, face: Instruction, hold: tuple[float, float] | None) -> str:
        """The words of the time mark that was passed since the last call; empty for none."""
        if hold is None:
            self._left = None
            return ""
        left, whole = hold
        before, self._left = self._left, left
        if before is None or not face.code.startswith(("hold_", "nudge_")):
            return ""
        marks = {whole / 2: "face.hold_half.speech"} | {float(at): key for at, key in _TIMES if at < 0.9 * whole}
        passed = [at for at in marks if left <= at < before]
        return self.words(marks[min(passed)]) if passed else ""

    def _say(self, text: str, unit: str = "") -> None:
        if text:
            self._text, self._unit = text, unit
            self._number += 1
