"""Facts that a person declares of a car: which there are, what each may be, and how they stand among a drive's marks.

What was said is data: it is stored as it was typed, and nothing is ever filled in for a person.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Literal

from coach.errors import BadInput
from coach.recording import Mark

KIND = "fact"
"""Kind of the marks that carry facts; their text is `name=value`."""
CONFIRMED = "confirmed"
"""Name under which the revision stands that a person confirmed the facts for."""
LONGEST = 200
_TYRE = re.compile(r"\d{3}/\d{2} ?Z?R ?\d{2}(\.5)?", re.IGNORECASE)
"""Width, height of the side and rim, as tyres carry it (ISO 4000-1's designation, from memory)."""


@dataclass(frozen=True, slots=True)
class Fact:
    """One fact.

    Attributes:
        name: as in marks and over the API.
        kind: `number` from `low` to `high`, one of `choices`, a `tyre` size, or free `text`.
        unit: of a number, in the API's own spelling; empty where it has none.
    """

    name: str
    kind: Literal["number", "choice", "text", "tyre"]
    unit: str = ""
    low: float = 0.0
    high: float = 0.0
    choices: tuple[str, ...] = ()


# Bounds are wide on purpose (common practice, no source): they stop slips of the finger, not opinions.
FACTS: tuple[Fact, ...] = (
    Fact("fuel", "choice", choices=("petrol", "diesel", "ethanol", "gas")),
    Fact("octane", "number", "RON", 80, 120),
    Fact("ethanol", "number", "%", 0, 100),
    Fact("plug_age", "number", "km", 0, 500_000),
    Fact("plug_gap", "number", "mm", 0.2, 2.0),
    Fact("tyre_size", "tyre"),
    Fact("tyre_pressure", "number", "kPa", 50, 600),
    Fact("parts_changed", "text"),
    Fact("people_aboard", "number", "", 1, 9),
    Fact("fuel_level", "number", "%", 0, 100),
    Fact("same_road", "choice", choices=("yes", "no", "unknown")),
)
_BY_NAME = {f.name: f for f in FACTS}


def check_fact(name: str, value: str) -> str:
    """The value as it is stored, without blanks around it.

    Raises:
        BadInput: there is no such fact, or it cannot be that.
    """
    fact = _BY_NAME.get(name)
    if fact is None:
        raise BadInput(f"this is not a fact that is asked for; there are {', '.join(_BY_NAME)}", where=f"facts.{name}")
    text, where = value.strip(), f"facts.{name}"
    if not text or len(text) > LONGEST or any(c < " " for c in text):
        raise BadInput(f"give one line of 1 to {LONGEST} characters, or leave it out", where=where)
    if fact.kind == "choice" and text not in fact.choices:
        raise BadInput(f"this is one of {', '.join(fact.choices)}", where=where)
    if fact.kind == "tyre" and not _TYRE.fullmatch(text):
        raise BadInput('give the size as it stands on the tyre\'s side, as in "225/45R17"', where=where)
    if fact.kind == "number":
        number = _number(text)
        if number is None or not fact.low <= number <= fact.high:
            unit = f" {fact.unit}" if fact.unit else ""
            raise BadInput(f"give a number from {fact.low:g} to {fact.high:g}{unit}", where=where)
    return text


def _number(text: str) -> float | None:
    if not re.fullmatch(r"\d{1,7}(\.\d{1,4})?", text):
        return None
    number = float(text)
    return number if math.isfinite(number) else None


def check_facts(facts: Mapping[str, str]) -> dict[str, str]:
    """Facts checked, in the order of `FACTS`. Raises BadInput."""
    checked = {name: check_fact(name, value) for name, value in facts.items()}
    return {f.name: checked[f.name] for f in FACTS if f.name in checked}


def fact_marks(facts: Mapping[str, str], revision: int | None, t_us: int = 0) -> tuple[Mark, ...]:
    """Marks that carry `facts`, and the revision that a person confirmed them for (None: nobody did)."""
    marks = [Mark(t_us, KIND, None, f"{name}={value}") for name, value in facts.items()]
    if revision is not None:
        marks.append(Mark(t_us, KIND, None, f"{CONFIRMED}={revision}"))
    return tuple(marks)


def facts_of(marks: Iterable[Mark] | None) -> dict[str, str]:
    """The facts among a drive's marks, the later of a name standing, in the order of `FACTS`."""
    said = _said(marks)
    return {f.name: said[f.name] for f in FACTS if f.name in said}


def confirmed_revision(marks: Iterable[Mark] | None) -> int | None:
    """The recipe's revision that a person confirmed the facts for, or None."""
    text = _said(marks).get(CONFIRMED, "")
    return int(text) if text.isdecimal() else None


def _said(marks: Iterable[Mark] | None) -> dict[str, str]:
    pairs = (mark.text.partition("=") for mark in marks or () if mark.kind == KIND)
    return {name: value for name, _, value in pairs}
