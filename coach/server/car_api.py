"""The endpoints about the car itself: facts declared, the pedal's ends, the dial; and how the driver reads."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from coach.errors import Conflict
from coach.facts import FACTS, check_facts
from coach.server import answers as a
from coach.server import models as m
from coach.server.cars import Car, DialRead
from coach.server.endpoint import Call, Endpoint, Result
from coach.server.lesson import read_pedal
from coach.unit_factors import convert
from coach.vehicle.pedal_ends import ends_of
from coach.words import best_language, load_words


def car(call: Call) -> Result:
    """What is kept of a source's car."""
    return _car(call.services.car(call.path["source"]))


def keep_facts(call: Call) -> Result:
    """Keeps declared facts."""
    services, source = call.services, call.path["source"]
    given = check_facts({name: value for name, value in call.body.facts.items() if value.strip()})
    kept = {k: v for k, v in services.car(source).facts.items() if k not in call.body.facts}
    changed = check_facts(kept | given)
    # What is new was confirmed for nothing yet.
    return _car(services.cars.change(services.car_key(source), facts=changed, confirmed=None))


def pedal_step(call: Call) -> Result:
    """Reads the pedal at one end."""
    _nothing_runs(call)
    source = call.services.garage.open(call.path["source"], 1.0)
    return {"reading": read_pedal(source, call.services.clock)}


def keep_pedal(call: Call) -> Result:
    """Keeps the pedal's ends."""
    _nothing_runs(call)
    services = call.services
    return _car(services.cars.change(services.car_key(call.path["source"]), pedal=ends_of(call.body.readings)))


def read_dial(call: Call) -> Result:
    """Learns the dial from what it shows now."""
    services = call.services
    drive = services.in_hand()
    kmh = drive.steady_kmh()
    if kmh is None:
        raise Conflict("the speed is not steady: hold it for a few seconds, and read the dial again", where="shows")
    read = DialRead(round(kmh, 1), round(convert(call.body.shows, call.body.unit, "km/h"), 1))
    source = services.store.drive(drive.id).source["id"]
    services.cars.change(services.car_key(source), dial=read)
    drive.mark("dial", None, read.mark())
    drive.change_face(lambda face: face.read_as(dial=read.dial))
    return {"id": drive.id, "phase": drive.phase}


def read_as(call: Call) -> Result:
    """Goes on in other units or another language."""
    drive = call.services.in_hand()
    units = None if call.body.units is None else call.body.units.units()
    words = load_words(best_language(call.header("Accept-Language")))
    drive.change_face(lambda face: face.read_as(words=words, units=units))
    return {"id": drive.id, "phase": drive.phase}


def _nothing_runs(call: Call) -> None:
    drive = call.services.current
    if drive is not None and drive.phase != "ended":
        raise Conflict("a drive is being recorded; the pedal is taught before or after one", where=drive.id)


def _car(kept: Car) -> dict[str, Any]:
    return {
        "facts": kept.facts, "confirmed": kept.confirmed,
        "asked": [asdict(fact) for fact in FACTS],
        "pedal": None if kept.pedal is None else asdict(kept.pedal),
        "dial": None if kept.dial is None else asdict(kept.dial),
    }  # fmt: skip


CAR_ENDPOINTS: tuple[Endpoint, ...] = (
    Endpoint(
        "GET", "/api/cars/{source}", "What was learned and declared of the car behind a source.", car, gives=a.CarFacts,
        errors=(404,),
    ),
    Endpoint(
        "POST", "/api/cars/{source}/facts", "Keeps what a person declares of the car; an empty value takes it away.",
        keep_facts, takes=m.KeepFacts, gives=a.CarFacts, errors=(400, 404),
    ),
    Endpoint(
        "POST", "/api/cars/{source}/pedal/step",
        "Reads the raw pedal for two seconds: parked, engine off, ignition on, held still at one end.",
        pedal_step, takes=m.PedalStep, gives=a.PedalReading, errors=(400, 404, 409),
    ),
    Endpoint(
        "POST", "/api/cars/{source}/pedal", "Keeps the pedal's ends from four readings that agree.", keep_pedal,
        takes=m.KeepPedal, gives=a.CarFacts, errors=(400, 404, 409),
    ),
    Endpoint(
        "POST", "/api/drives/current/dial", "Learns the dial: what it shows now, at a steady speed.", read_dial,
        takes=m.ReadDial, gives=a.Done, errors=(400, 404, 409),
    ),
    Endpoint(
        "POST", "/api/drives/current/read-as", "Shows and speaks in other units, or in the request's language.",
        read_as, takes=m.ReadAs, gives=a.Done, errors=(400, 409),
    ),
)  # fmt: skip
