"""Figures, tables and groups: what a summary is made of, and how they become JSON in the reader's units."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from coach.review.stats import Moments
from coach.shown import Shown, Units, show, show_difference, unit_written
from coach.unit_factors import convert
from coach.words import Words

_PLACES = {
    "rpm": 0, "km/h": 1, "mph": 1, "kPa": 1, "bar": 3, "psi": 2, "degC": 1, "degF": 1, "%": 1, "lambda": 3, "AFR": 2,
    "deg": 1, "g/s": 2, "V": 2, "s": 2, "Hz": 2, "m": 0, "km": 2, "mi": 2, "kW": 1, "N.m": 0, "points": 1,
    "rpm/s": 0, "L/h": 2, "": 2, "degC/min": 2, "m/s2": 2, "min": 1,
}  # fmt: skip
_WRITTEN = {"points": "%-points", "degC/min": "°C/min", "m/s2": "m/s²"}
Cell = float | int | str | None


@dataclass(frozen=True, slots=True)
class Figure:
    """One number of a summary, in the canonical unit `unit`.

    Attributes:
        id: stable; its name stands in the words under `review.figure`, its definition in docs/reference/summaries.md.
        value: None where it cannot be said; then `why` is a sentence.
        spread, error: standard deviation, and standard error of the mean.
        count: samples behind it.
        note: a sentence on how to read it.
        difference: the value is a difference in that unit (5 degC is 9 degF).
        name: where the words have none, as for a signal.
    """

    id: str
    unit: str = ""
    value: float | None = None
    spread: float | None = None
    error: float | None = None
    count: int | None = None
    why: str = ""
    note: str = ""
    text: str = ""
    difference: bool = False
    name: str = ""


@dataclass(frozen=True, slots=True)
class Column:
    """A column of a table; values are in `unit`, texts where `unit` is None. `difference` as for a figure."""

    id: str
    name: str
    unit: str | None = None
    difference: bool = False
    places: int | None = None


@dataclass(frozen=True, slots=True)
class Table:
    """Rows of cells in canonical units; None is nothing there."""

    id: str
    title: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[Cell, ...], ...]
    note: str = ""


@dataclass(frozen=True, slots=True)
class Group:
    """Figures and tables that are read together; `note` says how they were made."""

    id: str
    title: str
    figures: tuple[Figure, ...] = ()
    tables: tuple[Table, ...] = ()
    note: str = ""


@dataclass
class Maker:
    """Makes figures with the words of one language; `title` names those that are a signal's own."""

    words: Words
    title: Callable[[str], str] = str
    made: list[Figure] = field(default_factory=list)

    def put(self, id_: str, unit: str, value: float | None, *, why: str = "", note: str = "", **more: Any) -> Figure:
        """A figure; without a value `why` is the key of its sentence under `review.why`, or a sentence."""
        if value is not None and not math.isfinite(value):
            value = None
        said = why if value is None else ""
        if value is None and said and f"review.why.{said}" in self.words:
            said = self.words(f"review.why.{said}")
        return self._keep(Figure(id_, unit, value, why=said, note=note, **more))

    def _keep(self, figure: Figure) -> Figure:
        if not figure.name and f"review.figure.{figure.id}" not in self.words:
            figure = replace(figure, name=self.title(figure.id))
        self.made.append(figure)
        return figure

    def of(self, id_: str, unit: str, found: Moments | None, *, why: str = "no_samples", **more: Any) -> Figure:
        """Mean, spread and standard error of samples."""
        if found is None:
            return self.put(id_, unit, None, why=why, **more)
        return self.put(id_, unit, found.mean, spread=found.spread, error=found.error, count=found.n, why=why, **more)

    def cannot(self, id_: str, unit: str, why: str, **values: str) -> Figure:
        """A figure that cannot be said, because."""
        return self._keep(Figure(id_, unit, why=self.words(f"review.why.{why}", **values)))

    def take(self) -> tuple[Figure, ...]:
        """What was made since the last call."""
        made, self.made = tuple(self.made), []
        return made


def shown(value: float, unit: str, units: Units, *, difference: bool = False, places: int | None = None) -> Shown:
    """A number for a screen with the digits of a figure."""
    target = units.of(unit)
    decimals = _PLACES.get(target, 1) if places is None else places
    if target in {"g/s", "kPa"} and abs(value) >= 100:
        decimals = min(decimals, 1)
    if unit in _WRITTEN or unit not in _CONVERTED:
        rounded = round(value, decimals) + 0.0
        return Shown(rounded, f"{rounded:.{decimals}f}", written(unit, units))
    return (show_difference if difference else show)(value, unit, units, decimals=decimals)


_CONVERTED = {"km/h", "kPa", "degC", "km"}


def written(unit: str, units: Units) -> str:
    """A unit as it stands on a screen."""
    return _WRITTEN.get(unit) or unit_written(unit, units)


def figure_json(figure: Figure, words: Words, units: Units) -> dict[str, Any]:
    """A figure in the reader's units."""
    f = figure
    name = f.name or words(f"review.figure.{f.id}")

    def text(value: float | None, *, difference: bool) -> tuple[float | None, str]:
        if value is None:
            return None, ""
        made = shown(value, f.unit, units, difference=difference)
        return made.value, words.number(str(made))

    value, plain = text(f.value, difference=f.difference)
    spread, spread_text = text(f.spread, difference=True)
    error, error_text = text(f.error, difference=True)
    return {
        "id": f.id, "name": name, "value": value, "unit": written(f.unit, units), "text": f.text or plain,
        "spread": spread, "spread_text": f"±{spread_text}" if spread_text else "",
        "error": error, "error_text": f"±{error_text}" if error_text else "",
        "count": f.count, "why": f.why, "note": f.note,
    }  # fmt: skip


def table_json(table: Table, units: Units) -> dict[str, Any]:
    """A table in the reader's units."""

    def cell(value: Cell, column: Column) -> Cell:
        if value is None or isinstance(value, str) or column.unit is None:
            return value
        if not math.isfinite(value):
            return None
        return shown(value, column.unit, units, difference=column.difference, places=column.places).value

    return {
        "id": table.id, "title": table.title, "note": table.note,
        "columns": [
            {"id": c.id, "name": c.name, "unit": "" if c.unit is None else written(c.unit, units)}
            for c in table.columns
        ],
        "rows": [[cell(v, c) for v, c in zip(row, table.columns, strict=True)] for row in table.rows],
    }  # fmt: skip


def group_json(group: Group, words: Words, units: Units) -> dict[str, Any]:
    """A group in the reader's units."""
    return {
        "id": group.id, "title": group.title, "note": group.note,
        "figures": [figure_json(f, words, units) for f in group.figures],
        "tables": [table_json(t, units) for t in group.tables],
    }  # fmt: skip


def converted(values: Sequence[float], unit: str, units: Units, digits: int = 5) -> list[float | None]:
    """Values of a plot in the reader's units; null where nothing is known."""
    target = units.of(unit)
    if target != unit:
        values = [convert(v, unit, target) if math.isfinite(v) else v for v in values]
    return [round(v, digits) if math.isfinite(v) else None for v in values]
