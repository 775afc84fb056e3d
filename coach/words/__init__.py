"""The one catalogue of words, shared by Python and the page. Events and views carry codes; sentences stand here.

A language is one or more JSON files: `en.json` is the trunk, `plan_en.json` goes under the key `plan`, and so on.
What a language lacks is said in English.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from typing import Any, Protocol

from coach.errors import NotFound

USUAL = "en"
"""The language that is complete by itself, and stands in for what another one lacks."""


_UNITS = (
    r"%(?:-points)?|°[CF](?:/min)?|°|:1|km/h|mph|km|mi|m/s²|m/s|mm|m|rpm/s|rpm|kPa/s|kPa|bar|psi|V|A|g/s|L/h|L|kg|Nm|kW|hp|ms|s|min|h|Hz|K"
    r"|AFR|MB|kB|GB"
)
_NUMBER = re.compile(rf"[-+−±]?\d+\.\d+(?:\s?(?:{_UNITS}))?")
"""One number as people read it, a unit behind it or none."""


class _Named(Protocol):
    """What has the names of a signal of the catalogue."""

    @property
    def name(self) -> str: ...
    @property
    def title(self) -> str: ...
    @property
    def short(self) -> str: ...


class Words:
    """Words of one language, by dotted key: `words("face.hold_speed.line")`."""

    def __init__(self, table: Mapping[str, Any], language: str = "en") -> None:
        self.table = table
        self.language = language

    def get(self, key: str) -> Any:
        """What stands under `key` (a sentence, a list, a table), or None."""
        found: Any = self.table
        for part in key.split("."):
            if not isinstance(found, Mapping) or part not in found:
                return None
            found = found[part]
        return found

    def __contains__(self, key: str) -> bool:
        return self.get(key) is not None

    def __call__(self, key: str, **values: object) -> str:
        """The sentence under `key`, with `values` filled in. A missing key raises KeyError: that is our mistake."""
        text = self.get(key)
        if not isinstance(text, str):
            raise KeyError(key)
        if not values:
            return text
        filled = text.format(**{name: self._written(value) for name, value in values.items()})
        return _closed_up(filled) if "" in values.values() else filled

    def number(self, text: str) -> str:
        """A number that was made for people, with its unit or without, as this language writes it: `0,95`, `13,8 V`.

        Anything else stays as it is: names, versions, dates, a sentence that is whole already. Tables and JSON never
        come here: their numbers have points in every language.
        """
        sign = self.table.get("decimal", ".")
        return text.replace(".", str(sign)) if sign != "." and _NUMBER.fullmatch(text) else text

    def _written(self, value: object) -> object:
        """A value that a sentence is filled with."""
        return value if isinstance(value, int) or self.table.get("decimal", ".") == "." else self.number(str(value))

    def either(self, *keys: str, **values: object) -> str:
        """The sentence under the first of `keys` that exists. Raises KeyError: none does."""
        for key in keys:
            if isinstance(self.get(key), str):
                return self(key, **values)
        raise KeyError(keys[-1])

    def of_signal(self, signal: str, part: str, otherwise: str) -> str:
        """A signal's `title`, `short` name or `states.N` in this language; the catalogue's own where there is none."""
        found = self.get(f"signals.{signal}.{part}")
        return found if isinstance(found, str) else otherwise

    def title(self, signal: _Named) -> str:
        """A signal's name as a heading, in this language."""
        return self.of_signal(signal.name, "title", signal.title)

    def short(self, signal: _Named) -> str:
        """A signal's name for a narrow row, in this language."""
        return self.of_signal(signal.name, "short", signal.short)

    def counted(self, key: str, count: int, **values: object) -> str:
        """The sentence under `key`, or under `key` with `_one` when `count` is 1."""
        return self(f"{key}_one" if count == 1 and f"{key}_one" in self else key, count=count, **values)

    def ordinal(self, number: int) -> str:
        """`fifth` for 5; figures where there is no word."""
        names = self.table["ordinals"]
        return str(names[number]) if 0 <= number < len(names) else str(number)

    def inside(self, name: str) -> str:
        """A name as it stands inside a sentence: `coolant` for `Coolant`; a language may leave names as they are."""
        return name if self.table.get("names_inside") == "kept" else inside(name)

    def spelled(self, number: int) -> str:
        """A whole number in words, as it is spoken: `seventy-two`, `zweiundsiebzig`; figures from a million on.

        How a language puts them together stands in its table `numbers`: a word for each small number, for each ten
        (unless all below a hundred are small), patterns for what is composed, and `before`, the form of a small
        number that something follows in the same word.
        """
        if abs(number) >= 1_000_000:
            return str(number)
        if number < 0:
            return str(self.table["numbers"]["minus"]).format(number=self._spelled(-number))
        return self._spelled(number)

    def _spelled(self, number: int, *, before: bool = False) -> str:
        table = self.table["numbers"]
        if number < len(table["small"]):
            small = str(table["small"][number])
            return str(table["before"].get(str(number), small)) if before else small
        if number < 100:
            tens, ones = divmod(number, 10)
            ten = str(table["tens"][tens])
            return str(table["two_digits"]).format(tens=ten, ones=self._spelled(ones, before=True)) if ones else ten
        pattern, size = ("thousands", 1000) if number >= 1000 else ("hundreds", 100)
        many, rest = divmod(number, size)
        tail = str(table["rest"]).format(rest=self._spelled(rest, before=before)) if rest else ""
        return str(table[pattern]).format(many=self._spelled(many, before=True), rest=tail)


