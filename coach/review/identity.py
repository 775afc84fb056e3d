"""Which calibration is in the car, as it tells and as a person says: stored with each drive, compared between drives.

A changed number shows a new calibration; an unchanged one proves nothing. Pure: nothing is read or asked here.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from coach.recipe import Recipe
from coach.shown import METRIC, Units, show
from coach.words import Words, load_words

SETTLE_KM = 50.0
"""Distance since codes and trims were cleared before steady captures count for much (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Unit:
    """A control unit: its address, the names of its calibrations and their verification numbers; empty: not told."""

    address: str
    calibrations: tuple[str, ...] = ()
    verifications: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Identity:
    """What was in the car in one drive.

    Attributes:
        vin: the vehicle's number, whole, or None.
        ecus: the control units, by address.
        stored, pending: trouble codes.
        since_clear_km: distance since codes and trims were cleared, or None.
        revision, flashed: what a person said before the drive: which revision is in the car and the day it was
            flashed (`2026-05-04`); None where nobody said it.
    """

    vin: str | None = None
    ecus: tuple[Unit, ...] = ()
    stored: tuple[str, ...] = ()
    pending: tuple[str, ...] = ()
    since_clear_km: float | None = None
    revision: int | None = None
    flashed: str | None = None


@dataclass(frozen=True, slots=True)
class Before:
    """An earlier drive: revision and title of its recipe, its day, and what was in the car."""

    revision: int
    title: str
    started_at: str
    identity: Identity


@dataclass(frozen=True, slots=True)
class Warned:
    """Something to look at before driving and on the calibrator's desk: a code, and a sentence."""

    code: str
    text: str

    def json(self) -> dict[str, str]:
        """As it is stored with a drive."""
        return {"code": self.code, "text": self.text}


def identity_of(source: Mapping[str, Any]) -> Identity | None:
    """What was in the car, from what is stored with a drive about its source; None where it was no car."""
    if source.get("kind") != "link":
        return None
    meta, said = source.get("meta") or {}, source.get("flashed") or {}
    codes = meta.get("codes") or {}
    return Identity(
        meta.get("vin"),
        tuple(
            Unit(str(e.get("address", "")), tuple(e.get("calibrations", ())), tuple(e.get("verifications", ())))
            for e in sorted(meta.get("ecus", ()), key=lambda e: str(e.get("address", "")))
        ),
        tuple(codes.get("stored", ())), tuple(codes.get("pending", ())), meta.get("since_clear_km"),
        said.get("revision"), said.get("date"),
    )  # fmt: skip


def same_car(a: Identity, b: Identity) -> bool:
    """Whether both may be one car: two different numbers are two cars."""
    return a.vin is None or b.vin is None or a.vin == b.vin


def same_calibration(a: Identity, b: Identity) -> bool | None:
    """Whether every control unit tells the same names and numbers; None where there is nothing to compare."""
    mine, other = ({u.address: u for u in i.ecus if u.calibrations or u.verifications} for i in (a, b))
    common = mine.keys() & other.keys()
    if not common:
        return None
    return all(
        (mine[k].calibrations, mine[k].verifications) == (other[k].calibrations, other[k].verifications) for k in common
    )


def identity_warnings(
    recipe: Recipe, now: Identity, before: Sequence[Before], *, units: Units = METRIC, words: Words | None = None
) -> list[Warned]:
    """What a person should look at.

    Args:
        recipe: what is asked for: its revision, `calibration` and `settle`.
        now: what is in the car, and what a person said of it; where nobody was asked yet that is left out.
        before: earlier drives of this car, the newest first.
        units: of distances.
        words: of sentences.
    """
    say = words or load_words()
    found = [*_expected(recipe, now, say), *_compared(recipe, now, before, say)]
    if now.revision is not None and now.revision != recipe.revision:
        found.append(Warned("other_revision", say("link.other_revision", said=now.revision, asked=recipe.revision)))
    found += _settled(recipe, now, units, say)
    return found


def _expected(recipe: Recipe, now: Identity, say: Words) -> Iterable[Warned]:
    """The recipe names what should be in the car."""
    if not recipe.calibration:
        return
    told = {name for unit in now.ecus for name in (*unit.calibrations, *unit.verifications)}
    missing = [name for name in recipe.calibration if name not in told]
    if not told:
        yield Warned("calibration_unknown", say("link.calibration_unknown", asked=", ".join(recipe.calibration)))
    elif missing:
        names = ", ".join(n for unit in now.ecus for n in (unit.calibrations or unit.verifications))
        yield Warned("other_calibration", say("link.other_calibration", asked=", ".join(missing), told=names))


def _compared(recipe: Recipe, now: Identity, before: Sequence[Before], say: Words) -> Iterable[Warned]:
    """Against the newest drive of an earlier revision, and of this one."""
    cars = [b for b in before if same_car(now, b.identity)]
    earlier = next((b for b in cars if b.revision < recipe.revision), None)
    if earlier is not None and same_calibration(now, earlier.identity):
        yield Warned(
            "same_calibration", say("link.same_calibration", revision=earlier.revision, day=earlier.started_at[:10])
        )
    alike = next((b for b in cars if b.revision == recipe.revision), None)
    if alike is not None and same_calibration(now, alike.identity) is False:
        yield Warned(
            "changed_calibration", say("link.changed_calibration", revision=alike.revision, day=alike.started_at[:10])
        )


def _settled(recipe: Recipe, now: Identity, units: Units, say: Words) -> Iterable[Warned]:
    """Trims need some distance after they were cleared before steady captures tell much."""
    steady = any(c.sweep is None and c.place == "road" for c in recipe.captures)
    if not steady and recipe.settle_km is None:
        return
    need_km = SETTLE_KM if recipe.settle_km is None else recipe.settle_km
    need = show(need_km, "km", units)
    if now.since_clear_km is None:
        if recipe.settle_km is not None:
            yield Warned("settle_unknown", say("link.settle_unknown", value=need.text, unit=need.unit))
    elif now.since_clear_km < need_km:
        gone = show(now.since_clear_km, "km", units)
        yield Warned(
            "not_settled", say("link.not_settled", gone=gone.text, gone_unit=gone.unit, value=need.text, unit=need.unit)
        )
