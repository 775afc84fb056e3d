"""The log of drives: which fit a search, and which one to compare with. Lists only: no samples are read."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from coach.clock import wall_text
from coach.errors import BadInput, NotFound
from coach.store.labels import Label
from coach.store.model import DriveRow
from coach.store.planjson import load_plan
from coach.store.reading import Reader

MOST = 200


@dataclass(frozen=True, slots=True)
class Search:
    """What a drive must be to be listed; None does not matter.

    Attributes:
        text: words that all stand in its name, note, title, car or id, in any order and case.
        recipe: SHA-256 of its recipe, or the first characters of it.
        since, until: dates such as 2026-05-04, both inclusive, UTC.
        complete: everything asked for qualified, or not.
    """

    text: str = ""
    recipe: str | None = None
    revision: int | None = None
    vehicle: str | None = None
    since: str | None = None
    until: str | None = None
    complete: bool | None = None


def label_of(labels: Mapping[int, Label], row: DriveRow) -> Label:
    """What people wrote on a drive."""
    return labels.get(row.key, Label())


def vehicle_of(row: DriveRow) -> str:
    """The car's label as its file has it, else the file's name; empty where there is none."""
    if row.vehicle is None:
        return ""
    from coach.errors import VehicleError
    from coach.vehicle import parse_vehicle

    try:
        return parse_vehicle(row.vehicle).label or row.vehicle_name or ""
    except VehicleError:
        return row.vehicle_name or ""


def started(row: DriveRow) -> str:
    """When a drive began, UTC, ISO 8601."""
    return wall_text(row.anchor_wall_us or row.created_wall_us)


def is_complete(reader: Reader, row: DriveRow) -> bool:
    """Whether every capture was secured as often as asked, by the attempts that are kept with the drive."""
    secured = reader.secured_counts(row.id)
    captures = load_plan(row.plan).captures
    return all(secured.get(c.id, 0) >= c.times for c in captures)


def search(reader: Reader, asked: Search) -> list[DriveRow]:
    """Drives that fit, the newest first. Raises BadInput for a date that is none."""
    since, until = _date(asked.since, "since"), _date(asked.until, "until")
    labels = reader.labels()
    wanted = asked.text.casefold().split()
    found = []
    for row in reader.drives():
        label = label_of(labels, row)
        day = started(row)[:10]
        car = vehicle_of(row) if wanted or asked.vehicle else ""
        told = " ".join((row.id, row.title, label.name, label.note, car, f"revision {row.revision}")).casefold()
        if not all(word in told for word in wanted):
            continue
        if asked.recipe and not row.recipe_sha.startswith(asked.recipe.lower()):
            continue
        if asked.revision is not None and row.revision != asked.revision:
            continue
        if asked.vehicle and asked.vehicle.casefold() not in car.casefold():
            continue
        if (since and day < since) or (until and day > until):
            continue
        if asked.complete is not None and is_complete(reader, row) != asked.complete:
            continue
        found.append(row)
    return found


def _date(text: str | None, where: str) -> str | None:
    if text is None:
        return None
    from datetime import date

    try:
        return date.fromisoformat(text).isoformat()
    except ValueError:
        raise BadInput(f'"{text[:40]}" is not a date: write it as 2026-05-04', where=where) from None


def same_car(a: DriveRow, b: DriveRow) -> bool:
    """Whether two drives name the same car; where one names none, nobody can say otherwise."""
    one, two = vehicle_of(a), vehicle_of(b)
    return not one or not two or one == two


def before(reader: Reader, drive: str, capture: str) -> str:
    """The last drive of the latest earlier revision, of the same car, that qualified in `capture`. Raises NotFound."""
    row = reader.drive(drive)
    rows = [r for r in reader.drives() if r.revision < row.revision and r.phase == "ended" and same_car(r, row)]
    # Newest first as they are; the highest revision before that.
    for other in sorted(rows, key=lambda r: (-r.revision, -r.key)):
        if reader.secured_counts(other.id).get(capture):
            return other.id
    raise NotFound("no drive of an earlier revision qualified in this capture", where=f"{drive}, {capture}")


def of_revision(reader: Reader, drive: str) -> list[str]:
    """All finished drives of the same revision and car, the given one last. Raises NotFound."""
    row = reader.drive(drive)
    rows: Sequence[DriveRow] = [
        r for r in reversed(reader.drives())
        if r.revision == row.revision and r.id != drive and r.phase == "ended" and same_car(r, row)
    ]  # fmt: skip
    return [*(r.id for r in rows), drive]
