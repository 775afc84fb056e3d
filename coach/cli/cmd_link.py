"""`coach link`: adapters that look usable, and what one of them finds in a car."""

from __future__ import annotations

import threading
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from coach.cli.group import print_json, say

if TYPE_CHECKING:
    from coach.recipe import Recipe
    from coach.signals import Catalogue
    from coach.sources.link.discover import Found

_FILE = click.Path(path_type=Path)


@click.group()
def link() -> None:
    """Find an adapter, and see what it finds in the car. Nothing is ever written to the car.

    \b
    Example:
      coach link find
      coach link test /dev/rfcomm0
    """  # noqa: D301 - click takes this character to keep lines as they are


@link.command()
@click.option("--json", "as_json", is_flag=True, help="Print the list as JSON.")
def find(*, as_json: bool) -> int:
    """List the ports of this machine at which an adapter may be, and say how to reach one over the air.

    \b
    Example:
      coach link find
    """  # noqa: D301 - click takes this character to keep lines as they are
    from dataclasses import asdict

    from coach.sources.link.find import HOW, find_paired, find_ports

    ports, paired = find_ports(), find_paired()
    if as_json:
        print_json({"ports": [asdict(p) for p in ports], "paired": [asdict(p) for p in paired], "how": list(HOW)})
        return 0
    for port in ports:
        say(f"{'*' if port.likely else ' '} {port.url:<20} {port.text}\n")
    if any(port.likely for port in ports):
        say("* looks like an adapter. Try one with: coach link test PORT\n\n")
    elif ports:
        say("None of these looks like an adapter; try it all the same with: coach link test PORT\n\n")
    else:
        say("No serial port here looks like an adapter.\n\n")
    for one in paired:
        say(f"{'*' if one.likely else ' '} {one.address:<20} {one.name}, paired over Bluetooth\n")
    if paired:
        first = paired[0]
        say(f"A paired adapter needs a port: {first.bind}; then coach link test {first.url}\n\n")
    say("".join(f"{line}\n" for line in HOW))
    return 0


@link.command()
@click.argument("url")
@click.option("--recipe", "recipe_file", type=_FILE, help="Also say how fast each signal of this recipe would come.")
@click.option("--vehicle", "vehicle_file", type=_FILE, help="The car's gears, tyre and pedal, TOML.")
@click.option("--json", "as_json", is_flag=True, help="Print what was found as JSON.")
def test(url: str, recipe_file: Path | None, vehicle_file: Path | None, *, as_json: bool) -> int:
    """Connect to the adapter at URL, ask the car what it offers, and hang up.

    Ignition on, or engine running. URL is a serial port or socket://HOST:PORT.

    \b
    Example:
      coach link test /dev/rfcomm0
      coach link test socket://192.168.0.10:35000 --recipe request.toml
    """  # noqa: D301 - click takes this character to keep lines as they are
    from coach.catalogue import default_catalogue
    from coach.clock import Clock
    from coach.recipe import load_recipe
    from coach.sources.link.decode import as_read
    from coach.sources.link.look import look
    from coach.vehicle import load_vehicle

    vehicle = None if vehicle_file is None else load_vehicle(vehicle_file)
    catalogue = default_catalogue() if vehicle is None else vehicle.catalogue(default_catalogue())
    # Read before the car is asked, so that a mistake in it is said at once.
    recipe = None if recipe_file is None else load_recipe(recipe_file, catalogue)
    found = look(url, catalogue, Clock(), threading.Event(), tell=_tell)
    catalogue = as_read(catalogue, found.signals)
    result = found_json(found, catalogue)
    if recipe is not None:
        result["recipe"] = recipe_json(recipe, found, vehicle, catalogue)
    if as_json:
        print_json(result)
    else:
        say(found_text(result))
    return 0


def _tell(what: str) -> None:
    click.echo(f"looking: {what}", err=True)