def _closed_up(text: str) -> str:
    """A sentence without the blanks that an empty value (no unit, no second sentence) leaves behind."""
    text = " ".join(text.split())
    for sign in ",.;:":
        text = text.replace(f" {sign}", sign)
    return text


def inside(name: str) -> str:
    """A name as it stands inside an English sentence: `coolant` for `Coolant`, but `AFR` stays."""
    return name if len(name) > 1 and name[1].isupper() else name[:1].lower() + name[1:]


@cache
def words_table(language: str = "en") -> dict[str, Any]:
    """All words of one language as one JSON-able table, in English where it has none.

    Raises NotFound when there is no such language.
    """
    own = own_words(language)
    return own if language == USUAL else _filled_up(own, words_table(USUAL))


def _filled_up(own: Mapping[str, Any], usual: Mapping[str, Any]) -> dict[str, Any]:
    """`own`, with what it lacks taken from `usual`."""
    filled = dict(own)
    for key, value in usual.items():
        if key not in own:
            filled[key] = value
        elif isinstance(value, Mapping) and isinstance(own[key], Mapping):
            filled[key] = _filled_up(own[key], value)
    return filled


@cache
def own_words(language: str) -> dict[str, Any]:
    """What stands in the files of one language alone. Raises NotFound when there is no such language."""
    folder = files(__package__)
    trunk = folder / f"{language}.json"
    if not language.isalpha() or not trunk.is_file():
        raise NotFound(f"There are no words in {language!r}; there are: {', '.join(languages())}.")
    table: dict[str, Any] = json.loads(trunk.read_text("utf-8"))
    for item in sorted(folder.iterdir(), key=lambda i: i.name):
        part, _, rest = item.name.rpartition("_")
        if part and rest == f"{language}.json":
            more = json.loads(item.read_text("utf-8"))
            table[part] = more[part] if list(more) == [part] else more
    return table


def languages() -> list[str]:
    """The languages there are words in."""
    names = (item.name for item in files(__package__).iterdir())
    return sorted(name[:-5] for name in names if name.endswith(".json") and "_" not in name)


def best_language(accepted: str | None) -> str:
    """The language there are words in that a person likes best; English where there is none.

    Args:
        accepted: a header Accept-Language (RFC 9110, 12.5.4), or None.
    """
    liked = []
    for place, part in enumerate((accepted or "").split(",")[:20]):
        name, _, weight = part.strip().partition(";q=")
        try:
            liked.append((-float(weight or 1), place, name.strip().partition("-")[0].lower()))
        except ValueError:
            continue
    known = languages()
    return next((name for weight, _, name in sorted(liked) if weight < 0 and name in known), "en")


@cache
def load_words(language: str = "en") -> Words:
    """The words of one language. Raises NotFound when there is no such language."""
    return Words(words_table(language), language)


__all__ = ["Words", "best_language", "inside", "languages", "load_words", "own_words", "words_table"]
