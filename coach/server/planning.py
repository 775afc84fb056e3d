"""The endpoints about a recipe in a car before anyone drives: the plan, its plot, and the check at the desk."""

from __future__ import annotations

from typing import Annotated, Any

from flask import Response
from pydantic import Field, StringConstraints

from coach.catalogue import default_catalogue
from coach.errors import CoachError
from coach.plan.drive_plan import DrivePlan, Known, Link, plan_drive
from coach.plan.plan_json import plan_json
from coach.plan.plot import plan_svg
from coach.plan.pulls import EarlierPulls
from coach.recipe import Recipe, RecipeErrors, examine
from coach.server.answers import Answer, FindingItem
from coach.server.cars import car_key
from coach.server.earlier import PATIENCE_S
from coach.server.endpoint import Call, Endpoint, Result
from coach.server.models import Asked, Short
from coach.server.starting import vehicle_of
from coach.shown import Units, units_named
from coach.signals import Catalogue
from coach.sources.link.discover import Found
from coach.sources.link.rates import model_of, pids_of
from coach.vehicle import Vehicle, parse_vehicle
from coach.words import best_language, load_words

Text = Annotated[str, StringConstraints(max_length=256_000)]


class PlanQuery(Asked):
    """What is to be planned."""

    recipe: Short = Field(description="SHA-256 of the recipe.")
    source: Short | None = Field(
        None, description="Id of the source; without it the car of the drive that runs, else no car."
    )


class PlanAsked(Asked):
    """A recipe that is being written, in a car."""

    recipe: Text = Field(description="Text of the recipe, TOML or JSON.")
    vehicle: Text | None = Field(None, description="Text of a vehicle file.")
    source: Short | None = Field(None, description="Id of a source: its car, its signals, its link.")


class PlannedCapture(Answer):
    """One capture in the car; figures in km/h, metres and seconds, null where they are not known."""

    id: str
    title: str
    low_kmh: float | None
    high_kmh: float | None
    top_kmh: float | None = Field(description="The fastest moment of a sweep.")
    room_m: float | None = Field(description="From standstill to standstill.")
    need_text: str = Field(description="Speed and room of a sweep, in one sentence; empty for other captures.")
    course: list[str]
    course_text: str
    gears: list[dict[str, Any]]


class Planned(Answer):
    """A recipe in a car: what it means, and all that speaks against it."""

    recipe: dict[str, Any]
    vehicle: dict[str, Any] | None
    minutes: int = Field(description="About how long it takes, warm-up included.")
    order: list[str] = Field(description="Ids of the captures in the order to drive them.")
    captures: list[PlannedCapture]
    unknown: list[dict[str, str]]
    signals: list[dict[str, Any]]
    rates: dict[str, Any] | None
    errors: int
    warnings: int
    findings: list[FindingItem]


def plan(call: Call) -> Result:
    """The plan."""
    made, catalogue, units, language = _stored(call)
    return plan_json(made, catalogue, units=units, words=load_words(language))


def plot(call: Call) -> Result:
    """The plot."""
    made, _, units, language = _stored(call)
    return Response(plan_svg(made, units=units, words=load_words(language), bare=True), mimetype="image/svg+xml")


def try_plan(call: Call) -> Result:
    """The plan of a recipe that is being written."""
    asked: PlanAsked = call.body
    vehicle, known, catalogue = in_car(call, asked.vehicle, asked.source)
    recipe, findings = examine(asked.recipe.encode(), name="recipe", catalogue=catalogue)
    if recipe is None:
        raise RecipeErrors("recipe", [f for f in findings if f.level == "error"])
    units, language = _units(call), best_language(call.header("Accept-Language"))
    words = load_words(language)
    made = plan_drive(recipe, catalogue, vehicle, known, units=units, words=words)
    return plan_json(made, catalogue, units=units, words=words)


