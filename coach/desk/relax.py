"""How little a capture would have to ask less for a drive to meet it: one bound, one time, one rate at a time.

Tries changes of the resolved plan on the same drive, by the same judge. It proposes; it changes no recipe.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial

from coach.core.afterwards import judge_recording
from coach.core.events import Collected
from coach.core.spec import Capture, JudgePlan
from coach.desk.knobs import Knob, Knobs
from coach.plan.sentences import Say
from coach.recording import Recording
from coach.shown import METRIC, Units
from coach.signals import Catalogue
from coach.words import Words, load_words


@dataclass(frozen=True, slots=True)
class Relaxation:
    """One change of one key after which the drive qualifies.

    Attributes:
        key: of the recipe, inside the capture, as in `keep.road_speed.max`.
        old, new: values in the signal's unit, in seconds or in hertz.
        share: how large the change is beside the value or the band, to put the smallest first.
        text: the sentence.
    """

    key: str
    old: float
    new: float
    share: float
    text: str


def qualifies(plan: JudgePlan, capture: Capture, recording: Recording) -> bool:
    """Whether the drive meets `capture`, judged by itself: what it needs first is taken as there."""
    alone = replace(plan, captures=(replace(capture, needs=()),))
    verdict = judge_recording(alone, recording)
    if capture.collect is not None:
        return any(isinstance(e, Collected) for e in verdict.events)
    return sum(a.secured_us is not None for a in verdict.attempts[capture.id]) >= capture.times


def relaxations(
    plan: JudgePlan, capture: Capture, recording: Recording, catalogue: Catalogue, *, system: str | Units = METRIC,
    words: Words | None = None,
) -> list[Relaxation]:  # fmt: skip
    """Every single change that would do, the smallest first; empty where it is met already, or no one change is enough.

    Of each value the smallest change is sought by halving, which finds it where asking for less never makes an attempt
    fail; what is returned was judged and does qualify.

    Args:
        plan: what the drive is judged by.
        capture: one of its captures.
        recording: the drive.
        catalogue: the signals.
        system: the units of the sentences.
        words: the language.
    """
    if qualifies(plan, capture, recording):
        return []
    found = []
    for knob in Knobs(capture, catalogue, Say(catalogue, system, words or load_words())).all():
        step = _least(knob.steps, partial(_met, plan, recording, knob))
        if step is not None:
            new = knob.value(step)
            found.append(Relaxation(knob.key, knob.old, new, abs(new - knob.old) / knob.scale, knob.say(new)))
    return sorted(found, key=lambda r: (r.share, r.key))


def _met(plan: JudgePlan, recording: Recording, knob: Knob, step: int) -> bool:
    return qualifies(plan, knob.turn(knob.value(step)), recording)


def _least(most: int, good: Callable[[int], bool]) -> int | None:
    """The smallest number from 1 to `most` that is good, if all above it are; None when not even `most` is."""
    if most < 1 or not good(most):
        return None
    low, high = 0, most
    while high - low > 1:
        middle = (low + high) // 2
        if good(middle):
            high = middle
        else:
            low = middle
    return high
