"""What an instruction is made from, and what is said where no attempt may begin or pieces are collected."""

from __future__ import annotations

from dataclasses import dataclass

from coach.advice.lines import Lines
from coach.advice.readout import clock_text
from coach.advice.state import Instruction
from coach.core.spec import Capture
from coach.core.view import CaptureView


@dataclass(frozen=True, slots=True)
class Situation:
    """What an instruction is made from.

    `missing` are signals that should have come by now; `standing` is whether the car stands (None: not known); `roads`
    is whether something is left to be done on the road; `needed` is the title of what has to be secured first.
    """

    capture: Capture
    title: str
    place: str
    view: CaptureView
    t_us: int
    missing: tuple[str, ...] = ()
    standing: bool | None = None
    roads: bool = False
    needed: str = ""


def shut(lines: Lines, now: Situation) -> Instruction | None:
    """What is shown and spoken while a gate is shut; None for a gate that asks nothing of people."""
    view, gate = now.view, now.view.gate
    if gate == "arm":
        where = "arm_parked" if now.place == "parked" else "arm"
        code = f"{where}_standing" if now.standing else "arm_parked" if now.place == "parked" else "arm_road"
        return lines.make(code, about=view.id, title=now.title)
    if gate == "rest":
        left = None if view.gate_us is None else view.gate_us - now.t_us
        return lines.make("rest", number="" if left is None else clock_text(left), kind="clock", about=view.id)
    if gate == "confirm":
        items = lines.words("face.confirm.and").join(now.capture.confirm) or now.title
        return lines.make("confirm", about=view.id, item=items)
    if gate == "needs":
        return lines.make("needs", about=view.id, title=now.title, needed=now.needed)
    if gate == "inside":
        beyond = next((x for x in view.limits if x.status != "inside"), None)
        name = lines.readouts[beyond.signal].name if beyond is not None else now.title
        return lines.make("back_inside", about=view.id, name=name)
    if gate == "limit":
        return lines.make("wait_limit", about=view.id, title=now.title)
    if gate == "paused":
        return lines.make("paused", ground="lost", mark="dashed")
    return None


def collecting(lines: Lines, now: Situation, caption: str) -> str:
    """What is left to collect, and the next cell that has not had its time."""
    collect, dwell = now.capture.collect, now.view.dwell_us
    text = lines.words(f"face.hold_it.{caption}")
    if collect is None or not collect.axes or not dwell:
        return text
    for cell in collect.wanted:
        index = 0
        for at, axis in zip(cell, collect.axes, strict=True):
            index = index * axis.cells + at
        if dwell[index] >= collect.dwell_us:
            continue
        parts = []
        for at, axis in zip(cell, collect.axes, strict=True):
            readout = lines.readouts[axis.signal]
            band = readout.asked(axis.edges[at], axis.edges[at + 1])
            parts.append(f"{readout.inside} {band}")
        return f"{text} {lines.words('face.hold_it.cell', cell=', '.join(parts))}"
    return text
