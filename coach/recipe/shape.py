"""From bytes to the file's model: encoding, TOML or JSON, unknown keys, shapes. All errors are collected."""

from __future__ import annotations

import copy
import json
import tomllib
from collections.abc import Mapping
from typing import Any, NoReturn

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from coach.errors import RecipeError
from coach.recipe.findings import Finding, nearest, path_words
from coach.recipe.lines import Path, key_lines, line_of
from coach.recipe.model import BandTable, CaptureTable, LimitTable, RateTable, RecipeFile, SweepTable
from coach.toml_text import NESTED, read_toml, too_deep

MAX_BYTES = 256_000
"""A recipe larger than this is refused unread."""

_INSIDE: dict[str, type[BaseModel]] = {
    "record": RateTable,
    "start": BandTable,
    "keep": BandTable,
    "limit": LimitTable,
    "sweep": SweepTable,
}


def read_data(source: bytes, name: str) -> tuple[dict[str, Any], dict[Path, int]]:
    """The tables of a TOML or JSON text, and the line of each key where it is TOML.

    Raises:
        RecipeError: too large, not UTF-8, neither TOML nor JSON.
    """
    if len(source) > MAX_BYTES:
        raise RecipeError(f"the recipe has {len(source)} bytes; at most {MAX_BYTES} are read", where=name)
    try:
        text = source.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise RecipeError(f"not UTF-8 text (byte {error.start})", where=name) from None
    if not text.strip():
        raise RecipeError('the recipe is empty; it begins with "format = 1"', where=name)
    try:
        if text.lstrip().startswith("{"):
            data = json.loads(text, object_pairs_hook=_no_key_twice, parse_constant=_no_such_number)
            if too_deep(data):
                raise ValueError(NESTED)
            return data, {}
        return read_toml(text), key_lines(text.replace("\r\n", "\n"))
    except json.JSONDecodeError as error:
        raise RecipeError(f"not JSON: {error.msg}, line {error.lineno} column {error.colno}", where=name) from None
    except tomllib.TOMLDecodeError as error:
        raise RecipeError(f"not TOML: {_first_small(str(error))}", where=name) from None
    except RecursionError:
        raise RecipeError(NESTED, where=name) from None
    except ValueError as error:  # a number with thousands of digits, a key twice
        raise RecipeError(f"cannot be read: {str(error)[:200]}", where=name) from None


def _first_small(text: str) -> str:
    return text[:1].lower() + text[1:200]


def _no_such_number(word: str) -> NoReturn:
    raise ValueError(f"{word} is not a number")


def _no_key_twice(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    table: dict[str, Any] = {}
    for key, value in pairs:
        if key in table:
            raise ValueError(f"the key {key[:60]!r} stands twice in one table")
        table[key] = value
    return table


def shape(data: dict[str, Any], lines: Mapping[Path, int]) -> tuple[RecipeFile | None, list[Finding]]:
    """The model of the file without the parts that have errors, and those errors.

    What is wrong is cut out and the rest is taken, so that one look shows everything that is wrong.

    Returns:
        The model, or None when too little is left; a capture beyond repair is an empty hold in its place.
    """
    findings: dict[Path, Finding] = {}
    rest = copy.deepcopy(data)
    for _ in range(4):
        try:
            return RecipeFile.model_validate(rest), list(findings.values())
        except ValidationError as error:
            for item in error.errors(include_url=False):
                findings.setdefault(item["loc"], _finding(item, data, lines))
                _cut(rest, item["loc"])
    return None, list(findings.values())


def _finding(item: ErrorDetails, data: object, lines: Mapping[Path, int]) -> Finding:
    path = item["loc"]
    code, message = _sentence(item)
    return Finding("error", code, message, path_words(path, data), line_of(lines, path), path)


def _sentence(item: ErrorDetails) -> tuple[str, str]:
    """Code and sentence of one error of pydantic's."""
    kind, context = item["type"], item.get("ctx", {})
    key = str(item["loc"][-1])[:60] if item["loc"] else "the recipe"
    if kind == "extra_forbidden":
        allowed = _allowed(item["loc"][:-1])
        return "unknown_key", f'unknown key "{key}"{nearest(key, allowed)}; allowed here: {", ".join(allowed)}'
    if kind == "missing":
        return "missing_key", f'"{key}" is missing'
    if kind == "literal_error":
        return "bad_value", f"must be {context['expected']}".replace("'", '"')
    if kind == "string_pattern_mismatch":
        return "bad_value", "must be 1 to 40 lower-case letters, digits and hyphens, a hyphen not first"
    if kind == "value_error":
        return "bad_value", str(context["error"])
    if kind in _SHAPES:
        return "bad_value", _SHAPES[kind].format_map(context)
    return "bad_value", f"cannot be used here: {item['msg']}"


_SHAPES = {
    "string_type": "must be a text in quotes",
    "int_type": "must be a whole number",
    "bool_type": "must be true or false",
    "dict_type": "must be a table",
    "model_type": "must be a table",
    "list_type": "must be a list",
    "string_too_long": "must have at most {max_length} characters",
    "string_too_short": "must not be empty",
    "too_long": "must have at most {max_length} entries",
    "too_short": "must have at least {min_length} entry",
    "greater_than_equal": "must be at least {ge}",
    "less_than_equal": "must be at most {le}",
}


def _allowed(parent: Path) -> tuple[str, ...]:
    """The keys that the table at `parent` may have."""
    model: type[BaseModel] = RecipeFile
    inside = parent
    if parent[:1] == ("capture",):
        model, inside = CaptureTable, parent[2:]
    if len(inside) == 2:
        model = _INSIDE[str(inside[0])]
    return tuple(field.alias or name for name, field in model.model_fields.items())


def _cut(data: dict[str, Any], path: Path) -> None:
    """Take what stands at `path` out of `data`, or give it a value that passes, where that can be done."""
    if path in (("format",), ("title",)):
        data[str(path[0])] = {"format": 1, "title": "?"}[str(path[0])]
    elif path[:1] != ("capture",):
        _cut_key(data, path)
    elif len(path) > 1:
        captures, index = data["capture"], path[1]
        table = captures[index]
        if len(path) == 2 or not isinstance(table, dict):
            captures[index] = {"id": f"x{index}"}
        elif path[2] == "id":
            table["id"] = f"x{index}"
        else:
            _cut_key(table, path[2:])


def _cut_key(table: dict[str, Any], path: Path) -> None:
    """Delete the key at `path`; where a required key is missing or a list is bad, the table or list around it.

    A table that has nothing left goes too: that it is empty is not the writer's mistake.
    """
    key = str(path[0])
    inner = table.get(key)
    if len(path) > 1 and isinstance(inner, dict) and path[1] in inner:
        _cut_key(inner, path[1:])
        if inner:
            return
    table.pop(key, None)
