"""The signals of a drive are those of its car: what its vehicle file defines, and as it was found to give them."""

from __future__ import annotations

import json

import pytest

from coach.bundle.check import check_bundle
from coach.bundle.make import make_bundle
from coach.catalogue import default_catalogue
from coach.clock import Clock
from coach.drive.tasks import InPlace
from coach.errors import VehicleError
from coach.recipe import RecipeErrors
from coach.server.carlink import GivenLink
from coach.server.catalogues import asks_alike, known, of_car
from coach.server.models import StartDrive
from coach.server.services import Services
from coach.server.starting import Given
from coach.sources.adapter import AdapterServer, TableCar
from coach.sources.table import read_table
from coach.store import Store
from coach.store.planjson import load_catalogue, load_plan
from coach.vehicle import parse_vehicle
from tests.link.wired import table_car

CATALOGUE = default_catalogue()
VEHICLE = b"""
label = "The blue hatchback"
[signals.knock_retard]
title = "Knock retard"
identifier = "203C"
length = 2
value = "s16(0) * 0.1"
unit = "deg"
min = "-12 deg"
max = "6 deg"
"""
RECIPE = """
format = 1
title = "Steady, without knock"
revision = 1
[record]
road_speed = "2 Hz"
knock_retard = "2 Hz"
[[capture]]
id = "steady"
title = "Steady"
hold = "1 s"
[capture.keep]
road_speed = { min = "72 km/h", max = "88 km/h" }
knock_retard = { min = "-4 deg" }
"""
PULL = """
format = 1
title = "Steady pressure"
revision = 1
[record]
road_speed = "2 Hz"
manifold_pressure = "2 Hz"
[[capture]]
id = "steady"
title = "Steady"
hold = "1 s"
[capture.keep]
road_speed = { min = "72 km/h", max = "88 km/h" }
manifold_pressure = { min = "250 kPa" }
[capture.limit]
manifold_pressure = { max = "320 kPa" }
"""


@pytest.fixture
def serve(tmp_path):
    """Services with one adapter before `car`."""
    made = []

    def start(car, *recipes, vehicle=None):
        server = AdapterServer(car)
        paths = []
        for n, text in enumerate(recipes):
            paths.append(tmp_path / f"{n}.toml")
            paths[-1].write_text(text)
        store = Store(tmp_path / "data", Clock())
        given = Given(tuple(paths), (), vehicle, (GivenLink(server.start(), begin=lambda: None),))
        services = Services.make(store, InPlace(store.folder), Clock(), read_table, given)
        made.append((services, server))
        return services

    yield start
    for services, server in made:
        services.close()
        server.stop()


def knocking() -> TableCar:
    car = table_car()
    return TableCar({**car.answers, (0x22, 0x203C): bytes.fromhex("FFEC")})


def wide() -> TableCar:
    """Manifold pressure in two bytes only: 300 kPa."""
    answers = {k: v for k, v in table_car().answers.items() if k != (1, 0x0B)}
    return TableCar({**answers, (1, 0x87): bytes([1]) + (300 * 32).to_bytes(2, "big") + bytes(2)})


def run(services, wait_for, **more):
    drive = services.start(StartDrive(recipe=services.shelf.bundled[0], source="link:0", role="passenger", **more))
    wait_for(lambda: any(c["outcome"] == "secured" for c in services.state().get("captures", [])))
    drive.finish()
    assert drive.wait(60)
    return services.store.drive(drive.id)


def test_a_recipe_with_a_signal_of_the_maker_is_driven_judged_and_stored(serve, wait_for, tmp_path):
    """Offered on Ready, recorded and secured; the catalogue that goes with the drive reads it again alike."""
    services = serve(knocking(), RECIPE, vehicle=VEHICLE)
    sha = services.shelf.bundled[0]
    wait_for(lambda: services.ready(sha, "link:0")[0]["state"] == "ok")
    marks = {m["id"]: m for m in services.ready(sha, "link:0")}
    assert marks["signals"]["text"] == "2 of 2 found, each at the rate asked."
    row = run(services, wait_for)
    stored = load_catalogue(row.catalogue)
    assert stored["knock_retard"] == parse_vehicle(VEHICLE).signals[0]
    assert services.store.recording(row.id).series["knock_retard"].value[0] == pytest.approx(-2.0)
    verdict = json.loads(services.verdict(row.id))
    assert verdict["captures"][0]["qualified"] == 1
    assert services.shelf.view(sha)["captures"][0]["sentence"].count("knock retard") == 1
    bundled(services, row.id, tmp_path)


