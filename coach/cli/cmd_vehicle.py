"""`coach vehicle`: what a car's file says, what drives teach about it, and the schema."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from coach.cli.group import print_json, say

if TYPE_CHECKING:
    from coach.vehicle import Vehicle
    from coach.vehicle.learned_gears import Learned

_FILE = click.Path(path_type=Path)


@click.group()
def vehicle() -> None:
    """Learn a car's gears from drives, show what is known of it, or print the schema of vehicle files.

    \b
    Example:
      coach vehicle learn drive.csv --vehicle car.toml
    """  # noqa: D301 - click takes this character to keep lines as they are


@vehicle.command()
@click.argument("drives", metavar="DRIVE...", type=_FILE, nargs=-1, required=True)
@click.option("--vehicle", "vehicle_file", type=_FILE, help="What is known of the car already, TOML.")
@click.option("--gears", metavar="N,N,...", help="Which gears the clusters are, the lowest first: your word.")
@click.option("--write", "out", type=_FILE, help="Write the vehicle file with what was learned there.")
@click.option("--json", "as_json", is_flag=True, help="Print what was learned as JSON.")
def learn(
    drives: tuple[Path, ...], vehicle_file: Path | None, gears: str | None, out: Path | None, *, as_json: bool
) -> int:
    """Find the gears of a car in recorded DRIVEs, and hold them against its file.

    Clusters get numbers from the file, from a reported gear that proved right, or from --gears: a drive without first
    gear looks like that of a car with one gear fewer. Nothing that the file says is ever changed.

    \b
    Example:
      coach vehicle learn drive.csv --vehicle car.toml
      coach vehicle learn drive.csv --gears 1,2,3,4,5,6 --write car.toml
    """  # noqa: D301 - click takes this character to keep lines as they are
    from coach.catalogue import default_catalogue
    from coach.cli.whole_file import write_whole
    from coach.sources.table import read_table
    from coach.vehicle import load_vehicle
    from coach.vehicle.learned import learn_car
    from coach.vehicle.merged import merged

    known = None if vehicle_file is None else load_vehicle(vehicle_file)
    catalogue = default_catalogue()
    recordings = [read_table(path, catalogue) for path in drives]
    learned = learn_car(recordings, known, numbers=_numbers(gears))
    added: list[str] = []
    if out is not None:
        text = "" if known is None else known.source.decode("utf-8-sig")
        written, added = merged(text, learned, name=out.name)
        if added:
            write_whole(out, written)
    if as_json:
        print_json(learned_json(learned) | {"drives": len(drives), "written": added})
    else:
        say("\n".join(_text(learned, known, len(drives), out, added)) + "\n")
    return 0


def _numbers(text: str | None) -> list[int]:
    """`1,2,3` as numbers. Raises BadInput."""
    from coach.errors import BadInput

    if text is None:
        return []
    try:
        return [int(part) for part in text.split(",")]
    except ValueError:
        raise BadInput(f'"{text[:40]}" is not a list of gear numbers: write 1,2,3', where="--gears") from None


def learned_json(learned: Learned) -> dict[str, Any]:
    """What was learned, JSON-able."""
    return {
        "gears": [
            {"number": g.number, "by": g.by or None, "rpm_per_kmh": round(g.cluster.ratio, 3),
             "seconds": round(g.cluster.seconds, 1), "count": g.cluster.count, "stretches": g.cluster.stretches,
             "spread": round(g.cluster.spread, 4), "confidence": g.confidence, "file": g.file_ratio,
             "off": None if g.off is None else round(g.off, 4)}
            for g in learned.gears
        ],
        "delay_ms": learned.delay_us / 1000, "idle_rpm": learned.idle_rpm, "seconds": round(learned.seconds, 1),
        "pedal": {"lowest": learned.lowest_pedal, "highest": learned.highest_pedal},
        "conflicts": [
            {"code": c.code, "gears": list(c.gears), "value": round(c.value, 4), "text": conflict_text(c)}
            for c in learned.conflicts
        ],
    }  # fmt: skip


def conflict_text(conflict: Any) -> str:
    """A conflict as one sentence."""
    from coach.words import load_words

    words = load_words()
    gears = [str(g) for g in conflict.gears]
    some = words("vehicle.conflict.some_gear")
    return words(
        f"vehicle.conflict.{conflict.code}", gear=gears[0] if gears else some,
        other=gears[1] if len(gears) > 1 else some,
        percent=f"{conflict.value * 100:+.1f}", ratio=f"{conflict.value:.2f}", count=f"{conflict.value:.0f}",
        seconds=f"{conflict.value:.1f}",
    )  # fmt: skip


def _text(learned: Learned, known: Vehicle | None, count: int, out: Path | None, added: list[str]) -> Iterator[str]:
    from coach.words import load_words

    words = load_words()

    def told(key: str, **values: object) -> str:
        return words(f"vehicle.learn.{key}", **values)

    yield words.counted("vehicle.learn.head", count, minutes=f"{learned.seconds / 60:.0f}")
    if not learned.gears:
        cvt = known is not None and known.transmission == "CVT"
        yield told("none_cvt" if cvt else "none")
    else:
        yield told("columns")
    for g in learned.gears:
        c = g.cluster
        gear = told(f"by.{g.by}", gear=g.number) if g.by else told("no_number")
        of_file = "" if g.off is None else f"{g.file_ratio:.2f} ({g.off * 100:+.1f} %)"
        yield told("row").format(
            gear=gear, ratio=f"{c.ratio:.2f}", seconds=f"{c.seconds:.0f}", stretches=c.stretches,
            spread=f"{c.spread * 100:.1f}", confidence=g.confidence, file=of_file or told("no_file"),
        ).rstrip()  # fmt: skip
    if any(g.number is None for g in learned.gears) and all(g.number is None for g in learned.gears):
        yield told("unnumbered", example=",".join(str(n + 1) for n in range(len(learned.gears))))
    if learned.gears:
        yield told("delay", delay=f"{learned.delay_us / 1000:.0f}")
    if learned.idle_rpm is not None:
        yield told("idle", rpm=f"{learned.idle_rpm:.0f}")
    if learned.highest_pedal is not None and learned.lowest_pedal is not None:
        yield told("pedal", low=f"{learned.lowest_pedal:.1f}", high=f"{learned.highest_pedal:.1f}")
    if learned.conflicts:
        yield from ("", told("conflicts"))
        for conflict in learned.conflicts:
            yield f"  {conflict_text(conflict)}"
    if out is not None:
        yield told("written", path=out) + f" ({', '.join(added)})" if added else told("nothing")


@vehicle.command()
@click.argument("file", type=_FILE)
@click.option("--json", "as_json", is_flag=True, help="Print it as JSON.")
def show(file: Path, *, as_json: bool) -> int:
    """Print what the vehicle FILE says, and what cannot be said because it does not.

    \b
    Example:
      coach vehicle show car.toml
    """  # noqa: D301 - click takes this character to keep lines as they are
    from coach.vehicle import load_vehicle
    from coach.vehicle.known import known_of, missing_of
    from coach.words import load_words

    car = load_vehicle(file)
    words = load_words()
    facts, missing = known_of(car), missing_of(car)
    if as_json:
        text = {key: words(f"vehicle.missing.{key}") for key in missing}
        print_json({"known": facts, "missing": [{"key": key, "text": text[key]} for key in missing]})
        return 0
    lines = [words("vehicle.show.head"), *(f"  {key:<22} {value}" for key, value in facts.items())]
    if missing:
        lines += ["", words("vehicle.show.unknown"), *(f"  {words(f'vehicle.missing.{key}')}" for key in missing)]
    say("\n".join(lines) + "\n")
    return 0


@vehicle.command()
def schema() -> int:
    """Print the JSON Schema of vehicle files.

    \b
    Example:
      coach vehicle schema > vehicle.schema.json
    """  # noqa: D301 - click takes this character to keep lines as they are
    from coach.vehicle import vehicle_schema

    print_json(vehicle_schema())
    return 0
