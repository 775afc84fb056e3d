"""What is wrong with a recipe: findings with their place, and the error that carries several of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from difflib import SequenceMatcher, get_close_matches
from typing import Any, Literal

from coach.errors import RecipeError, short
from coach.recipe.lines import Path
from coach.words import load_words


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that is wrong with a recipe, or that its writer should know.

    Attributes:
        level: an `error` keeps the recipe from being used; a `warning` does not.
        code: a short name of the kind, snake_case.
        message: one sentence.
        where: the path of the key, as in `capture "roll-on", keep.gear`; empty for the whole file.
        line: of the TOML text, from 1, or None.
        path: the same as `where` for a program: keys and indexes.
        own_change: what to change, where it depends on more than the code.
    """

    level: Literal["error", "warning"]
    code: str
    message: str
    where: str = ""
    line: int | None = None
    path: Path = ()
    own_change: str = ""

    @property
    def change(self) -> str:
        """What to change, one sentence; empty where the message says it all."""
        return self.own_change or str(load_words().get(f"check.change.{self.code}") or "")

    def __str__(self) -> str:
        place = ", ".join(part for part in (f"line {self.line}" if self.line else "", self.where) if part)
        return f"{place}: {self.message}" if place else self.message

    def as_dict(self) -> dict[str, Any]:
        """For JSON; without the path."""
        return {
            "level": self.level, "code": self.code, "message": self.message, "where": self.where, "line": self.line,
            "change": self.change,
        }  # fmt: skip


class RecipeErrors(RecipeError):
    """A recipe that does not load, with everything that is wrong with it.

    Its own sentence is that of the first finding; `findings` has all of them.
    """

    def __init__(self, name: str, findings: Sequence[Finding]) -> None:
        first = findings[0]
        place = [name, f"line {first.line}" if first.line else "", first.where]
        more = f" ({len(findings) - 1} more)" if len(findings) > 1 else ""
        super().__init__(first.message + more, where=", ".join(part for part in place if part))
        self.findings = tuple(findings)


def path_words(path: Path, data: object) -> str:
    """A path as a person reads it: captures by their id, keys with dots."""
    keys = list(path)
    head = ""
    if len(keys) >= 2 and keys[0] == "capture" and isinstance(keys[1], int):
        head = f"capture {_capture_name(keys[1], data)}"
        keys = keys[2:]
    rest = ""
    for key in keys:
        if isinstance(key, int):
            rest += f"[{key + 1}]"
        elif key:
            rest += f".{_short(key)}" if rest else _short(key)
    return ", ".join(part for part in (head, rest) if part)


def _short(key: str) -> str:
    return short(key, 60)


def _capture_name(index: int, data: object) -> str:
    captures = data.get("capture") if isinstance(data, dict) else None
    if isinstance(captures, list) and index < len(captures) and isinstance(captures[index], dict):
        capture_id = captures[index].get("id")
        if isinstance(capture_id, str) and 0 < len(capture_id) <= 40 and capture_id.isprintable():
            return f'"{capture_id}"'
    return str(index + 1)


def nearest(word: str, known: Sequence[str]) -> str:
    """`; did you mean ...?` for a word that is close to known ones, else an empty text."""
    close = get_close_matches(word[:60], known, n=3, cutoff=0.6)
    # A word with one letter wrong has one right spelling.
    close = close[:1] if close and SequenceMatcher(None, close[0], word).ratio() > 0.85 else close
    # The one meant is often longer: "boost" for "gauge_boost".
    if not close and len(word) > 2:
        close = [k for k in known if word.lower() in k]
    return f"; did you mean {' or '.join(close[:3])}?" if close else ""
