"""`coach plan`: a recipe in a car, before anyone drives."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from coach.cli.group import REQUIRED, print_json, say
from coach.cli.within import Within

if TYPE_CHECKING:
    from coach.plan.drive_plan import Known
    from coach.signals import Catalogue
    from coach.vehicle import Vehicle

_FILE = click.Path(path_type=Path)


@click.command()
@click.argument("recipe_file", metavar="RECIPE", type=_FILE)
@click.option("--vehicle", "vehicle_file", type=_FILE, help="The car's gears, tyre, mass and the rest, TOML.")
@click.option("--drive", "drives", type=_FILE, multiple=True, help="An earlier drive of this car: its pulls count.")
@click.option("--round-trip", metavar="TIME", help='Measured round trip of one signal, as in "40 ms".')
@click.option("--batch", type=click.IntRange(1, 6), help="Signals that the adapter takes in a request; 1 if left out.")
@click.option("--batch-round-trip", metavar="TIME", help="Measured round trip of a full request.")
@click.option("--bound", metavar="SPEED", help='A sweep above it needs a closed course; "100 km/h" if left out.')
@click.option("--stop", "stop_ms2", type=Within(0.5, 8), help="Gentle deceleration in m/s2; 2 if left out.")
@click.option("--units", type=click.Choice(["metric", "imperial"]), help="Units of sentences; else the car's.")
@click.option("--json", "as_json", is_flag=True, help="Print the plan as JSON.")
@click.option("--svg", "svg_file", type=_FILE, help="Write the plot of road speed over engine speed there.")
@click.option("--require", is_flag=True, help="Exit with 1 when there are errors.")
def plan(
    recipe_file: Path, vehicle_file: Path | None, drives: tuple[Path, ...], round_trip: str | None, batch: int | None,
    batch_round_trip: str | None, bound: str | None, stop_ms2: float | None, units: str | None, svg_file: Path | None,
    *, as_json: bool, require: bool,
) -> int:  # fmt: skip
    """Say what the RECIPE means in this car: speeds, time, room, rates, order, and all that speaks against it.

    Exit status: 0 when it was planned, whatever was found; 1 with --require when there are errors; 2 for input that
    cannot be used.

    \b
    Example:
      coach plan request.toml --vehicle car.toml
      coach plan request.toml --vehicle car.toml --round-trip "40 ms" --batch 6 --batch-round-trip "55 ms"
      coach plan request.toml --vehicle car.toml --drive last.csv --svg speeds.svg
    """  # noqa: D301 - click takes this character to keep lines as they are
    from coach.catalogue import default_catalogue
    from coach.cli.whole_file import write_whole
    from coach.plan.capture_plan import BOUND_KMH, GENTLE_MS2, Assumed
    from coach.plan.drive_plan import plan_drive
    from coach.plan.plan_json import plan_json
    from coach.plan.plan_text import plan_text
    from coach.plan.plot import plan_svg
    from coach.recipe import load_recipe
    from coach.shown import units_for
    from coach.units import parse_quantity
    from coach.vehicle import load_vehicle

    vehicle = None if vehicle_file is None else load_vehicle(vehicle_file)
    catalogue = default_catalogue() if vehicle is None else vehicle.catalogue(default_catalogue())
    recipe = load_recipe(recipe_file, catalogue)
    known = _known(drives, vehicle, catalogue, round_trip, batch, batch_round_trip)
    assumed = Assumed(
        stop_ms2=stop_ms2 or GENTLE_MS2,
        bound_kmh=BOUND_KMH if bound is None else parse_quantity(bound, "speed", where="--bound"),
    )
    shown = None if units is None else units_for(units)
    made = plan_drive(recipe, catalogue, vehicle, known, assumed=assumed, units=shown)
    result = plan_json(made, catalogue, units=shown)
    if svg_file is not None:
        write_whole(svg_file, plan_svg(made, units=shown))
    if as_json:
        print_json(result)
    else:
        say(plan_text(made, catalogue, units=shown))
    return REQUIRED if require and result["errors"] else 0


def _known(
    drives: tuple[Path, ...], vehicle: Vehicle | None, catalogue: Catalogue, round_trip: str | None, batch: int | None,
    batch_round_trip: str | None,
) -> Known:  # fmt: skip
    """What earlier drives and a measured link add. Raises BadInput."""
    import numpy as np

    from coach.errors import BadInput
    from coach.plan.drive_plan import Known, Link
    from coach.plan.pulls import earlier_pulls
    from coach.plan.rates import LinkModel
    from coach.sources.table import read_table
    from coach.units import parse_duration_us

    link = None
    if round_trip is not None:
        single = parse_duration_us(round_trip, where="--round-trip")
        full = single if batch_round_trip is None else parse_duration_us(batch_round_trip, where="--batch-round-trip")
        if not 1_000 <= single <= full <= 10_000_000:
            raise BadInput(
                "a round trip takes 1 ms to 10 s, and a full request no less than one signal", where="--round-trip"
            )
        link = Link(LinkModel(batch or 1, single, full))
    elif batch is not None or batch_round_trip is not None:
        raise BadInput("without a measured round trip nothing is said about rates: give --round-trip", where="--batch")
    recordings = [read_table(path, catalogue) for path in drives]
    if not recordings:
        return Known(link=link)
    seen: dict[str, float] = {}
    for recording in recordings:
        for name, series in recording.series.items():
            good = series.value[np.isfinite(series.value)]
            if len(good):
                seen[name] = max(seen.get(name, -np.inf), float(good.max()))
    pulls = None if vehicle is None else earlier_pulls(recordings, vehicle)
    return Known(offered=frozenset(seen), offered_by="drive", pulls=pulls, highest=seen, link=link)
