"""What the manifest says of one drive: only what is named here leaves the laptop, so nothing can slip along."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from coach.bundle.manifest import SignalEntry
from coach.bundle.masking import Mask
from coach.clock import wall_text
from coach.core.spec import JudgePlan
from coach.facts import facts_of
from coach.recording import US, Mark, Recording, Series
from coach.signals import Catalogue
from coach.store.labels import Label
from coach.store.model import DriveRow
from coach.vehicle.gear import GearDerivation

LINK = ("adapter", "protocol", "voltage", "engine", "batch", "round_trip_ms", "batch_round_trip_ms")
"""What is told of the link; its address (a port, a name in somebody's network) is not."""
IDENTITY = ("ecus", "codes", "since_clear_km")
NOT_SENT = frozenset(("device",))
"""Marks that stay with the owner: no verdict rests on which phone somebody held."""


def vin_of(row: DriveRow) -> str | None:
    """The vehicle's number as the car told it, or None."""
    meta = row.source.get("meta")
    found = meta.get("vin") if isinstance(meta, Mapping) else None
    return found if isinstance(found, str) and found else None


def link_facts(row: DriveRow) -> dict[str, Any]:
    """What the samples came through."""
    meta = row.source.get("meta")
    meta = meta if isinstance(meta, Mapping) else {}
    told = {name: meta.get(name) for name in LINK if meta.get(name) is not None}
    return {"kind": row.source.get("kind"), "title": row.source.get("title"), "speed": row.source.get("speed"), **told}


def identity_facts(row: DriveRow) -> dict[str, Any]:
    """What was in the car's control units, and what a person said is in them; empty where nobody knows."""
    meta = row.source.get("meta")
    meta = meta if isinstance(meta, Mapping) else {}
    told = {name: meta[name] for name in IDENTITY if meta.get(name) is not None}
    for name in ("flashed", "warnings"):
        if row.source.get(name):
            told[name] = row.source[name]
    return told


def declared(marks: Sequence[Mark] | None, label: Label) -> dict[str, Any]:
    """What people declared of the car, and wrote on the drive; what nobody said is left out."""
    told: dict[str, Any] = dict(facts_of(marks or ()))
    for mark in marks or ():
        name, _, value = mark.text.partition("=")
        if mark.kind == "fact" and name == "confirmed":
            told["confirmed_revision"] = value
        elif mark.kind == "dial":
            told["dial"] = mark.text
    written = {"name": label.name, "note": label.note}
    weather = {n: getattr(label, n) for n in ("pressure_kpa", "temperature_c", "humidity_pct")}
    told |= {n: v for n, v in {**written, **weather}.items() if v not in ("", None)}
    return told


def ratios_of(plan: JudgePlan) -> dict[str, float]:
    """Engine speed over road speed by gear, as the plan judges."""
    gears = next((d for d in plan.derivations if isinstance(d, GearDerivation)), None)
    return {} if gears is None else {str(gear): float(ratio) for gear, ratio in sorted(gears.ratios.items())}


def sent_marks(marks: Sequence[Mark] | None) -> list[Mark] | None:
    """What people said, without what stays with the owner."""
    return None if marks is None else [m for m in marks if m.kind not in NOT_SENT]


def signal_entry(
    name: str, whole: Series, inside: int, sha256: str, plan: JudgePlan, catalogue: Catalogue
) -> SignalEntry:
    """How often a signal came, how often it was asked for, and how much of it is inside."""
    asked = [a.rate_hz for c in plan.captures for a in c.record if a.signal == name]
    t = whole.t_us
    span = int(t[-1] - t[0]) if len(t) > 1 else 0
    return SignalEntry(
        name=name, unit=catalogue[name].unit if name in catalogue else "", count=len(whole), inside=inside,
        sha256=sha256,
        judged=name in plan.facts, asked_hz=max(asked, default=None),
        rate_hz=round((len(t) - 1) * US / span, 3) if span else 0.0,
        max_gap_s=int(np.diff(t).max()) / US if len(t) > 1 else 0.0,
    )  # fmt: skip


def started(row: DriveRow) -> str | None:
    """The wall clock at the first sample in words, UTC."""
    return None if row.anchor_wall_us is None else wall_text(row.anchor_wall_us)


def notes_of(recording: Recording, mask: Mask) -> list[dict[str, Any]]:
    """What the reader of the samples noticed."""
    return [
        {"code": n.code, "text": mask.text(n.text), "signal": n.signal, "count": n.count} for n in recording.notes
    ]  # fmt: skip