def in_car(call: Call, vehicle_file: str | None, source: str | None) -> tuple[Vehicle | None, Known, Catalogue]:
    """The car that a recipe is written for, what is known of it, and the signals that it may name.

    Raises:
        VehicleError: the file is no vehicle file.
        NotFound: no such source.
    """
    vehicle = None if vehicle_file is None else parse_vehicle(vehicle_file, name="vehicle.toml")
    known = Known()
    if source is not None:
        vehicle = vehicle or _car(call, source)
        known = _known(call, source, vehicle)
    return vehicle, known, _catalogue(call, vehicle, source)


def _stored(call: Call) -> tuple[DrivePlan, Catalogue, Units | None, str]:
    """The plan of a recipe on the shelf. Raises NotFound, VehicleError."""
    services, units = call.services, _units(call)
    recipe: Recipe = services.shelf.get(call.query.recipe)
    source, vehicle = call.query.source, None
    running = services.current
    if source is None and running is not None and running.phase != "ended":
        row = services.store.drive(running.id)
        if row.recipe_sha == recipe.sha256:
            source = row.source.get("id")
            vehicle = None if row.vehicle is None else parse_vehicle(row.vehicle, name=row.vehicle_name or "vehicle")
    known = Known()
    if source is not None:
        vehicle = vehicle or _car(call, source)
        known = _known(call, source, vehicle)
    language = best_language(call.header("Accept-Language"))
    catalogue = _catalogue(call, vehicle, source)
    made = plan_drive(recipe, catalogue, vehicle, known, units=units, words=load_words(language))
    return made, catalogue, units, language


def _car(call: Call, source: str) -> Vehicle | None:
    services = call.services
    return vehicle_of(None, services.garage.entry(source), services.car(source))[0]


def _known(call: Call, source: str, vehicle: Vehicle | None) -> Known:
    """What a source says of itself, how fast its link is where a car was looked at, and how its car pulled before."""
    garage = call.services.garage
    offered = garage.signals(source)
    link = garage.entry(source).link
    found = None if link is None else link.found()
    return Known(
        offered=None if offered is None or isinstance(offered, CoachError) else frozenset(offered),
        link=Link(model_of(found), pids_of(found)) if isinstance(found, Found) else None,
        pulls=_pulls(call, source, vehicle),
    )


def _pulls(call: Call, source: str, vehicle: Vehicle | None) -> dict[int, EarlierPulls]:
    """Pulls of this car in the drives that are here; while one is recorded nothing waits for them."""
    services = call.services
    if vehicle is None or not vehicle.ratios or not vehicle.source:
        return {}
    driving = services.current is not None and services.current.phase != "ended"
    return services.pulls.of(
        car_key(source, vehicle), vehicle.source, services.store.drives(), services.reviewer or services.worker,
        0.0 if driving else PATIENCE_S,
    )  # fmt: skip


def _catalogue(call: Call, vehicle: Vehicle | None, source: str | None) -> Catalogue:
    """The signals as the source's car was found to give them: with manifold pressure in two bytes where it has that."""
    garage = call.services.garage
    if source is not None:
        return garage.as_found(source, vehicle)
    return garage.widest() if vehicle is None else vehicle.catalogue(default_catalogue())


def _units(call: Call) -> Units | None:
    return units_named(call.header("X-Units") or "")


PLAN_ENDPOINTS: tuple[Endpoint, ...] = (
    Endpoint(
        "GET", "/api/plan", "A recipe in a car: speeds, time, room, rates, order, and all that speaks against it.",
        plan, query=PlanQuery, gives=Planned, errors=(400, 404),
    ),
    Endpoint(
        "POST", "/api/plan", "The same for a recipe that is being written; nothing is kept.", try_plan, takes=PlanAsked,
        gives=Planned, most_bytes=600_000, errors=(400, 404),
    ),
    Endpoint(
        "GET", "/api/plan.svg",
        "Road speed over engine speed by gear, with the captures drawn in; it takes the page's style.", plot,
        query=PlanQuery, media="image/svg+xml", errors=(400, 404),
    ),
)  # fmt: skip
