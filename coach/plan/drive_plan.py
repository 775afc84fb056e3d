"""The whole plan of a recipe in a car: captures, room, rates, signals, order, time, and every finding about it."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from typing import Any, Literal

from coach.core.spec import JudgePlan
from coach.plan.at import At
from coach.plan.capture_plan import Assumed, CapturePlan, plan_capture
from coach.plan.cheapest import Change, cheapest
from coach.plan.check import check_plan
from coach.plan.fits import check_fit
from coach.plan.kinds import ONE_BYTE_KPA, check_kind
from coach.plan.offered import check_reached, check_stand_ins, signal_table, with_stand_ins
from coach.plan.order import minutes, order_of
from coach.plan.pulls import EarlierPulls
from coach.plan.rates import Expected, LinkModel, asked_hz, expect, least_shares
from coach.plan.resolve import UNJUDGEABLE, resolve
from coach.plan.sweeps import SweepNeed, sweep_needs
from coach.recipe import Finding, Recipe, check_recipe
from coach.shown import METRIC, Units
from coach.signals import Catalogue
from coach.vehicle import Vehicle
from coach.words import Words, load_words

TIGHT = 0.98
"""An expected rate under this share of the asked one is tight: one slow answer more and it is too low."""


@dataclass(frozen=True)
class Link:
    """What is known of the link.

    Attributes:
        model: how fast it answers.
        keys: what each offered signal is asked for by, see `achieved_hz`; None: every signal is one parameter.
        measured: whether a car was asked, or the model is only a usual one.
    """

    model: LinkModel
    keys: Mapping[str, int] | None = None
    measured: bool = True


@dataclass(frozen=True)
class Known:
    """What is known beside recipe and vehicle file; every part may be missing.

    Attributes:
        offered: signals that the car or table carries; None: what the vehicle file says, or nobody knows.
        offered_by: `car`: all that it offers; `drive`: only what an earlier drive recorded, so that what is missing may
            still be there.
        pulls: earlier full-pedal pulls of this car, by gear.
        highest: the highest value of each signal in earlier drives.
        link: the link, or None.
    """

    offered: Collection[str] | None = None
    offered_by: Literal["car", "drive"] = "car"
    pulls: Mapping[int, EarlierPulls] | None = None
    highest: Mapping[str, float] | None = None
    link: Link | None = None


@dataclass(frozen=True)
class RatePlan:
    """What the link gives: each signal, the changes that would make it enough (None: nothing helps), each sweep."""

    link: Link
    signals: tuple[Expected, ...]
    changes: tuple[Change, ...] | None
    sweeps: tuple[SweepNeed, ...]

    @property
    def feasible(self) -> bool:
        """Whether every signal that the car offers comes as often as it must."""
        return all(e.enough for e in self.signals if e.offered)


@dataclass(frozen=True)
class DrivePlan:
    """A recipe in a car.

    Attributes:
        captures: in the recipe's order; `order` has their ids in the order to drive them.
        minutes: about how long the whole takes.
        unknown: codes of what the vehicle file leaves open, see the words under `drive_plan.unknown`.
        signals: rows of `signal_table`.
        rates: None without a link.
        findings: of the recipe alone and of the recipe in this car.
    """

    recipe: Recipe
    vehicle: Vehicle | None
    assumed: Assumed
    captures: tuple[CapturePlan, ...]
    order: tuple[str, ...]
    minutes: int
    unknown: tuple[str, ...]
    signals: tuple[Mapping[str, Any], ...]
    rates: RatePlan | None
    findings: tuple[Finding, ...]

    def of(self, capture_id: str) -> CapturePlan:
        """The plan of one capture. Raises KeyError when there is none."""
        for plan in self.captures:
            if plan.asked.id == capture_id:
                return plan
        raise KeyError(capture_id)


def plan_drive(
    recipe: Recipe, catalogue: Catalogue, vehicle: Vehicle | None = None, known: Known | None = None, *,
    assumed: Assumed | None = None, units: Units | None = None, words: Words | None = None,
) -> DrivePlan:  # fmt: skip
    """Everything that can be said about driving a recipe in a car before anyone drives.

    Args:
        recipe: as loaded; it may have errors.
        catalogue: the signals.
        vehicle: the car, or None.
        known: what is known besides.
        assumed: what is taken for granted.
        units: of speeds in sentences; the car's own where left out.
        words: of sentences.
    """
    known, assumed, words = known or Known(), assumed or Assumed(), words or load_words()
    units = units or (vehicle.units if vehicle is not None else METRIC)
    offered = known.offered
    by = known.offered_by
    if vehicle is not None and vehicle.offers is not None and (offered is None or by == "drive"):
        offered, by = frozenset((*vehicle.offers, *(offered or ()))), "car"
    captures = tuple(plan_capture(c, vehicle, known.pulls or {}, assumed) for c in recipe.captures)
    findings = check_recipe(recipe, catalogue)
    if vehicle is not None or offered is not None:
        missing = _named(check_plan(recipe, catalogue, vehicle, measured=offered), vehicle, offered)
        findings += missing if by == "car" else [_perhaps(one) for one in missing]
    if vehicle is not None:
        findings += check_kind(recipe, vehicle, one_byte=catalogue["manifold_pressure"].ceiling == ONE_BYTE_KPA)
        findings += check_fit(recipe, vehicle, captures, assumed, words, units)
        findings += check_stand_ins(recipe, vehicle, offered)
    findings += check_reached(recipe, catalogue, known.highest or {})
    rates = None
    # With a contradiction nothing can be judged, so nothing is asked of the link either.
    if known.link is not None and not any(f.level == "error" and f.code in UNJUDGEABLE for f in findings):
        rates = _rates(recipe, catalogue, vehicle, offered, known.link, units, words)
        findings += _about_rates(recipe, rates)
    return DrivePlan(
        recipe, vehicle, assumed, captures, tuple(order_of(recipe)), minutes(recipe, captures, assumed),
        unknown_of(vehicle, captures), tuple(signal_table(recipe, catalogue, vehicle, offered, words)), rates,
        tuple(dict.fromkeys(findings)),
    )  # fmt: skip


def _named(findings: list[Finding], vehicle: Vehicle | None, offered: Collection[str] | None) -> list[Finding]:
    """Findings about missing signals with the stand-ins that this car has; a CVT's missing gear is said elsewhere."""
    found = []
    for one in findings:
        name = str(one.path[-1])
        if vehicle is not None and vehicle.transmission == "CVT" and name == "gear":
            continue
        if vehicle is not None and vehicle.induction == "naturally aspirated" and name == "gauge_boost":
            continue
        found.append(replace(one, own_change=with_stand_ins(one, offered or ())))
    return found


