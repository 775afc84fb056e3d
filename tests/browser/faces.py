"""Every face of the Drive screen as one live state, as the server would send it: what the page's tests are fed."""

from __future__ import annotations

import math
from copy import deepcopy
from typing import Any

State = dict[str, Any]

DRIVE = {
    "id": "d1",
    "phase": "recording",
    "t_s": 812.4,
    "stop_left_s": None,
    "source": "link",
    "speed": 1.0,
    "recipe": "f00d",
    "locked": False,
}
TITLES = {"part-load": "Steady part load", "roll-on": "Full pedal in fourth", "settled-idle": "Warm idle"}


def captures(*outcomes: str, done: tuple[int, int, int] = (0, 0, 0)) -> list[State]:
    """The three captures with their outcomes; the pull is asked for twice."""
    made = zip(
        TITLES, ("hold", "sweep", "hold"), ("road", "closed course", "parked"), outcomes, (1, 2, 1), done, strict=True
    )
    return [
        {
            "id": i,
            "title": TITLES[i],
            "kind": kind,
            "place": place,
            "outcome": outcome,
            "asked": asked,
            "done": count,
            "gate": None,
        }
        for i, kind, place, outcome, asked, count in made
    ]


def row(name: str, value: str, unit: str, asked: str, spare: str, **rest: Any) -> State:
    """One condition below the lane, met unless said otherwise."""
    track = {"low": 0.25, "high": 0.75, "at": 0.5} if name == "Gear" else {"low": 0.4, "high": 1.0, "at": 0.58}
    base = {
        "signal": name.lower(),
        "name": name,
        "value": value,
        "unit": unit,
        "asked": asked,
        "spare": spare,
        "status": "met",
    }
    return {**base, **track, "age_s": 0.1, **rest}


GEAR = row("Gear", "5", "", "fifth", "right")
COOLANT = row("Coolant", "86", "°C", "80 or more", "6 to spare")


def hold(value: str, progress: float, y: float, spare: str, phase: str = "running", **lane: Any) -> State:
    """The lead: steady part load, its speed in a lane from 72 to 88 km/h."""
    made = {
        "kind": "hold",
        "signal": "road_speed",
        "name": "Speed",
        "unit": "km/h",
        "value": value,
        "status": "met",
        "spare": spare,
        "low": 72.0,
        "high": 88.0,
        "low_text": "72",
        "high_text": "88",
        "progress": progress,
        "goal": "3:00",
        "ceiling": None,
        "ceiling_text": None,
        "swept": None,
        "ghost": None,
        "head": {"x": progress, "y": y},
    }
    return {
        "id": "part-load",
        "title": TITLES["part-load"],
        "kind": "hold",
        "place": "road",
        "phase": phase,
        "gate": None,
        "number": 1,
        "lane": {**made, **lane},
        "rows": [GEAR, COOLANT],
        "more": None,
    }


def sweep(boost: str, progress: float, y: float, spare: str, phase: str = "running", **lane: Any) -> State:
    """The lead: a pull from 2200 to 4600 rpm under a ceiling of 95 kPa."""
    made = {
        "kind": "sweep",
        "signal": "gauge_boost",
        "name": "Boost",
        "unit": "kPa",
        "value": boost,
        "status": "met",
        "spare": spare,
        "low": None,
        "high": 95.0,
        "low_text": "2200",
        "high_text": None,
        "progress": progress,
        "goal": "4600 rpm",
        "ceiling": 95.0,
        "ceiling_text": "limit 95",
        "swept": "engine_speed",
        "ghost": None,
        "head": {"x": progress, "y": y},
    }
    pedal = row("Pedal", "97", "%", "90 or more", "7 to spare", low=0.6, at=0.85)
    gear = row("Gear", "4", "", "fourth", "right")
    return {
        "id": "roll-on",
        "title": TITLES["roll-on"],
        "kind": "sweep",
        "place": "closed course",
        "phase": phase,
        "gate": None,
        "number": 0,
        "lane": {**made, **lane},
        "rows": [pedal, gear],
        "more": None,
    }


def face(ground: str, line: str, number: str, caption: str, **rest: Any) -> State:
    """The instruction."""
    base = {
        "ground": ground,
        "mark": "none",
        "code": line.lower().replace(" ", "_"),
        "line": line,
        "number": number,
        "caption": caption,
    }
    return {**base, "number_kind": "count" if number else "none", "speech": line, "speech_id": 1, **rest}


