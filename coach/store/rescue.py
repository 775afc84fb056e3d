"""Gets out of a damaged database what can be read, row by row, and says what could not; the file is not touched."""

from __future__ import annotations

import contextlib
import json
import shutil
import sqlite3
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from hashlib import sha256
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, TypeVar
from urllib.parse import quote

from coach.catalogue import default_catalogue
from coach.csvout import table_chunks
from coach.errors import StoreError
from coach.recording import US, Recording
from coach.signals import Catalogue
from coach.store.blocks import decode, to_series
from coach.store.files import FILE_MODE, make_folder, write_table_file
from coach.store.planjson import load_catalogue
from coach.store.store import DATABASE, WINDOWS

T = TypeVar("T")

GIVE_UP = 20_000
"""Rows in a row that cannot be read, where even their number is not known: there are no more."""


@dataclass
class Saved:
    """One drive as far as it could be read.

    Attributes:
        name: as it was called, or its number where that is lost.
        lost: blocks of samples that are missing; `gaps` are the times between which they lay, in seconds.
        recipe, catalogue: as they were stored, or None where they are lost.
        changed: the recipe is not the one that its digest was made of.
    """

    name: str
    recording: Recording
    lost: int
    gaps: list[tuple[float, float]]
    recipe: bytes | None = None
    recipe_name: str = "recipe"
    catalogue: str | None = None
    changed: bool = False


@dataclass
class Rescued:
    """All that could be read; `lost` counts rows that could not, by table."""

    drives: list[Saved] = field(default_factory=list)
    recipes: list[tuple[str, bytes]] = field(default_factory=list)
    lost: dict[str, int] = field(default_factory=dict)


def rescue(folder: Path) -> Rescued:
    """Reads what can be read of the database in `folder`; also of one that has no damage.

    Raises:
        StoreError: not even its first page can be read, or there is none.
    """
    source = folder / DATABASE
    if not source.is_file():
        raise StoreError("there is no data here yet", where=str(folder))
    with TemporaryDirectory(prefix="coach-rescue-") as scratch:
        path = Path(scratch) / DATABASE
        for ending in ("", "-wal"):
            if source.with_name(DATABASE + ending).exists():
                shutil.copyfile(source.with_name(DATABASE + ending), path.with_name(DATABASE + ending))
        db = sqlite3.connect(path)
        db.text_factory = lambda raw: raw.decode("utf-8", "replace")
        try:
            db.execute("SELECT count(*) FROM sqlite_master").fetchone()
            return _read(db)
        except sqlite3.Error as error:
            raise StoreError(
                f"not even the first page of the database can be read ({error}): only files of windows are left",
                where=str(source),
            ) from error
        finally:
            db.close()


def _read(db: sqlite3.Connection) -> Rescued:
    found = Rescued()
    heads: dict[Any, Sequence[Any]] = {}
    names: dict[int, dict[int, str]] = {}
    blocks: dict[int, list[tuple[Any, ...]]] = {}
    # A damaged page can make a row of anything: what is not of its column's type is lost.
    for key, *head in _rows(
        db, "drives", "key, id, anchor_wall_us, recipe, recipe_name, catalogue, source, recipe_sha", found
    ):
        heads[key] = head
    for drive, number, name in _rows(db, "signals", "drive, number, name", found):
        if isinstance(number, int) and isinstance(name, str):
            names.setdefault(drive, {})[number] = name
    for drive, *block in _rows(
        db, "blocks", "drive, sequence, first_us, last_us, count, format, checksum, data", found
    ):  # fmt: skip
        if all(isinstance(part, int) for part in (drive, *block[:-1])) and isinstance(block[-1], bytes):
            blocks.setdefault(drive, []).append(tuple(block))
        else:
            found.lost["blocks"] = found.lost.get("blocks", 0) + 1
    for name, body in _rows(db, "recipes", "name, body", found):
        if isinstance(name, str) and isinstance(body, bytes):
            found.recipes.append((name, body))
    for key in sorted(k for k in {*heads, *blocks} if isinstance(k, int)):
        found.drives.append(_drive(key, heads.get(key), names.get(key, {}), blocks.get(key, [])))
    return found


def _rows(db: sqlite3.Connection, table: str, columns: str, found: Rescued) -> Iterator[Sequence[Any]]:
    """The rows of a table that can be read; the others are counted."""
    failed = 0
    for number in _numbers(db, table):
        try:
            row = db.execute(f"SELECT {columns} FROM {table} WHERE rowid=?", (number,)).fetchone()  # noqa: S608 - ours
        except sqlite3.Error:
            failed += 1
            if failed > GIVE_UP:
                break
            continue
        if row is not None:
            yield row
    if failed:
        found.lost[table] = found.lost.get(table, 0) + failed


