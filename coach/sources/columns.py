"""The columns file: what a person says about the columns of a table whose header does not say it."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from difflib import get_close_matches
from pathlib import Path
from typing import Any

from coach.errors import ColumnsError
from coach.signals import Catalogue
from coach.sources.table_header import Column, mended, split_header, unit_of
from coach.sources.table_time import NUMBER_UNITS
from coach.toml_text import read_toml
from coach.units import canonical_unit, units_of

TIME_KINDS = (*NUMBER_UNITS, "clock", "date")
"""What `unit` of `[time]` may be: a unit of a number, `clock` for HH:MM:SS.mmm, `date` for YYYY-MM-DD HH:MM:SS."""

_LARGEST = 1 << 20


@dataclass(frozen=True, slots=True)
class Rule:
    """What a named column carries; `unit` is None where the header or the signal says it."""

    signal: str
    unit: str | None = None


@dataclass(frozen=True, slots=True)
class LongNames:
    """The columns of a table with a row a sample."""

    signal: str
    value: str
    unit: str | None = None


@dataclass(frozen=True)
class Columns:
    """A columns file.

    Attributes:
        rules: column (or, in a long table, the name in its signal column) to what it carries.
        ignore: columns that are not to be read.
        time: the time column, or None for the one that the header names.
        time_unit: one of `TIME_KINDS`, or None for what header and cells say.
        long: the columns of a long table, or None for the usual names.
        delimiter, decimal: None where they are found in the table.
        name: of the file, for errors.
    """

    rules: Mapping[str, Rule] = field(default_factory=dict)
    ignore: frozenset[str] = frozenset()
    time: str | None = None
    time_unit: str | None = None
    long: LongNames | None = None
    delimiter: str | None = None
    decimal: str | None = None
    name: str = "columns"

    def column(self, index: int, header: str, catalogue: Catalogue) -> Column | None:
        """The column under `header` as this file has it, or None when it says nothing about it.

        Raises:
            ColumnsError: a signal that the catalogue has not, a unit that does not fit it.
        """
        key = next((k for k in (header, header.strip(), mended(header)) if k in self.rules), None)
        if key is None:
            return None
        rule = self.rules[key]
        where = f"{self.name}, columns.{key}"
        if rule.signal not in catalogue:
            near = get_close_matches(rule.signal, catalogue.signals, n=3)
            hint = f"; near it are {', '.join(near)}" if near else ""
            raise ColumnsError(f"there is no signal {rule.signal!r}{hint}", where=where)
        signal = catalogue[rule.signal]
        if rule.unit is not None:
            unit = unit_of(rule.unit, signal)
            if unit is None:
                fitting = ", ".join(u or "none" for u in units_of(signal))
                raise ColumnsError(f"{rule.unit!r} is no unit of {signal.name}; it has {fitting}", where=where)
            return Column(index, header, signal, unit)
        said = (unit_of(unit, signal) for _, unit in split_header(header) if unit is not None)
        found = next((unit for unit in said if unit is not None), canonical_unit(signal.quantity))
        return Column(index, header, signal, found)

    def ignores(self, header: str) -> bool:
        """Whether the column under `header` is not to be read."""
        return header in self.ignore or mended(header) in self.ignore


def load_columns(path: Path) -> Columns:
    """Reads a columns file.

    Raises:
        ColumnsError: it cannot be read, is not TOML, or has a key or value that is not known.
    """
    path = Path(path)
    try:
        with path.open("rb") as file:
            data = file.read(_LARGEST + 1)
    except OSError as broken:
        raise ColumnsError(f"the file cannot be read: {broken.strerror or broken}", where=path.name) from None
    if len(data) > _LARGEST:
        raise ColumnsError("the file is larger than 1 MB; a columns file has a line a column", where=path.name)
    return parse_columns(data, name=path.name)


def parse_columns(data: bytes, *, name: str = "columns") -> Columns:
    """A columns file from its bytes; `name` is for errors.

    Raises:
        ColumnsError: not TOML, or a key or value that is not known.
    """
    try:
        table = read_toml(data.decode("utf-8-sig"))
    except UnicodeDecodeError:
        raise ColumnsError("the file is not UTF-8 text", where=name) from None
    except tomllib.TOMLDecodeError as broken:
        raise ColumnsError(f"the file is not TOML: {broken}", where=name) from None
    return _Reader(name).columns(table)


class _Reader:
    """Checks keys and types on the way; every error names the key's path."""

    def __init__(self, name: str) -> None:
        self._name = name

    def columns(self, table: dict[str, Any]) -> Columns:
        self._keys(table, "", ("format", "delimiter", "decimal", "ignore", "time", "long", "columns"))
        if table.get("format") != 1 or isinstance(table["format"], bool):
            raise self._error("format", "a columns file begins with format = 1")
        time = self._table(table, "time")
        self._keys(time, "time", ("column", "unit"))
        unit = self._text(time, "time", "unit")
        if unit is not None and unit not in TIME_KINDS:
            raise self._error("time.unit", f"it is one of {', '.join(TIME_KINDS)}")
        ignore = table.get("ignore", [])
        if not isinstance(ignore, list) or not all(isinstance(item, str) for item in ignore):
            raise self._error("ignore", "it is a list of column names")
        return Columns(
            rules={key: self._rule(key, value) for key, value in self._table(table, "columns").items()},
            ignore=frozenset(ignore),
            time=self._text(time, "time", "column"),
            time_unit=unit,
            long=self._long(table),
            delimiter=self._choice(table, "delimiter", (",", ";", "\t")),
            decimal=self._choice(table, "decimal", (".", ",")),
            name=self._name,
        )

    def _rule(self, key: str, value: object) -> Rule:
        path = f"columns.{key}"
        if isinstance(value, str):
            return Rule(value)
        if not isinstance(value, dict):
            raise self._error(path, 'it is the name of a signal, or { signal = "...", unit = "..." }')
        self._keys(value, path, ("signal", "unit"))
        signal = self._text(value, path, "signal")
        if signal is None:
            raise self._error(path, "it has no signal")
        return Rule(signal, self._text(value, path, "unit"))

    def _long(self, table: dict[str, Any]) -> LongNames | None:
        if "long" not in table:
            return None
        long = self._table(table, "long")
        self._keys(long, "long", ("signal", "value", "unit"))
        signal, value = self._text(long, "long", "signal"), self._text(long, "long", "value")
        if signal is None or value is None:
            raise self._error("long", "it needs both signal and value, the names of two columns")
        return LongNames(signal, value, self._text(long, "long", "unit"))

    def _choice(self, table: dict[str, Any], key: str, allowed: tuple[str, ...]) -> str | None:
        value = self._text(table, "", key)
        if value is not None and value not in allowed:
            raise self._error(key, f"it is one of {', '.join(repr(a) for a in allowed)}")
        return value

    def _table(self, table: dict[str, Any], key: str) -> dict[str, Any]:
        value = table.get(key, {})
        if not isinstance(value, dict):
            raise self._error(key, f"it is a table, [{key}]")
        return value

    def _text(self, table: dict[str, Any], path: str, key: str) -> str | None:
        value = table.get(key)
        if value is not None and not isinstance(value, str):
            raise self._error(f"{path}.{key}".lstrip("."), "it is a text in quotes")
        return value

    def _keys(self, table: dict[str, Any], path: str, allowed: tuple[str, ...]) -> None:
        for key in table:
            if key not in allowed:
                raise self._error(f"{path}.{key}".lstrip("."), f"this key is not known; known are {', '.join(allowed)}")

    def _error(self, path: str, message: str) -> ColumnsError:
        return ColumnsError(message, where=f"{self._name}, {path}")