def state(a_face: State, lead: State | None, outcomes: list[State], **rest: Any) -> State:
    """A whole live state."""
    drive = {**DRIVE, **rest.pop("drive", {})}
    base = {
        "drive": drive,
        "face": a_face,
        "lead": lead,
        "captures": outcomes,
        "alarm": None,
        "link": {"state": "up", "age_s": 0.1},
    }
    return {**base, **rest}


RUNNING = captures("running", "todo", "todo")
TODO = captures("todo", "todo", "todo")
ONE_DONE = captures("secured", "running", "todo", done=(1, 0, 0))
HOLD = hold("81", 0.6, 0.56, "7 to spare")
WRONG_GEAR = row("Gear", "4", "", "fifth", "one up", status="low", at=0.1)
NO_DATA = [
    {**one, "value": "–", "unit": "", "spare": "no data", "status": "stale", "at": None} for one in (GEAR, COOLANT)
]
WARM = hold(
    "66",
    0.65,
    0.5,
    "about 6 min",
    "waiting",
    kind="warm",
    signal="coolant_temp",
    name="Coolant",
    unit="°C",
    status="low",
    low=None,
    high=None,
    low_text="40",
    high_text=None,
    goal="80",
    swept="coolant_temp",
)
IDLE = hold(
    "840",
    0.42,
    0.54,
    "160 to spare",
    signal="engine_speed",
    name="Engine",
    unit="rpm",
    low_text="650",
    high_text="1000",
    goal="1:30",
)
LIMIT = {
    "signal": "gauge_boost",
    "capture": "roll-on",
    "unseen": False,
    "inside": False,
    "line": "Lift off the pedal",
    "text": "Boost 99 kPa, limit 95. This attempt is over.",
}
THREE = {
    **HOLD,
    "rows": [GEAR, COOLANT, row("Load", "41", "%", "20 to 60", "19 to spare", low=0.33, high=0.67, at=0.5)],
    "more": "and 2 more, right",
}
STOPPING_FACE = face("calm", "Stopping", "8", "seconds. The hold still counts if you carry on.", code="stopping")
ARM_FACE = face(
    "calm", "Arm it when ready", "", "Next: Full pedal in fourth. Closed course or dyno only.", code="arm_standing"
)
ARMED = sweep("4", 0.0, 0.05, "91 to spare", "closed")

