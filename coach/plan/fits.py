"""Can this car do it: gears, rev limit, road speeds against the recipe's bands, time, room and the tank."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from coach.plan.at import At
from coach.plan.capture_plan import Assumed, CapturePlan, InGear, band_of, gears_of
from coach.recipe import Finding, Recipe
from coach.shown import METRIC, Units, show
from coach.vehicle import Vehicle
from coach.vehicle.model import IDLE_SHARE
from coach.words import Words

UNDER_LIMIT_RPM = 200.0
"""A sweep ends so far under the rev limit (common practice, no source)."""
NARROW_KMH = 4.0
"""Four readings of a signal in whole km/h: room to steer in."""
LATE = 1.1
"""A sweep that is expected to take so much longer than allowed cannot be met; less is a warning."""
TANK_SHARE = 0.8
"""Holds that fill more of a tank than this leave too little for the way."""


def check_fit(
    recipe: Recipe, vehicle: Vehicle, plans: Sequence[CapturePlan], assumed: Assumed, words: Words,
    units: Units = METRIC,
) -> Iterator[Finding]:  # fmt: skip
    """Errors and warnings about what this car can do, each with what to change.

    Returns:
        Errors: `no_such_gear`, `over_rev_limit`, `never_together`, `engine_too_slow`, `over_speed_band`, `not_reached`,
        `within_too_short`, `hold_over_tank`. Warnings: `near_rev_limit`, `no_gear_named`, `course_needed`,
        `narrow_band`, `near_idle`, `within_tight`, `tank_low`.
    """
    say = _Say(At(recipe), words, units, vehicle, assumed)
    for index, plan in enumerate(plans):
        yield from say.gear(index, plan)
        yield from say.revs(index, plan)
        yield from say.held(index, plan)
        yield from say.swept(index, plan)
    yield from say.tank(plans)


class _Say:
    def __init__(self, at: At, words: Words, units: Units, vehicle: Vehicle, assumed: Assumed) -> None:
        self.at, self.words, self.units = at, words, units
        self.vehicle, self.assumed = vehicle, assumed

    def speed(self, kmh: float) -> str:
        return str(show(kmh, "km/h", self.units))

    def ordinal(self, gear: int) -> str:
        return self.words.ordinal(gear)

    def gear(self, index: int, plan: CapturePlan) -> Iterator[Finding]:
        ratios, band = self.vehicle.ratios or {}, band_of(plan.asked, "gear")
        if not ratios or self.vehicle.transmission == "CVT":
            return
        if band is not None and not gears_of(plan.asked, ratios):
            have = ", ".join(str(g) for g in sorted(ratios))
            yield self.at(
                "error", "no_such_gear", f"the ratios of this car are known for gear {have}", index, ("keep", "gear"),
                "Ask for one of these gears, or give the missing ratio in the vehicle file.",
            )  # fmt: skip
        sweep = plan.asked.sweep
        if band is None and sweep is not None and sweep.signal == "engine_speed" and len(plan.rows) > 1:
            low, high = plan.rows[0], plan.rows[-1]
            yield self.at(
                "warning", "no_gear_named",
                f"no gear is asked for: the sweep ends at {self.speed(low.top_kmh)} in {self.ordinal(low.gear)} and at "
                f"{self.speed(high.top_kmh)} in {self.ordinal(high.gear)}",
                index, ("sweep", sweep.signal), "Add gear under keep.",
            )  # fmt: skip

    def revs(self, index: int, plan: CapturePlan) -> Iterator[Finding]:
        limit, sweep, engine = self.vehicle.rev_limit_rpm, plan.asked.sweep, band_of(plan.asked, "engine_speed")
        if limit is None:
            return
        if engine is not None and engine.low is not None and engine.low > limit:
            yield self.at(
                "error", "over_rev_limit", f"the rev limit is {limit:.0f} rpm", index, ("keep", "engine_speed", "min"),
                f"Ask for at most {limit - UNDER_LIMIT_RPM:.0f} rpm.",
            )  # fmt: skip
        if sweep is None or sweep.signal != "engine_speed":
            return
        top, key = max((sweep.to, "to"), (sweep.start, "from"))
        change = f"End it at {limit - UNDER_LIMIT_RPM:.0f} rpm or lower."
        path = ("sweep", "engine_speed", key)
        if top > limit:
            yield self.at("error", "over_rev_limit", f"the rev limit is {limit:.0f} rpm", index, path, change)
        elif top > limit - UNDER_LIMIT_RPM:
            yield self.at(
                "warning", "near_rev_limit", f"only {limit - top:.0f} rpm under the rev limit of {limit:.0f} rpm",
                index, path, change,
            )  # fmt: skip

    def held(self, index: int, plan: CapturePlan) -> Iterator[Finding]:
        if plan.asked.sweep is not None:
            return
        ratios = self.vehicle.ratios or {}
        speed, engine = band_of(plan.asked, "road_speed"), band_of(plan.asked, "engine_speed")
        gears = [] if self.vehicle.transmission == "CVT" else gears_of(plan.asked, ratios)
        if band_of(plan.asked, "gear") is None or not gears or (speed is not None and speed.high == 0):
            return
        if speed is not None and engine is not None and not plan.rows:
            ratio, named = ratios[gears[0]], self.ordinal(gears[0])
            ends = " to ".join(f"{v * ratio:.0f}" for v in (speed.low, speed.high) if v is not None)
            fit = [g for g in ratios if _overlap(speed, engine, ratios[g])]
            change = (
                f"It fits in {' or '.join(self.ordinal(g) for g in sorted(fit))}." if fit else "Move one of the bands."
            )
            yield self.at(
                "error", "never_together",
                f"in {named} this road speed is {ends} rpm, outside the band of engine_speed",
                index, ("keep", "engine_speed"), change,
            )  # fmt: skip
        idle = self.vehicle.idle_rpm
        for row in plan.rows:
            if speed is None or idle is None or row.from_rpm is None or row.to_rpm is None:
                continue
            least = idle * IDLE_SHARE
            if row.to_rpm < least or row.from_rpm < least:
                never = row.to_rpm < least
                yield self.at(
                    "error" if never else "warning", "engine_too_slow" if never else "near_idle",
                    f"in {self.ordinal(row.gear)} {self.speed(row.to_kmh if never else row.from_kmh)} is only "
                    f"{row.to_rpm if never else row.from_rpm:.0f} rpm: below {least:.0f} rpm the gear cannot be told",
                    index, ("keep", "gear"), "Ask for a lower gear or a higher speed.",
                )  # fmt: skip
        if speed is None and engine is not None and plan.rows:
            row = plan.rows[0]
            if row.to_kmh - row.from_kmh < NARROW_KMH:
                yield self.at(
                    "warning", "narrow_band",
                    f"in {self.ordinal(row.gear)} this band is only {row.to_kmh - row.from_kmh:.1f} km/h wide, and "
                    "road speed comes in whole km/h",
                    index, ("keep", "engine_speed"), f"Widen it to {NARROW_KMH * ratios[row.gear]:.0f} rpm or more.",
                )  # fmt: skip

    def swept(self, index: int, plan: CapturePlan) -> Iterator[Finding]:
        sweep, main = plan.asked.sweep, plan.main
        if sweep is None:
            if "speed" in plan.course and plan.asked.place == "road" and plan.low_kmh is not None:
                yield self._course(index, plan, plan.low_kmh, ("keep", "road_speed"))
            return
        if main is None:
            return
        path = ("sweep", sweep.signal)
        if "speed" in plan.course and plan.asked.place != "closed course":
            yield self._course(index, plan, min(row.top_kmh for row in plan.rows), path)
        speed = band_of(plan.asked, "road_speed")
        if speed is not None and speed.high is not None and all(row.top_kmh > speed.high for row in plan.rows):
            low = min(plan.rows, key=lambda row: row.top_kmh)
            yield self.at(
                "error", "over_speed_band",
                f"the sweep ends at {self.speed(low.top_kmh)} in {self.ordinal(low.gear)}, and keep allows "
                f"{self.speed(speed.high)}",
                index, ("keep", "road_speed"), self._slower(plan, low, speed.high),
            )  # fmt: skip
        if all(row.why == "not_reached" for row in plan.rows):
            yield self.at(
                "error", "not_reached", f"this car does not reach the end of the sweep in {self.ordinal(main.gear)}",
                index, path, "Ask for a lower gear, or end the sweep earlier.",
            )  # fmt: skip
        elif sweep.within_us is not None and main.how in ("full load", "earlier pulls") and main.seconds is not None:
            yield from self._within(index, plan, main, sweep.within_us / 1e6)

    def _within(self, index: int, plan: CapturePlan, main: InGear, within_s: float) -> Iterator[Finding]:
        took = main.seconds or 0.0
        if took <= within_s:
            return
        never = took > LATE * within_s
        yield self.at(
            "error" if never else "warning", "within_too_short" if never else "within_tight",
            f"this car takes about {took:.1f} s in {self.ordinal(main.gear)}, and within allows {within_s:g} s", index,
            ("sweep", "engine_speed", "within"), f"Allow {took * 1.25:.0f} s, or ask for a lower gear.",
        )  # fmt: skip

    def _course(self, index: int, plan: CapturePlan, kmh: float, path: tuple[str, ...]) -> Finding:
        bound = self.assumed.bound_kmh
        lower = (
            self._slower(plan, min(plan.rows, key=lambda r: r.top_kmh), bound) if plan.rows and plan.asked.sweep else ""
        )
        return self.at(
            "warning", "course_needed",
            f"it implies {self.speed(kmh)}, above {self.speed(bound)}: it needs a closed course", index, path,
            f'Write place = "closed course". {lower}'.strip(),
        )  # fmt: skip

    def _slower(self, plan: CapturePlan, row: InGear, most_kmh: float) -> str:
        """A lower gear in which the sweep stays below a speed, or an earlier end."""
        sweep = plan.asked.sweep
        if sweep is None or sweep.signal != "engine_speed":
            return "Lower the speed."
        top = max(sweep.start, sweep.to)
        ratios = self.vehicle.ratios or {}
        fit = [g for g in ratios if top / ratios[g] <= most_kmh]
        gear = max(fit, default=None)
        if gear is not None and gear < row.gear:
            return f"In {self.ordinal(gear)} it ends at {self.speed(top / ratios[gear])}."
        if not fit:
            return (
                f"Or end it at {most_kmh * ratios[row.gear]:.0f} rpm in {self.ordinal(row.gear)}."
                if row.gear in ratios
                else ""
            )
        return "Ask for a lower gear."

    def tank(self, plans: Sequence[CapturePlan]) -> Iterator[Finding]:
        reach = self.vehicle.range_km
        if reach is None:
            return
        total = 0.0
        for index, plan in enumerate(plans):
            time_us = (plan.asked.hold_us or plan.asked.collect_us or 0) * plan.asked.times
            km = (plan.low_kmh or 0.0) * time_us / 3.6e9
            total += km
            if km > reach:
                yield self.at(
                    "error", "hold_over_tank",
                    f"at {self.speed(plan.low_kmh or 0.0)} and more this takes {km:.0f} km, and a tank lasts "
                    f"{reach:.0f} km",
                    index, ("hold",) if plan.asked.hold_us else ("collect",), "Ask for less time, or for fewer times.",
                )  # fmt: skip
        if TANK_SHARE * reach < total:
            yield self.at(
                "warning", "tank_low",
                f"the holds alone take {total:.0f} km of the {reach:.0f} km that a tank lasts", None,
                change="Spread them over several drives.",
            )  # fmt: skip


def _overlap(speed: object, engine: object, ratio: float) -> bool:
    low = max(_or(speed, "low", 0.0) * ratio, _or(engine, "low", 0.0))
    return low <= min(_or(speed, "high", 1e9) * ratio, _or(engine, "high", 1e9))


def _or(band: object, end: str, other: float) -> float:
    value = getattr(band, end)
    return other if value is None else float(value)