def _numbers(db: sqlite3.Connection, table: str) -> Iterator[int]:
    """Row numbers of a table: from an index where there is one that can be read, else all that there may be."""
    for query in (
        f"SELECT rowid FROM {table} ORDER BY rowid",  # noqa: S608 - our own names
        f"SELECT max(rowid) FROM {table}",  # noqa: S608 - likewise
    ):
        try:
            rows = [int(n) for (n,) in db.execute(query) if n is not None]
        except sqlite3.Error:
            continue
        yield from rows if "ORDER" in query else range(1, max(rows, default=0) + 1)
        return
    yield from range(1, GIVE_UP * 10)


def _drive(key: int, head: Sequence[Any] | None, names: dict[int, str], blocks: list[tuple[Any, ...]]) -> Saved:
    blocks.sort()
    by_number = [names.get(n, f"signal_{n}") for n in range(max([*names, *_used(blocks)], default=-1) + 1)]
    samples = decode(b[1:] for b in blocks)
    series, notes = to_series(samples, by_number)
    gaps, lost = [], samples.damaged
    for before, after in zip([(-1, 0, 0), *blocks], blocks, strict=False):
        missing = after[0] - before[0] - 1
        if missing > 0:
            lost += missing
            gaps.append((before[2] / US, after[1] / US))
    name, wall_us, recipe, recipe_name, catalogue, source, sha = head or (None,) * 7
    made = Recording(series, wall_us=_if(int, wall_us), notes=notes, meta=_object(source))
    return Saved(
        _if(str, name) or f"drive-{key}", made, lost, gaps, _if(bytes, recipe), _if(str, recipe_name) or "recipe",
        _if(str, catalogue), head is not None and (not isinstance(recipe, bytes) or sha256(recipe).hexdigest() != sha),
    )  # fmt: skip


def _if(kind: type[T], value: object) -> T | None:
    return value if isinstance(value, kind) else None


def _object(text: object) -> dict[str, Any]:
    try:
        made = json.loads(str(text))
    except ValueError:
        return {}
    return made if isinstance(made, dict) else {}


def _used(blocks: list[tuple[Any, ...]]) -> set[int]:
    """Numbers of signals that whole blocks have samples of: the table of their names may be lost."""
    return {int(n) for n in set(decode(b[1:] for b in blocks).signal.tolist())}


def rescue_to(folder: Path, out: Path) -> tuple[list[str], bool]:
    """Writes what can be read of `folder` into the new folder `out`: tables, recipes, files of windows.

    Returns:
        What was read and what was lost, a sentence each; and whether anything was lost.

    Raises:
        StoreError: nothing can be read, or `out` cannot be written.
    """
    try:
        found, lines = rescue(folder), []
    except StoreError as error:
        count = copy_windows(folder, out)
        if not count:
            raise
        return [str(error), f"{count} files of windows were copied."], True
    for saved in found.drives:
        catalogue = _catalogue(saved.catalogue)
        name = quote(saved.name, safe="")
        write_table_file(out / f"{name}.csv", table_chunks(saved.recording, catalogue))
        if saved.recipe is not None:
            write_table_file(out / f"{name}-{quote(saved.recipe_name, safe='')}", [saved.recipe])
        lines.append(f"{saved.name}: {saved.recording.samples:,} samples read")
        if saved.changed:
            lines.append(f"{saved.name}: the recipe is damaged")
        if saved.lost:
            lines.append(f"{saved.name}: {saved.lost} blocks of samples lost")
            lines += [f"{saved.name}: lost between {a:.1f} s and {b:.1f} s" for a, b in saved.gaps]
    for name, body in found.recipes:
        write_table_file(out / "recipes" / quote(name, safe=""), [body])
    lines += [f"{count} rows of the table {table} lost" for table, count in found.lost.items()]
    count = copy_windows(folder, out)
    lines.append(f"{count} files of windows copied")
    return lines, bool(found.lost) or any(saved.lost or saved.changed for saved in found.drives)


def _catalogue(text: str | None) -> Catalogue:
    if text is not None:
        with contextlib.suppress(StoreError):
            return load_catalogue(text)
    return default_catalogue()


def copy_windows(folder: Path, out: Path) -> int:
    """Copies the files of windows, which stand beside the database; says how many. Raises StoreError."""
    count = 0
    for path in sorted((folder / WINDOWS).rglob("*.csv")):
        target = out / path.relative_to(folder)
        make_folder(target.parent)
        shutil.copyfile(path, target)
        target.chmod(FILE_MODE)
        count += 1
    return count