def found_json(found: Found, catalogue: Catalogue) -> dict[str, Any]:
    """What was found, JSON-able; the vehicle's number is masked."""
    from coach.sources.link.decode import label
    from coach.vin import mask_vin

    identity = found.identity()
    identity["vin"] = None if found.vin is None else mask_vin(found.vin)
    signals = [
        {"signal": name, "title": catalogue[name].title, "parameter": label(way.key),
         "value": _finite(found.first_values.get(name)), "unit": catalogue[name].unit}
        for name, way in sorted(found.signals.items(), key=lambda item: (item[1].key, item[0]))
    ]  # fmt: skip
    refused = [{"parameter": label(pid), "why": why} for pid, why in sorted(found.refused.items())]
    return {**identity, "signals": signals, "refused": refused, "offered": [f"{p:02X}" for p in sorted(found.offered)]}


def _finite(value: float | None) -> float | None:
    return value if value is not None and value == value else None  # noqa: PLR0124 - NaN is not itself


def recipe_json(recipe: Recipe, found: Found, vehicle: Any, catalogue: Catalogue) -> dict[str, Any]:
    """The rate of each signal that a recipe rests on, asked and expected from this car; what each sweep needs."""
    from coach.plan import resolve
    from coach.plan.rates import advice, asked_hz, expect, least_shares
    from coach.plan.sweeps import sweep_needs
    from coach.sources.link.rates import model_of, pids_of

    plan = resolve(recipe, catalogue, vehicle, measured=frozenset(pids_of(found)))
    rates = expect(asked_hz(plan, catalogue), model_of(found), pids_of(found), least_shares(plan))
    return {
        "title": recipe.title,
        "signals": [
            {"signal": e.signal, "asked_hz": round(e.asked_hz, 2), "expected_hz": round(e.expected_hz, 2),
             "offered": e.offered, "enough": e.enough, "derived": bool(catalogue[e.signal].inputs)}
            for e in rates
        ],
        "missing": [e.signal for e in rates if not e.offered],
        "advice": advice(rates, model_of(found)),
        "sweeps": [
            {"capture": s.capture, "title": s.title, "rise_rpm_s": round(s.rise_rpm_s), "need_hz": round(s.need_hz, 2),
             "enough": not s.short, "text": s.text}
            for s in sweep_needs(recipe, plan, catalogue, vehicle, model_of(found), pids_of(found))
        ],
    }  # fmt: skip


def _list(some: list[str]) -> str:
    return ", ".join(some) or "none"


def found_text(result: dict[str, Any]) -> str:
    """What was found, for a person."""
    volts = "unknown" if result["voltage"] is None else f"{result['voltage']:.1f} V"
    batch = result["batch"]
    how = f"{batch} signals a request, {result['batch_round_trip_ms']:g} ms" if batch > 1 else "one signal a request"
    codes = result["codes"]
    lines = [
        f"Adapter         {result['adapter']}",
        f"Protocol        {result['protocol']}",
        f"Battery         {volts}",
        f"Vehicle         {result['vin'] or 'does not tell its number'}",
        *(f"Control unit    {e['address']}: {', '.join(e['calibrations']) or 'no calibration named'}"
          f"{' (' + ', '.join(e['verifications']) + ')' if e['verifications'] else ''}"
          f"{', engine' if e['address'] == result['engine'] else ''}" for e in result["ecus"]),
        f"Trouble codes   stored: {_list(codes['stored'])}; pending: {_list(codes['pending'])}",
        f"Round trip      {result['round_trip_ms']:g} ms",
        f"Batches         {how}",
        "",
        "Signals",
    ]  # fmt: skip
    for s in result["signals"]:
        value = "no value" if s["value"] is None else f"{s['value']:.6g} {s['unit']}".strip()
        lines.append(f"  {s['parameter']:<8}{s['signal']:<24} {value}")
    lines += [f"  {r['parameter']:<8}cannot be used: {r['why']}" for r in result["refused"]]
    recipe = result.get("recipe")
    if recipe is not None:
        lines += ["", f"For: {recipe['title']}"]
        for s in recipe["signals"]:
            asked, mark = f"asked {s['asked_hz']:g} Hz", " " if s["enough"] else "!"
            if s["offered"]:
                told = f"{asked}, expected {s['expected_hz']:g} Hz"
            elif s["derived"]:
                told = "no car tells it: it is worked out from what the vehicle file says (--vehicle)"
            else:
                told = f"{asked}; the car does not offer it"
            lines.append(f"{mark} {s['signal']:<26} {told}")
        lines += [text for text in (recipe["advice"], *(s["text"] for s in recipe["sweeps"])) if text]
    return "\n".join(lines) + "\n"
