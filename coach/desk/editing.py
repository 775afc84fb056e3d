"""Edits the text of a recipe in place: values, keys and captures change, comments and order stay. Uses tomlkit."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal, cast

import tomlkit
from tomlkit.exceptions import TOMLKitError
from tomlkit.items import AoT, InlineTable, Item

from coach.desk.starting import missing_rates, start
from coach.errors import BadInput
from coach.recipe.shape import MAX_BYTES
from coach.toml_text import read_toml
from coach.vehicle import Vehicle

Path = tuple[str | int, ...]
MOST_EDITS = 200
MOST_DEPTH = 6


@dataclass(frozen=True, slots=True)
class Edit:
    """One change.

    Attributes:
        do: `set` a value, `remove` a key or a capture, `add` a capture from a starting point, `copy` a capture behind
            itself, `move` a capture to another place.
        path: keys and places, as in `("capture", 0, "keep", "road_speed", "max")`.
        value: the new value (`set`), the kind (`add`), the new place (`move`).
    """

    do: Literal["set", "remove", "add", "copy", "move"]
    path: Path = ()
    value: Any = None


def edited(text: str, edits: Sequence[Edit], vehicle: Vehicle | None = None) -> str:
    """The text with every edit made, in order.

    Args:
        text: a recipe as TOML; it need not be a good one.
        edits: what to change.
        vehicle: where starting points take idle speed and rev limit from.

    Raises:
        BadInput: the text is no TOML, an edit leads nowhere, or there is too much of either. Nothing is changed then.
    """
    if len(text) > MAX_BYTES or len(edits) > MOST_EDITS:
        raise BadInput(f"at most {MAX_BYTES} characters and {MOST_EDITS} edits at once")
    for edit in edits:
        try:
            text = _one(text, edit, vehicle)
            read_toml(text)
        except BadInput:
            raise
        # The library trips over some tables that are written out of order; the text is whole, and stays as it was.
        except (TOMLKitError, TypeError, LookupError, AttributeError, ValueError) as error:
            raise BadInput("this place cannot be edited; change it in the text", where=_where(edit.path)) from error
    return text


def _one(text: str, edit: Edit, vehicle: Vehicle | None) -> str:
    if edit.do == "add":
        return _added(text, edit, vehicle)
    document = _read(text)
    if edit.do == "set":
        _set(document, edit.path, edit.value)
    elif edit.do == "remove":
        _remove(document, edit.path)
    else:
        _reorder(document, edit)
    return tomlkit.dumps(document)


def _read(text: str) -> tomlkit.TOMLDocument:
    try:
        return tomlkit.parse(text)
    except TOMLKitError as error:
        raise BadInput(f"this is no TOML: {error}") from error


def _where(path: Path) -> str:
    return ".".join(str(part)[:40] for part in path) or "recipe"


def _table(document: Any, path: Path, *, make: bool) -> Any:
    """The table that holds the last key of `path`."""
    if not 0 < len(path) <= MOST_DEPTH:
        raise BadInput("an edit names a key of the recipe", where=_where(path))
    here = document
    for part in path[:-1]:
        if isinstance(here, (AoT, list)):
            if not isinstance(part, int) or not 0 <= part < len(here):
                raise BadInput("there is no such capture", where=_where(path))
            here = here[part]
        elif isinstance(here, Mapping) and isinstance(part, str):
            if part not in here and make:
                _make(here, part, one_line=path.index(part) >= 3)
            if part not in here:
                raise BadInput("there is nothing there", where=_where(path))
            here = here[part]
        else:
            raise BadInput("there is nothing below that", where=_where(path))
    return here


def _make(table: Any, key: str, *, one_line: bool) -> None:
    """A new table; a band, a limit or a sweep is written on one line."""
    one_line = one_line or isinstance(table, InlineTable)
    table[key] = tomlkit.inline_table() if one_line else tomlkit.table()


def _set(document: Any, path: Path, value: Any) -> None:
    if not _plain(value):
        raise BadInput("a value is a text, a number, true or false, or a list of them or of cells", where=_where(path))
    _open_rate(document, path)
    table, key = _table(document, path, make=True), path[-1]
    if isinstance(table, list) and isinstance(key, int) and 0 <= key < len(table):
        table[key] = _item(value)
        return
    if not isinstance(table, Mapping) or not isinstance(key, str):
        raise BadInput("no value can stand there", where=_where(path))
    if key in table and isinstance(table[key], Item):
        trivia = table[key].trivia
        item = _item(value)
        item.trivia.comment_ws, item.trivia.comment = trivia.comment_ws, trivia.comment
        table[key] = item  # type: ignore[index]  # a list takes whole numbers
    else:
        table[key] = _item(value)  # type: ignore[index]  # a list takes whole numbers


def _plain(value: Any) -> bool:
    if isinstance(value, list):
        return len(value) <= 1000 and all(_single(v) or _cell(v) for v in value)
    return _single(value)


def _single(value: Any) -> bool:
    return isinstance(value, str | int | float)


def _cell(value: Any) -> bool:
    """A cell to be left out: a value of each of at most two signals."""
    return isinstance(value, Mapping) and 0 < len(value) <= 2 and all(map(_single, value.values()))


def _item(value: Any) -> Item:
    """The value as it is written: cells each on one line, within one list."""
    if not isinstance(value, list) or not any(isinstance(v, Mapping) for v in value):
        return cast("Item", tomlkit.item(value))
    made = tomlkit.array()
    for one in value:
        table: Any = one
        if isinstance(one, Mapping):
            table = tomlkit.inline_table()
            table.update(one)
        made.append(table)
    return made


def _open_rate(document: Any, path: Path) -> None:
    """A rate that is one text becomes a table in its place, where another key of it is set: comments stay."""
    if len(path) < 3 or path[-3] != "record" or not isinstance(path[-2], str):
        return
    record = _table(document, path[:-1], make=True)
    rate = record.get(path[-2]) if isinstance(record, Mapping) else None
    if isinstance(rate, str):
        opened = tomlkit.inline_table()
        opened["rate"] = str(rate)
        if isinstance(rate, Item):
            opened.trivia.comment_ws, opened.trivia.comment = rate.trivia.comment_ws, rate.trivia.comment
        record[path[-2]] = opened


def _remove(document: Any, path: Path) -> None:
    table, key = _table(document, path, make=False), path[-1]
    there = key in table if isinstance(table, Mapping) else isinstance(key, int) and 0 <= key < len(table)
    if not there:
        raise BadInput("there is nothing there", where=_where(path))
    del table[key]
    if isinstance(table, AoT) and not len(table):
        del document[path[0]]


def _reorder(document: Any, edit: Edit) -> None:
    captures = document.get("capture")
    place = edit.path[1] if len(edit.path) == 2 and edit.path[0] == "capture" else None
    if not isinstance(captures, AoT) or not isinstance(place, int) or not 0 <= place < len(captures):
        raise BadInput("there is no such capture", where=_where(edit.path))
    blocks = [tomlkit.dumps({"capture": [table]}) for table in captures]
    if edit.do == "copy":
        ids = [str(table.get("id", "")) for table in captures]
        copy = tomlkit.parse(blocks[place])
        name, number = ids[place], 2
        while f"{name}-{number}" in ids:
            number += 1
        copy["capture"][0]["id"] = f"{name}-{number}"
        captures.insert(place + 1, copy["capture"][0])
        return
    if not isinstance(edit.value, int) or not 0 <= edit.value < len(captures):
        raise BadInput("there is no such place", where=_where(edit.path))
    table = captures[place]
    del captures[place]
    captures.insert(edit.value, table)


def _added(text: str, edit: Edit, vehicle: Vehicle | None) -> str:
    document = _read(text)
    ids = [str(table.get("id", "")) for table in document.get("capture", []) if isinstance(table, Mapping)]
    one = start(str(edit.value), vehicle, taken=ids)
    missing = missing_rates(one, document.unwrap())
    if missing:
        if "record" not in document:
            document["record"] = tomlkit.table()
        record: Any = document["record"]
        for name, rate in missing.items():
            record[name] = rate
        text = tomlkit.dumps(document)
    gap = "" if not text or text.endswith("\n\n") else "\n" if text.endswith("\n") else "\n\n"
    return text + gap + one.text
