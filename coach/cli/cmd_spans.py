"""`coach spans`: time, distance and acceleration between two road speeds in a recorded drive."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from coach.cli.group import print_json, say

_FILE = click.Path(path_type=Path)


@click.command()
@click.argument("drive", type=_FILE)
@click.option("--from", "low", required=True, metavar="SPEED", help='Where it begins: "60 km/h".')
@click.option("--to", "high", required=True, metavar="SPEED", help='Where it ends: "100 km/h".')
@click.option("--json", "as_json", is_flag=True, help="Print the spans as JSON.")
def spans(drive: Path, low: str, high: str, *, as_json: bool) -> int:
    """Time every rise between two road speeds in the recorded DRIVE, with what sampling and whole km/h leave open.

    Crossings are interpolated linearly. Gradient and wind are not known: only runs on the same road, both ways, in the
    same weather compare.

    \b
    Example:
      coach spans drive.csv --from "60 km/h" --to "100 km/h"
    """  # noqa: D301 - click takes this character to keep lines as they are
    from coach.catalogue import default_catalogue
    from coach.errors import BadInput
    from coach.review.spans import distance_m, way_of
    from coach.review.spans import spans as rises
    from coach.sources.table import read_table
    from coach.units import parse_quantity
    from coach.words import load_words

    catalogue = default_catalogue()
    first, last = parse_quantity(low, "speed", where="--from"), parse_quantity(high, "speed", where="--to")
    if not first < last:
        raise BadInput("a span needs two speeds, the lower one first", where="--from")
    series = read_table(drive, catalogue).series.get("road_speed")
    if series is None or not len(series):
        raise BadInput("the drive has no road speed", where=str(drive))
    step = catalogue["road_speed"].step or 0.0
    rows: list[dict[str, Any]] = []
    for one in rises(series, first, last, step=step):
        way = way_of(series, one, first, last, step=step)
        rows.append({
            "start_s": round(one.start_s, 3), "seconds": round(one.seconds, 3),
            "seconds_pm": round(one.uncertainty_s, 3), "metres": round(way.metres, 1),
            "metres_pm": round(way.metres_uncertainty, 1), "ms2": round(way.ms2, 3),
            "ms2_pm": round(way.ms2_uncertainty, 3), "steady": one.monotone,
        })  # fmt: skip
    caveat = load_words()("drive_plan.spans.caveat")
    if as_json:
        print_json({"from_kmh": first, "to_kmh": last, "spans": rows, "drive_m": distance_m(series), "caveat": caveat})
        return 0
    said = load_words()
    lines = [said("drive_plan.spans.none", low=low, high=high)] if not rows else [said("drive_plan.spans.head")]
    lines += [
        f"{row['start_s']:>9.1f}  {row['seconds']:>7.2f} ±{row['seconds_pm']:<6.2f}  {row['metres']:>7.0f} "
        f"±{row['metres_pm']:<6.0f}  {row['ms2']:>6.2f} ±{row['ms2_pm']:<5.2f}"
        + ("" if row["steady"] else f"  {said('drive_plan.spans.unsteady')}")
        for row in rows
    ]
    lines += [said("drive_plan.spans.whole", km=f"{distance_m(series) / 1000:.2f}"), caveat]
    say("\n".join(lines) + "\n")
    return 0