FACES: dict[str, State] = {
    "warm": state(face("calm", "Warm it up gently", "14", "°C to go", code="warm_up"), {**WARM, "rows": []}, TODO),
    "gear": state(
        face("calm", "Change up", "5", "fifth gear. Now in fourth.", number_kind="gear", mark="up"),
        {**hold("78", 0, 0.4, "6 to spare", "waiting"), "rows": [WRONG_GEAR, COOLANT]},
        TODO,
    ),
    "approach": state(
        face("calm", "Speed up gently", "9", "km/h to go", mark="up"),
        hold("63", 0, -0.5, "9 under", "waiting", status="low"),
        TODO,
    ),
    "hold": state(face("calm", "Hold this speed", "1:12", "left to hold", number_kind="clock"), HOLD, RUNNING),
    "nudge": state(
        face("calm", "A touch slower", "1:09", "left to hold", number_kind="clock"),
        hold("87", 0.617, 0.93, "1 to spare"),
        RUNNING,
    ),
    "steer": state(
        face("steer", "Slow down", "3", "km/h too fast", mark="down"),
        hold("91", 0.66, 1.19, "3 over", status="high"),
        RUNNING,
    ),
    "steer-low": state(
        face("steer", "Speed up", "4", "km/h too slow", mark="up"),
        hold("68", 0.9, -0.25, "4 under", status="low"),
        RUNNING,
    ),
    "missed": state(
        face(
            "calm",
            "Missed, too fast",
            "0:19",
            "short. 91 km/h against 88. Settle near 80.",
            number_kind="clock",
            mark="broken",
        ),
        hold("84", 0, 0.75, "4 to spare", "waiting", ghost=0.89),
        captures("missed", "todo", "todo"),
    ),
    "secured": state(
        face("secured", "Secured", "3", "to go. Next, full pedal: head for the closed course.", mark="tick"),
        hold("80", 1.0, 0.5, "8 to spare", "held"),
        captures("secured", "todo", "todo", done=(1, 0, 0)),
    ),
    "armed": state(
        face("calm", "Full pedal when clear", "2", "pulls to go"), sweep("4", 0, 0.05, "91 to spare", "armed"), ONE_DONE
    ),
    "sweep": state(
        face("calm", "Keep the pedal down", "1250", "rpm to go", number_kind="amount"),
        sweep("84", 0.48, 0.89, "11 to spare"),
        ONE_DONE,
    ),
    "warn": state(
        face("warn", "Ease off now", "", "Boost is close to its limit", mark="wall"),
        sweep("91", 0.55, 0.96, "4 to spare"),
        ONE_DONE,
    ),
    "limit": state(
        face("alarm", "Lift off the pedal", "", LIMIT["text"], mark="octagon"),
        sweep("99", 0.6, 1.05, "4 over", "waiting"),
        captures("secured", "stopped", "todo", done=(1, 0, 0)),
        alarm=LIMIT,
    ),
    "idle": state(
        face("calm", "Let it idle", "0:52", "left to hold", number_kind="clock"),
        {
            **IDLE,
            "id": "settled-idle",
            "place": "parked",
            "rows": [row("Speed", "0", "km/h", "standing still", "right", low=0.0, high=0.6, at=0.3), COOLANT],
        },
        captures("secured", "secured", "running", done=(1, 2, 0)),
    ),
    "lost-car": state(
        face("lost", "Lost the car", "", "Trying again. Just drive.", mark="dashed"),
        {**hold("–", 0.6, 0.56, "no data", status="stale"), "rows": NO_DATA},
        RUNNING,
        link={"state": "lost", "age_s": 4.2},
    ),
    "not-kept": state(
        face("lost", "Not recording", "", "The disk is full. What was stored stays.", mark="dashed", code="not_kept"),
        HOLD,
        RUNNING,
        trouble={"stopped": True, "text": "The disk is full. What was stored stays."},
    ),
    "stopping": state(
        STOPPING_FACE, hold("80", 0.61, 0.5, "8 to spare"), RUNNING, drive={"phase": "stopping", "stop_left_s": 8.0}
    ),
    "paused": state(
        face("lost", "Paused, still recording", "", "", mark="dashed", code="paused"),
        HOLD,
        TODO,
        drive={"phase": "paused"},
    ),
    "locked": state(face("calm", "Hold this speed", "1:12", "left to hold"), HOLD, RUNNING, drive={"locked": True}),
    "arm": state(ARM_FACE, {**ARMED, "gate": "arm"}, captures("secured", "todo", "todo", done=(1, 0, 0))),
    "arm-parked": state(
        {**ARM_FACE, "code": "arm_parked_standing", "caption": "Next: Warm idle. In the open air."},
        {**IDLE, "id": "settled-idle", "place": "parked", "phase": "closed", "gate": "arm"},
        captures("secured", "secured", "todo", done=(1, 2, 0)),
    ),
    "three": state(
        face("calm", "Hold this engine speed", "12:34", "left to hold", number_kind="clock"), THREE, RUNNING
    ),
    "done": state(
        face(
            "secured", "That is everything", "", "Drive home, or stop where it is safe.", mark="tick", code="everything"
        ),
        None,
        captures("secured", "secured", "secured", done=(1, 2, 1)),
    ),
}

WHOLE = {"limit", "locked", "done"}
"""Faces that take the whole screen."""
PAGES = {"arm", "arm-parked"}
"""Faces that lead to the Arm screen."""


def speed_thread(progress: float) -> list[list[float]]:
    """A speed that wanders within its band, up to `progress` along the lane."""
    steps = max(2, round(progress * 160))
    xs = [progress * n / (steps - 1) for n in range(steps)]
    return [
        [x, 0.5 + 0.16 * math.sin(1.3 + 9 * x) + 0.09 * math.sin(0.4 + 23 * x) + 0.02 * math.sin(61 * x)] for x in xs
    ]


def boost_thread(progress: float, top: float) -> list[list[float]]:
    """A boost that builds up towards `top`."""
    xs = [progress * n / 99 for n in range(100)]
    return [[x, 0.1 + (top - 0.1) * (1 - math.exp(-x / 0.12))] for x in xs]


def thread(name: str) -> list[list[float]]:
    """What the lane of a face has drawn so far, as the server gives it to a page that comes late."""
    shown = FACES[name]
    lead = shown["lead"]
    if lead is None or lead["phase"] not in {"running", "held"} or lead["lane"] is None:
        return []
    lane = lead["lane"]
    if lead["kind"] == "sweep":
        return boost_thread(lane["progress"], lane["head"]["y"])
    points = speed_thread(lane["progress"])
    end = lane["head"]["y"]
    tail = 8
    for n in range(1, tail + 1):
        points[-n][1] += end - points[-1][1] if n == 1 else (end - points[-n][1]) * (1 - n / (tail + 1))
    points[-1] = [lane["progress"], end]
    return points


def copy(name: str) -> State:
    """A face to change freely."""
    return deepcopy(FACES[name])
