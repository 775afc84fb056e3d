"""`coach drives`: the log of drives: search, look, name, note, compare."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from coach.cli.folders import data_folder, kept_folder
from coach.cli.group import print_json, say
from coach.cli.within import Within

if TYPE_CHECKING:
    from coach.store.reading import Reader

_FILE = click.Path(path_type=Path)
_DATA = click.option("--data", type=_FILE, help="Folder with the drives.  [default: the user's own]")
_JSON = click.option("--json", "as_json", is_flag=True, help="Print JSON.")


@click.group()
def drives() -> None:
    """The log of drives: search, look, name, note, compare.

    \b
    Example:
      coach drives list --text wet --revision 2
      coach drives show 20260504-093000
    """  # noqa: D301 - click takes this character to keep lines as they are


def reader_of(data: Path | None) -> Reader:
    """Reads a data folder, the user's own if left out. Raises StoreError where there is none."""
    from coach.store.reading import Reader
    from coach.store.store import DATABASE

    return Reader(data_folder(data) / DATABASE)


@drives.command("list")
@click.option("--text", default="", help="Words in name, note, title, car or id.")
@click.option("--recipe", help="SHA-256 of the recipe, or its beginning.")
@click.option("--revision", type=click.IntRange(1), help="Revision of the recipe.")
@click.option("--vehicle", help="Part of the car's name.")
@click.option("--since", help="First day, as 2026-05-04 (UTC).")
@click.option("--until", help="Last day.")
@click.option("--complete/--incomplete", default=None, help="Only drives in which everything qualified, or not.")
@_DATA
@_JSON
def list_drives(
    text: str, recipe: str | None, revision: int | None, vehicle: str | None, since: str | None, until: str | None,
    complete: bool | None, data: Path | None, *, as_json: bool,
) -> int:  # fmt: skip
    """List stored drives that fit, the newest first.

    \b
    Example:
      coach drives list
      coach drives list --text "wet road" --since 2026-05-01 --complete
    """  # noqa: D301 - click takes this character to keep lines as they are
    from coach.review.log import Search, is_complete, label_of, search, started, vehicle_of
    from coach.words import load_words

    reader = reader_of(data)
    rows = search(reader, Search(text, recipe, revision, vehicle, since, until, complete))
    labels = reader.labels()
    items: list[dict[str, Any]] = [
        {"id": r.id, "started_at": started(r), "title": r.title, "revision": r.revision, "vehicle": vehicle_of(r),
         "name": label_of(labels, r).name, "note": label_of(labels, r).note, "duration_s": r.last_us / 1e6,
         "complete": is_complete(reader, r)}
        for r in rows
    ]  # fmt: skip
    if as_json:
        print_json({"drives": items})
        return 0
    words = load_words()
    for item in items:
        minutes = f"{item['duration_s'] / 60:.0f} min"
        state = words("review.log.complete" if item["complete"] else "review.log.incomplete")
        name = item["name"] or item["title"]
        say(f"{item['id']}  {minutes:>7}  {state:<10}  {name} ({words('review.log.revision', n=item['revision'])})\n")
    if not items:
        say(words("review.log.none") + "\n")
    return 0


@drives.command()
@click.argument("drive")
@_DATA
@_JSON
def show(drive: str, data: Path | None, *, as_json: bool) -> int:
    """Show the review of a stored DRIVE: what qualified, how close the rest came, what to send.

    \b
    Example:
      coach drives show 20260504-093000
      coach drives show 20260504-093000 --json
    """  # noqa: D301 - click takes this character to keep lines as they are
    from coach.review.subject import stored_subject
    from coach.review.whole import review_json

    subject = stored_subject(reader_of(data), drive)
    made = review_json(subject)
    if as_json:
        print_json(made)
        return 0
    say(f"{made['headline']}\n{made['under']}\n")
    for head in made["head"]:
        say(f"  {head['name']}: {head['text'] or head['why']}\n")
    for c in made["captures"]:
        mark = "+" if c["outcome"] == "secured" else "-"
        send = f" {c['send']['sentence']}" if c["send"] else ""
        say(f"{mark} {c['title']} ({c['id']}): {c['sentence']} {c['remedy']}{send}".rstrip() + "\n")
    if made["drive"]["note"]:
        say(f"{subject.words('review.report.driver')}: {made['drive']['note']}\n")
    return 0


