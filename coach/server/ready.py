"""Can we start? Link, signals, engine, road, room: a mark and one sentence each."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from coach.errors import CoachError
from coach.plan import check_plan, resolve
from coach.plan.capture_plan import Assumed, plan_capture
from coach.plan.shown_plan import length
from coach.plan.sweeps import sweep_needs
from coach.recipe import Recipe
from coach.server.carlink import advice, connected, expected, together
from coach.server.garage import Garage
from coach.shown import Units, show
from coach.signals import Catalogue
from coach.sources.link.discover import Found
from coach.sources.link.rates import model_of, pids_of
from coach.vehicle import Vehicle
from coach.words import Words

BYTES_AN_HOUR = 12_000_000
"""150 samples a second at 17 bytes each, indices and window files included."""
LEAST_HOURS = 2

Marks = list[dict[str, Any]]


def ready_marks(
    recipe: Recipe, source: str, garage: Garage, vehicle: Vehicle | None, catalogue: Catalogue, words: Words,
    free_bytes: int, units: Units,
) -> Marks:  # fmt: skip
    """The five marks, in the order in which they are looked at. Raises NotFound for an unknown source."""

    def mark(name: str, state: str, key: str, **values: object) -> dict[str, Any]:
        return {"id": name, "state": state, "text": words(f"server.ready.{key}", **values)}

    found = garage.signals(source)
    rest = [_road(recipe, vehicle, words, units), _room(free_bytes, words)]
    car = garage.entry(source).link
    which = "" if car is None else "_car"
    if found is None:
        waiting = [mark(name, "todo", "not_yet") for name in ("signals", "engine")]
        return [mark("link", "looking", f"link_looking{which}"), *waiting, *rest]
    if isinstance(found, CoachError):
        waiting = [mark(name, "todo", "not_yet") for name in ("signals", "engine")]
        return [mark("link", "bad", f"link_bad{which}", why=str(found)), *waiting, *rest]
    engine = _engine(recipe, garage.first_value(source, "coolant_temp"), words, units)
    known = None if car is None else car.found()
    if not isinstance(known, Found):
        link = mark("link", "ok", f"link_{garage.entry(source).kind}")
        return [link, _signals(recipe, found, vehicle, catalogue, words), engine, *rest]
    link = mark("link", "warn" if known.stored else "ok", "link_link", **connected(known, words))
    plan = resolve(recipe, catalogue, vehicle, measured=found)
    rates = expected(plan, known, catalogue)
    signals = _signals(recipe, together(rates, known), vehicle, catalogue, words)
    needs = sweep_needs(recipe, plan, catalogue, vehicle, model_of(known), pids_of(known), units=units, words=words)
    more = [advice(rates, model_of(known)), *(need.text for need in needs)]
    signals["text"] = " ".join([signals["text"], *(text for text in more if text)])
    if signals["state"] == "ok" and any(need.short for need in needs):
        signals["state"] = "warn"
    signals["rates"] = [
        {"signal": e.signal, "name": words.short(catalogue[e.signal]), "asked_hz": round(e.asked_hz, 2),
         "expected_hz": round(e.expected_hz, 2), "offered": e.offered, "enough": e.enough}
        for e in rates
    ]  # fmt: skip
    signals["sweeps"] = [
        {"capture": n.capture, "title": n.title, "need_hz": round(n.need_hz, 2), "enough": not n.short, "text": n.text}
        for n in needs
    ]
    return [link, signals, engine, *rest]


def _signals(
    recipe: Recipe, found: Mapping[str, float], vehicle: Vehicle | None, catalogue: Catalogue, words: Words
) -> dict[str, Any]:
    findings = check_plan(recipe, catalogue, vehicle, measured=found)
    asked = {name: a for c in recipe.captures for name, a in recipe.recorded(c).items()}
    every = dict.fromkeys([*asked, *(n for c in recipe.captures for n in c.signals())])
    missing = [str(f.path[-1]) for f in findings if f.level == "error"]
    unneeded = [str(f.path[-1]) for f in findings if f.level != "error"]
    slow = [n for n, a in asked.items() if n in found and found[n] < a.least * a.rate_hz and a.need]

    def names(some: list[str]) -> str:
        known = {n: words.short(catalogue[n]) for n in some if n in catalogue}
        return ", ".join(dict.fromkeys(words.inside(known[n]) if n in known else n for n in some))

    def made(state: str, key: str, some: list[str]) -> dict[str, Any]:
        gone = len(set(missing) | set(unneeded))
        text = words(f"server.ready.{key}", found=len(every) - gone, asked=len(every), names=names(some))
        return {"id": "signals", "state": state, "text": text}

    if missing:
        return made("bad", "signals_missing", missing)
    if slow:
        return made("warn", "signals_slow", slow)
    if unneeded:
        return made("warn", "signals_unneeded", unneeded)
    return made("ok", "signals", [])


def _engine(recipe: Recipe, coolant_c: float | None, words: Words, units: Units) -> dict[str, Any]:
    lows = [
        b.low for c in recipe.captures for b in (*c.start, *c.keep) if b.signal == "coolant_temp" and b.low is not None
    ]
    if not lows:
        return {"id": "engine", "state": "ok", "text": words("server.ready.engine_unknown")}
    if coolant_c is None:
        return {"id": "engine", "state": "warn", "text": words("server.ready.engine_no_data")}
    value = show(coolant_c, "degC", units)
    key = "engine_cold" if coolant_c < max(lows) else "engine"
    return {"id": "engine", "state": "ok", "text": words(f"server.ready.{key}", value=value.text, unit=value.unit)}


def _road(recipe: Recipe, vehicle: Vehicle | None, words: Words, units: Units) -> dict[str, Any]:
    course = [c for c in recipe.captures if c.place == "closed course"]
    if not course:
        key = "road_parked" if all(c.place == "parked" for c in recipe.captures) else "road"
        return {"id": "road", "state": "ok", "text": words(f"server.ready.{key}")}
    for capture in course:
        gear = next((b.low for b in capture.keep if b.signal == "gear" and b.low == b.high), None)
        sweep = capture.sweep
        if vehicle is None or gear is None or sweep is None or sweep.signal != "engine_speed":
            continue
        if round(gear) in (vehicle.ratios or {}):
            speed = show(vehicle.kmh(round(gear), max(sweep.start, sweep.to)), "km/h", units)
            text = words("server.ready.road_course_speed", title=capture.title, value=speed.text, unit=speed.unit)
            row = plan_capture(capture, vehicle, {}, Assumed()).main
            if row is not None and row.total_m is not None and row.how == "full load":
                text = words("server.ready.road_room", text=text, room=length(row.total_m, units))
            return {"id": "road", "state": "warn", "text": text}
    titles = ", ".join(c.title for c in course)
    return {"id": "road", "state": "warn", "text": words("server.ready.road_course", titles=titles)}


def _room(free_bytes: int, words: Words) -> dict[str, Any]:
    hours = free_bytes / BYTES_AN_HOUR
    if hours > 24 * 14:
        return {"id": "room", "state": "ok", "text": words("server.ready.room_days")}
    if hours >= LEAST_HOURS:
        return {"id": "room", "state": "ok", "text": words("server.ready.room", hours=int(hours))}
    if hours * 60 < 1:
        return {"id": "room", "state": "bad", "text": words("server.ready.room_none")}
    return {"id": "room", "state": "warn", "text": words("server.ready.room_short", minutes=int(hours * 60))}