def bundled(services, drive, folder):
    """The calibrator judges the drive again from the bundle alone, and finds the same and nothing odd."""
    make_bundle(services.store.folder, [drive], folder / "b.zip")
    result = check_bundle(folder / "b.zip")
    assert result["problems"] == []
    assert result["same_verdict"]


def test_another_vehicle_handed_in_is_asked_for_its_own(serve, wait_for):
    """The page's vehicle file defines the signal in another way: the car is asked anew, and the recipe read by it."""
    other = VEHICLE.replace(b"s16(0) * 0.1", b"s16(0) * 0.05")
    services = serve(knocking(), RECIPE, vehicle=VEHICLE)
    row = run(services, wait_for, vehicle=other.decode())
    assert services.store.recording(row.id).series["knock_retard"].value[0] == pytest.approx(-1.0)


def test_a_vehicle_that_does_not_define_it_cannot_be_driven_with_it(serve):
    services = serve(table_car(), RECIPE, vehicle=VEHICLE)
    with pytest.raises(RecipeErrors) as caught:
        Services.make(
            services.store, services.worker, services.clock, read_table, Given(recipes=services_recipes(services)),
        ).shelf.get(services.shelf.bundled[0])  # fmt: skip
    assert "knock_retard" in str(caught.value)


def services_recipes(services):
    return (services.store.folder.parent / "0.toml",)


def test_manifold_pressure_in_two_bytes_is_not_saturated_at_255_kpa(serve, wait_for, tmp_path):
    """300 kPa is in the band and under the limit; the drive's own catalogue and plan say so for good."""
    services = serve(wide(), PULL)
    sha = services.shelf.bundled[0]
    wait_for(lambda: services.ready(sha, "link:0")[0]["state"] == "ok")
    row = run(services, wait_for)
    assert load_catalogue(row.catalogue)["manifold_pressure"].ceiling == pytest.approx(65535 / 32)
    assert load_plan(row.plan).facts["manifold_pressure"].ceiling == pytest.approx(65535 / 32)
    assert json.loads(services.verdict(row.id))["captures"][0]["qualified"] == 1
    bundled(services, row.id, tmp_path)


def test_a_limit_that_only_two_bytes_show_may_be_asked_for_once_such_a_car_was_found(serve, wait_for):
    """Before that a recipe with it is refused: one byte ends at 255 kPa."""
    services = serve(wide(), RECIPE.replace("knock_retard", "engine_speed").replace("-4 deg", "0 rpm"))
    with pytest.raises(RecipeErrors, match="255"):
        services.shelf.add(PULL.encode(), "pull.toml")
    sha = services.shelf.bundled[0]
    wait_for(lambda: services.ready(sha, "link:0")[0]["state"] == "ok")
    kept = services.shelf.add(PULL.encode(), "pull.toml")
    assert services.shelf.view(kept.sha256)["findings"] == []


def test_catalogues_of_several_vehicle_files():
    """Every definition is known; of two of one name the first file's stands; a bad one is refused."""
    more = VEHICLE.replace(b"knock_retard", b"cam_angle").replace(b"203C", b"203D")
    other = VEHICLE.replace(b"203C", b"2040")
    made = known(CATALOGUE, (VEHICLE, None, more, other))
    assert made["knock_retard"].identified.identifier == 0x203C
    assert "cam_angle" in made
    assert known(CATALOGUE, (None, None)) is CATALOGUE
    with pytest.raises(VehicleError):
        known(CATALOGUE, (VEHICLE.replace(b"length = 2", b"length = 1"),))
    assert of_car(CATALOGUE, None, None) is CATALOGUE
    assert asks_alike(known(CATALOGUE, (VEHICLE,)), known(CATALOGUE, (VEHICLE, other)))
    assert not asks_alike(known(CATALOGUE, (VEHICLE,)), known(CATALOGUE, (other,)))