@drives.command()
@click.argument("drive")
@click.argument("name")
@_DATA
def rename(drive: str, name: str, data: Path | None) -> int:
    """Give a stored DRIVE a NAME; an empty one takes it away. The server must not be running on the folder.

    \b
    Example:
      coach drives rename 20260504-093000 "Evening, wet road"
    """  # noqa: D301 - click takes this character to keep lines as they are
    return _write(data, drive, name=" ".join(name.split())[:200])


@drives.command()
@click.argument("drive")
@click.argument("text")
@_DATA
def note(drive: str, text: str, data: Path | None) -> int:
    """Keep a note TEXT with a stored DRIVE; an empty one takes it away. The server must not be running on the folder.

    \b
    Example:
      coach drives note 20260504-093000 "Headwind on the way out."
    """  # noqa: D301 - click takes this character to keep lines as they are
    return _write(data, drive, note=text.strip()[:4_000])


@drives.command()
@click.argument("drive")
@click.option("--pressure", type=Within(45, 110), help="Air pressure at the place, kPa (not at sea level).")
@click.option("--temperature", type=Within(-50, 60), help="Of the air, degrees Celsius.")
@click.option("--humidity", type=Within(0, 100), help="Relative, per cent.")
@_DATA
def weather(
    drive: str, pressure: float | None, temperature: float | None, humidity: float | None, data: Path | None
) -> int:
    """Type in the weather of a stored DRIVE; it stands before the car's own sensors. Without options it is taken away.

    \b
    Example:
      coach drives weather 20260504-093000 --pressure 98.2 --temperature 17 --humidity 60
    """  # noqa: D301 - click takes this character to keep lines as they are
    return _write(data, drive, pressure_kpa=pressure, temperature_c=temperature, humidity_pct=humidity)


def _write(data: Path | None, drive: str, **changes: Any) -> int:
    from dataclasses import replace

    from coach.clock import Clock
    from coach.store import Store

    with Store(kept_folder(data), Clock()) as store:
        store.put_label(drive, replace(store.label(drive), **changes))
    return 0


@drives.command()
@click.argument("drive")
@click.option("--capture", required=True, help="Id of the capture.")
@click.option("--with", "other", help="The earlier drive.  [default: the last one of an earlier revision]")
@_DATA
@_JSON
def compare(drive: str, capture: str, other: str | None, data: Path | None, *, as_json: bool) -> int:
    """Compare a capture of DRIVE with an earlier one, and say which differences stand out of the noise.

    \b
    Example:
      coach drives compare 20260504-093000 --capture roll-on
      coach drives compare 20260504-093000 --capture roll-on --with 20260427-101500 --json
    """  # noqa: D301 - click takes this character to keep lines as they are
    from coach.review.compare import compare_json
    from coach.review.log import before
    from coach.review.subject import stored_subject

    reader = reader_of(data)
    was = other or before(reader, drive, capture)
    made = compare_json(stored_subject(reader, was), stored_subject(reader, drive), capture)
    if as_json:
        print_json(made)
        return 0
    say(f"{made['title']}: {made['sentence']}\n")
    for f in made["figures"]:
        unit = f" {f['unit']}" if f["unit"] else ""
        say(f"  {f['name']}: {f['a']:g} -> {f['b']:g}{unit}. {f['sentence']}\n")
    for s in made["spans"]:
        say(f"  {s['text']}: {s['a_s']:.2f} -> {s['b_s']:.2f} s. {s['sentence']}\n")
    if made["power"] and made["power"]["sentence"]:
        say(f"{made['power']['sentence']} {made['caveat']}\n")
    return 0
