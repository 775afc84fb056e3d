"""What a person chose, made into what a drive is made of: recipe, car, source, plan and the face of the page."""

from __future__ import annotations

from coach.advice import Adviser
from coach.drive.drive import Setup
from coach.plan import resolve
from coach.plan.rates import asked_hz
from coach.server.cars import Car
from coach.server.garage import Garage
from coach.server.identity import before, with_identity
from coach.server.models import StartDrive
from coach.server.notes import check_agreed
from coach.server.shelf import RecipeShelf
from coach.server.starting import car_marks, first_marks, source_facts, vehicle_of
from coach.shown import METRIC
from coach.sources.link.source import LinkSource
from coach.store import Around, NewDrive, Store
from coach.store.planjson import dump_catalogue, dump_plan
from coach.words import load_words


def setup(
    asked: StartDrive, language: str, *, shelf: RecipeShelf, garage: Garage, car: Car, store: Store
) -> Setup:  # fmt: skip
    """Everything a drive needs; nothing is written or started, but the source is open.

    Args:
        language: in which is shown and spoken.
        car: what is known of the source's car.
        store: where the drives before this one stand.

    Raises:
        NotAgreed: a real car, and people have not agreed to the notes or said who holds the phone.
        NotFound: no such recipe or source.
        BadInput: the recipe, vehicle or table cannot be used.
    """
    recipe, entry = shelf.get(asked.recipe), garage.entry(asked.source)
    if entry.link is not None and not entry.link.virtual:
        check_agreed(recipe, asked.role, asked.acknowledged)
    chosen = None if asked.units is None else asked.units.units()
    vehicle, vehicle_file, vehicle_name = vehicle_of(asked.vehicle, entry, car, chosen)
    catalogue = garage.catalogue(asked.source, vehicle)
    recipe = shelf.get(asked.recipe, catalogue)
    source = garage.open(asked.source, asked.speed)
    people = source.kind == "link" or source.people_recorded
    plan = resolve(recipe, catalogue, vehicle, measured=source.signals or None, people_recorded=people)
    speed = asked.speed
    if isinstance(source, LinkSource):
        source.asked_hz, speed = asked_hz(plan, catalogue), 1.0
        source.catalogue = catalogue
    units, words = METRIC if vehicle is None else vehicle.units, load_words(language)
    facts = with_identity(
        source_facts(entry, source, speed, people=people), asked.flashed, recipe,
        before(store.drives(), entry.id), words, units,
    )  # fmt: skip
    new = NewDrive(
        recipe=recipe.source, recipe_sha=recipe.sha256, recipe_name=recipe.name, title=recipe.title,
        revision=recipe.revision, plan=dump_plan(plan), catalogue=dump_catalogue(catalogue), rules=plan.rules,
        vehicle=vehicle_file, vehicle_name=vehicle_name,
        source=facts,
        around={c.id: Around(c.before_us, c.after_us) for c in recipe.captures},
    )  # fmt: skip
    face = Adviser(recipe, plan, catalogue, words, units, None if vehicle is None else vehicle.dial)
    marks = first_marks(recipe, asked.role, asked.acknowledged)
    marks += car_marks(car, recipe.revision if asked.confirmed else None)
    return Setup(new, plan, source, face, marks, speed)
