"""The pages about vehicle, gears and simulator say what the code does."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from coach.sources.simulator import SCENARIOS, Car
from coach.vehicle import parse_vehicle, ratios, vehicle_schema

DOCS = Path(__file__).parents[2] / "docs"


def page(name):
    return (DOCS / name).read_text(encoding="utf-8")


def test_every_key_has_its_heading():
    """Each key of the vehicle file has a heading in the reference, and no heading is without a key."""
    headings = set(re.findall(r"^## ([a-z_]+)$", page("reference/vehicle.md"), re.MULTILINE))
    assert headings == set(vehicle_schema()["properties"])


def test_every_key_of_a_table_is_named():
    """So is each key of its tables, under the table's heading."""
    text = page("reference/vehicle.md")
    tables = {
        "gearbox": "Gearbox", "tyre": "Tyre", "pedal": "Pedal", "units": "UnitsPart", "dial": "DialPart",
        "road_load": "RoadLoadPart", "full_load": "FullLoad", "signals": "MakerSignal",
    }  # fmt: skip
    for name, table in tables.items():
        part = text.split(f"\n## {name}\n")[1].split("\n## ")[0]
        for key in vehicle_schema()["$defs"][table]["properties"]:
            assert f"`{key}`" in part, key


def test_the_example_loads():
    """The example of the reference is a vehicle."""
    example = re.search(r"```toml\n(.*?)```", page("reference/vehicle.md"), re.DOTALL)[1]
    car = parse_vehicle(example)
    assert len(car.ratios) == 6
    assert [d.name for d in car.derivations()] == ["gear", "pedal_travel"]


@pytest.mark.parametrize(
    "words",
    [
        f"within {ratios.ENTER:.0%} of it and at least {ratios.MARGIN:.0%} past".replace("%", " %"),
        f"within {ratios.KEEP:.0%} of it and no more than {ratios.MARGIN:.0%} past".replace("%", " %"),
        f"{ratios.DRIFT_KMH_S:.0f} km/h a second",
        f"under {ratios.LEAST_KMH:.0f} km/h",
        f"under {ratios.LEAST_RPM:.0f} rpm",
        f"holds for {ratios.UNKNOWN_AFTER_US / 1e6} s",
        f"no more than {ratios.WIDEST_PAIR_US / 1e6:.0f} s apart",
    ],
)
def test_numbers_of_the_gear(words):
    """The numbers by which a gear is told stand in the explanation as the code has them."""
    assert words in page("explanation/gears.md")


def test_bundled_drives_are_listed():
    """The explanation lists every bundled drive in its own words, and the car's figures."""
    text = page("explanation/simulator.md")
    for one in SCENARIOS:
        assert f"| {one.name} | {one.tells} |" in text
    assert f"{Car().mass_kg:.0f} kg" in text
    assert f"{Car().speed_delay_us / 1000:.0f} ms late" in text
