"""Makes instructions out of codes and the words catalogue."""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import replace

from coach.advice.readout import Readouts
from coach.advice.state import FaceMark, Ground, Instruction, NumberKind, Rank
from coach.core.spec import Band, Capture
from coach.core.view import CaptureView, ConditionView
from coach.words import Words

STANDING_KMH = 5.0
"""Below this a car counts as standing, as the page's lock has it."""


class Lines:
    """The words of one language and the readouts of one driver, put together."""

    def __init__(self, words: Words, readouts: Readouts) -> None:
        self.words = words
        self.readouts = readouts

    def make(
        self,
        code: str,
        *,
        number: str = "",
        kind: NumberKind = "none",
        ground: Ground = "calm",
        mark: FaceMark = "none",
        rank: Rank = "plain",
        about: Hashable = None,
        caption: str = "caption",
        **values: object,
    ) -> Instruction:
        """The instruction whose words stand under `face.<code>`; `caption` names which of its captions."""
        words = self.words
        text = {"line": "", "speech": "", caption: ""}
        for part in text:
            if f"face.{code}.{part}" in words:
                text[part] = words(f"face.{code}.{part}", **values)
        return Instruction(
            code, text["line"], number, kind if number else "none", text[caption], text["speech"],
            ground, mark, rank, about,
        )  # fmt: skip

    def amount(
        self,
        code: str,
        condition: ConditionView,
        *,
        ground: Ground = "calm",
        mark: FaceMark = "none",
        rank: Rank = "plain",
        target: float | None = None,
    ) -> Instruction:
        """An instruction whose number is how far one condition is off."""
        readout = self.readouts[condition.signal]
        number = "" if condition.value is None else readout.off(condition.value, condition.low, condition.high)
        if number and float(number.replace(",", ".")) == 0:
            number = ""
        bound = target if target is not None else condition.low if mark == "up" else condition.high
        low_text, high_text = readout.bounds(condition.low, condition.high)
        bound_text = (low_text if bound == condition.low else high_text) or ""
        made = self.make(
            code, number=number, kind="amount", ground=ground, mark=mark, rank=rank, about=condition.signal,
            unit=readout.unit, name=readout.inside, Name=readout.name,
            amount=readout.spoken(number) if number else "", target=readout.spoken(bound_text) if bound_text else "",
        )  # fmt: skip
        named = {"{amount}": number, "{target}": bound_text}
        spoken = self.words.get(f"face.{code}.speech") or ""
        return replace(made, unit=readout.unit_spoken) if any(v and k in spoken for k, v in named.items()) else made


def is_standing_capture(capture: Capture) -> bool:
    """Whether a capture is made at standstill: it keeps the road speed at (about) nothing."""
    return any(b.signal == "road_speed" and b.high is not None and b.high < STANDING_KMH for b in capture.keep)


def standing(view: CaptureView) -> bool | None:
    """Whether the car stands, from a condition on the road speed; None where none shows it."""
    for condition in view.conditions:
        if condition.signal == "road_speed" and condition.value is not None and condition.status != "stale":
            return condition.value < STANDING_KMH
    return None


def pedal_band(capture: Capture, readouts: Readouts) -> Band | None:
    """The band of the pedal that a capture keeps, or None."""
    bands = (b for b in capture.keep if readouts[b.signal].family == "pedal")
    return next((b for b in bands if b.low is not None or b.high is not None), None)
