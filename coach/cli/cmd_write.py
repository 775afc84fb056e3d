"""`coach recipe new` and `coach recipe edit`: begin a recipe, and change one in place, comments kept."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from coach.cli.group import say

if TYPE_CHECKING:
    from coach.desk.editing import Edit
    from coach.vehicle import Vehicle

_FILE = click.Path(path_type=Path)


@click.command()
@click.argument("kinds", nargs=-1)
@click.option("-o", "--out", type=_FILE, help="Where to write it.  [default: print it]")
@click.option("--vehicle", "vehicle_file", type=_FILE, help="The car: idle speed and rev limit come from it.")
@click.option("--title", default="", help="What it is called.")
@click.option("--from", "before", type=_FILE, help="Begin the next revision of this recipe instead.")
@click.option("--list", "listed", is_flag=True, help="Name the starting points there are.")
def new(
    kinds: tuple[str, ...],
    out: Path | None,
    vehicle_file: Path | None,
    title: str,
    before: Path | None,
    *,
    listed: bool,
) -> int:
    """Begin a recipe with the starting points KINDS; every figure in them is there to be changed.

    \b
    Example:
      coach recipe new --list
      coach recipe new idle steady full-pedal --vehicle car.toml -o first-revision.toml
      coach recipe new --from first-revision.toml -o second-revision.toml
    """  # noqa: D301 - click takes this character to keep lines as they are
    from coach.desk.revising import next_revision
    from coach.desk.starting import KINDS, new_recipe
    from coach.errors import BadInput
    from coach.recipe import read_bytes
    from coach.words import load_words

    if listed:
        words = load_words()
        say("".join(f"{kind:<12} {words(f'desk.start.{kind}.about')}\n" for kind in KINDS))
        return 0
    if before is not None:
        if kinds or title:
            raise BadInput(
                "the next revision takes everything from the one before; leave starting points and title out"
            )
        text = next_revision(read_bytes(before))
    elif not kinds:
        raise BadInput("name at least one starting point; coach recipe new --list says which there are", where="KINDS")
    else:
        text = new_recipe(kinds, _vehicle(vehicle_file), title=title)
    if out is not None and out.exists():
        raise BadInput("this file is there already; choose another name", where=str(out))
    _put(text, out)
    return 0


@click.command()
@click.argument("file", type=_FILE)
@click.option("--set", "sets", multiple=True, metavar="KEY=VALUE", help="Set a key; may be given several times.")
@click.option("--remove", "removes", multiple=True, metavar="KEY", help="Remove a key or a whole capture.")
@click.option("--add", "adds", multiple=True, metavar="KIND", help="Add a capture from a starting point.")
@click.option("--vehicle", "vehicle_file", type=_FILE, help="The car that added captures are for.")
@click.option("-o", "--out", type=_FILE, help="Where to write it.  [default: over FILE]")
def edit(
    file: Path, sets: tuple[str, ...], removes: tuple[str, ...], adds: tuple[str, ...], vehicle_file: Path | None,
    out: Path | None,
) -> int:  # fmt: skip
    """Change the recipe in FILE: comments and order stay, and a signature goes, as it is another text now.

    A KEY is written with dots; a capture goes by its id: `part-load.keep.road_speed.max`. First everything of --add is
    done, then --set, then --remove. A VALUE is taken as TOML where it is (`3`, `["idle"]`), else as text.

    \b
    Example:
      coach recipe edit request.toml --set "part-load.hold=2 min" --set revision=3
      coach recipe edit request.toml --add voltage --remove roll-on
    """  # noqa: D301 - click takes this character to keep lines as they are
    from coach.desk.editing import Edit, edited
    from coach.desk.signing import unsigned
    from coach.errors import BadInput
    from coach.recipe import read_bytes

    if not (sets or removes or adds):
        raise BadInput("say what to change: --set, --remove or --add")
    try:
        text = unsigned(read_bytes(file)).decode("utf-8-sig")
    except UnicodeDecodeError:
        raise BadInput("this is no text in UTF-8", where=str(file)) from None
    vehicle = _vehicle(vehicle_file)
    text = edited(text, [Edit("add", (), kind) for kind in adds], vehicle)
    for one in sets:
        key, equals, value = one.partition("=")
        if not equals:
            raise BadInput("a key and its value belong together, as in --set revision=3", where=one)
        text = edited(text, [Edit("set", _path(text, key), _value(value))])
    for key in removes:
        text = edited(text, [_removal(text, key)])
    _put(text, out or file)
    return 0


def _removal(text: str, key: str) -> Edit:
    from coach.desk.editing import Edit

    return Edit("remove", _path(text, key))


def _path(text: str, key: str) -> tuple[str | int, ...]:
    """Keys with dots as a path; the id of a capture stands for its place."""
    import tomllib

    from coach.errors import BadInput
    from coach.toml_text import read_toml

    parts = tuple(part.strip() for part in key.split("."))
    if not all(parts):
        raise BadInput("a key is words with dots between them", where=key)
    try:
        captures = read_toml(text).get("capture", [])
    except tomllib.TOMLDecodeError as error:
        raise BadInput(f"this is no TOML: {error}") from error
    ids = [c.get("id") for c in captures if isinstance(c, dict)] if isinstance(captures, list) else []
    return ("capture", ids.index(parts[0]), *parts[1:]) if parts[0] in ids else parts


def _value(text: str) -> Any:
    """A number, a truth or a list as TOML and JSON both write them; everything else is text."""
    try:
        value = json.loads(text)
    except ValueError:
        return text.strip()
    return value if isinstance(value, (bool, int, float, list)) else str(value) if isinstance(value, str) else text


def _vehicle(path: Path | None) -> Vehicle | None:
    from coach.vehicle import load_vehicle

    return None if path is None else load_vehicle(path)


def _put(text: str, out: Path | None) -> None:
    if out is None:
        say(text)
        return
    from coach.store.files import write_durable

    def write(handle: Any) -> None:
        handle.write(text.encode())

    write_durable(out, write)
    say(f"{out}: written\n")