def _perhaps(finding: Finding) -> Finding:
    """What an earlier drive did not record is only a warning: the car may have it."""
    if finding.code != "not_offered":
        return finding
    message = finding.message.replace("the source does not carry", "the earlier drive does not carry")
    message = message.replace("which the source does not carry", "which the earlier drive does not carry")
    return replace(finding, level="warning", message=message)


def unknown_of(vehicle: Vehicle | None, captures: tuple[CapturePlan, ...]) -> tuple[str, ...]:
    """Codes of what is not known and matters to this recipe."""
    if vehicle is None:
        return ("vehicle", "road")
    sweeps = any(plan.asked.sweep is not None for plan in captures)
    gears = any(plan.asked.sweep is not None or any(b.signal == "gear" for b in plan.asked.keep) for plan in captures)
    pedal = any("pedal_travel" in plan.asked.signals() for plan in captures)
    idle = any(plan.asked.place == "parked" for plan in captures)
    why = {row.why for plan in captures for row in plan.rows}
    found = [code for code, so in (
        ("ratios", gears and not vehicle.ratios and vehicle.transmission != "CVT"),
        ("transmission", gears and vehicle.transmission is None),
        ("induction", any("gauge_boost" in plan.asked.signals() for plan in captures) and vehicle.induction is None),
        ("rev_limit", sweeps and vehicle.rev_limit_rpm is None),
        ("idle", idle and vehicle.idle_rpm is None),
        ("pedal", pedal and vehicle.released_pct is None),
        *((code, code in why) for code in (
            "no_mass", "no_road_load", "no_full_load", "beyond_full_load", "pulls_too_short", "part_pedal",
        )),
        ("delay", gears and vehicle.delay_us == 0),
        ("start_stop", idle and vehicle.start_stop is None and vehicle.hybrid is None),
        ("road", True),
    ) if so]  # fmt: skip
    return tuple(found)


def _rates(
    recipe: Recipe, catalogue: Catalogue, vehicle: Vehicle | None, offered: Collection[str] | None, link: Link,
    units: Units, words: Words,
) -> RatePlan:  # fmt: skip
    plan: JudgePlan = resolve(recipe, catalogue, vehicle, measured=offered)
    asked, least = asked_hz(plan, catalogue), least_shares(plan)
    keys = link.keys
    if keys is None:
        # Nobody knows what they are asked for by: each is one parameter that may be batched.
        keys = {name: n for n, name in enumerate(dict.fromkeys([*asked, *(offered or ())]))}
    inputs = {d.name: d.inputs for d in plan.derivations}
    judged = {i for c in recipe.captures for name in c.signals() for i in inputs.get(name, (name,))}
    sweeps = sweep_needs(recipe, plan, catalogue, vehicle, link.model, keys, units=units, words=words)
    changes = cheapest(asked, link.model, keys, least=least, judged=judged)
    return RatePlan(
        link, tuple(expect(asked, link.model, keys, least)), None if changes is None else tuple(changes), tuple(sweeps)
    )


def _about_rates(recipe: Recipe, rates: RatePlan) -> list[Finding]:
    """Errors `rate_too_low`; warnings `tight_rate`, `sweep_rate`."""
    at = At(recipe)
    found = []
    changes = {change.signal: change for change in rates.changes or ()}
    said = "; ".join(_change(change) for change in rates.changes or ())
    usual = "" if rates.link.measured else " (a usual link; none was measured)"
    for one in rates.signals:
        if not one.offered or one.expected_hz >= TIGHT * one.asked_hz:
            continue
        given = f"the link gives {one.signal} about {one.expected_hz:.3g} Hz of {one.asked_hz:.3g} Hz asked{usual}"
        if one.enough:
            change = f"Ask for {one.expected_hz:.2g} Hz, or for less of something else."
            found.append(at("warning", "tight_rate", given, None, ("record", one.signal), change))
            continue
        own = changes.get(one.signal)
        change = f"The cheapest change: {said}." if said else _change(own) if own else "Use a faster adapter."
        level: Literal["error", "warning"] = "error" if rates.link.measured else "warning"
        found.append(at(level, "rate_too_low", f"{given}, and {one.least_hz:.3g} Hz are needed", None,
                        ("record", one.signal), change))  # fmt: skip
    ids = {capture.id: n for n, capture in enumerate(recipe.captures)}
    found += [
        at("warning", "sweep_rate", need.text + usual, ids[need.capture], ("sweep", "engine_speed"))
        for need in rates.sweeps
        if need.short
    ]
    return found


def _change(change: Change) -> str:
    if change.to_hz is None:
        return f"leave {change.signal} out"
    return f"{change.signal} at {change.to_hz:g} Hz"
