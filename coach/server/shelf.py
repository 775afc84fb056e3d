"""Recipes to choose from: bundled ones and those that were uploaded. Parsed when asked for, then kept."""

from __future__ import annotations

import hashlib
import math
from collections import OrderedDict
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path
from threading import Lock
from typing import Any

from coach.desk.signing import known_as, signature_of
from coach.errors import NotFound, RecipeError, StoreError
from coach.plan import describe_recipe, least_us
from coach.recipe import CaptureAsked, Recipe, RecipeErrors, check_recipe, examine, parse_recipe
from coach.server.notes import notes_for
from coach.shown import METRIC, Units, show_band
from coach.signals import Catalogue
from coach.store import Store
from coach.words import Words

WARM_UP_MIN = 10
"""Warming up takes 5 to 10 minutes: common practice, no source."""
KEPT = 32


@dataclass(frozen=True)
class _Bundled:
    name: str
    body: bytes


class RecipeShelf:
    """The recipes that this server knows.

    Args:
        bundled: files that come with the program; they need not be kept in the store.
    """

    def __init__(self, store: Store, catalogue: Catalogue, words: Words, bundled: Iterable[Path]) -> None:
        self._store = store
        self._known: Callable[[], Catalogue] = lambda: catalogue
        self._words = words
        self._bundled: dict[str, _Bundled] = {}
        self._parsed: OrderedDict[str, Recipe] = OrderedDict()
        self._lock = Lock()
        for path in bundled:
            body = path.read_bytes()
            self._bundled[hashlib.sha256(body).hexdigest()] = _Bundled(path.name, body)

    def knows(self, catalogue: Callable[[], Catalogue]) -> None:
        """Asks from now on which signals a recipe may name: a car that was found may show more than the usual one."""
        self._known = catalogue

    @property
    def _catalogue(self) -> Catalogue:
        return self._known()

    @property
    def bundled(self) -> list[str]:
        """SHA-256 of each bundled recipe, in order."""
        return list(self._bundled)

    def add(self, body: bytes, name: str) -> Recipe:
        """Keeps a recipe as received. One with errors is refused with all of them.

        Raises:
            RecipeError: it does not load, or can never be met.
            StoreError: it could not be kept.
        """
        recipe = self._met(body, name)
        if recipe.sha256 not in self._bundled:
            self._store.add_recipe(recipe.sha256, name, body, recipe.title, recipe.revision)
        return recipe

    def _met(self, body: bytes, name: str) -> Recipe:
        recipe, findings = examine(body, name=name, catalogue=self._catalogue)
        errors = [f for f in findings if f.level == "error"]
        if errors or recipe is None:
            raise RecipeErrors(name, errors)
        return recipe

    def look(self, body: bytes, units: Units = METRIC, words: Words | None = None) -> dict[str, Any]:
        """A recipe as people read it, before it is taken: nothing is kept. Raises RecipeError as `add`."""
        return self._view(self._met(body, "recipe"), units, words or self._words)

    def get(self, sha: str, catalogue: Catalogue | None = None) -> Recipe:
        """The recipe of that SHA-256; with a catalogue: by the signals of one car.

        Raises:
            NotFound: there is none.
            RecipeErrors: it names a signal that the car's vehicle file does not define.
        """
        if catalogue is not None:
            name, body = self._received(sha)
            return parse_recipe(body, name=name, catalogue=catalogue)
        with self._lock:
            if sha in self._parsed:
                self._parsed.move_to_end(sha)
                return self._parsed[sha]
        name, body = self._received(sha)
        recipe = parse_recipe(body, name=name, catalogue=self._catalogue)
        with self._lock:
            self._parsed[sha] = recipe
            while len(self._parsed) > KEPT:
                self._parsed.popitem(last=False)
        return recipe

    def _received(self, sha: str) -> tuple[str, bytes]:
        """Name and bytes of a recipe: bundled, uploaded, or kept with a drive."""
        if sha in self._bundled:
            return self._bundled[sha].name, self._bundled[sha].body
        try:
            row = self._store.recipe(sha)
        except NotFound:
            for drive in self._store.drives():
                if drive.recipe_sha == sha:
                    return drive.recipe_name, drive.recipe
            raise
        return row.name, row.body

    def list(self) -> list[dict[str, Any]]:
        """All recipes for a list, uploaded ones first, the newest first. Raises StoreError: a bundled one is spoilt."""
        items = [
            {"sha256": r.sha, "title": r.title, "revision": r.revision, "name": r.name, "bundled": False}
            for r in self._store.recipes()
        ]
        for sha, bundled in self._bundled.items():
            try:
                recipe = self.get(sha)
            except RecipeError as error:
                raise StoreError(f"the bundled recipe cannot be used: {error.message}", where=bundled.name) from error
            items.append(
                {"sha256": sha, "title": recipe.title, "revision": recipe.revision, "name": bundled.name,
                 "bundled": True}
            )  # fmt: skip
        return items

    def view(self, sha: str, units: Units = METRIC, words: Words | None = None) -> dict[str, Any]:
        """A recipe as people read it. Raises NotFound."""
        return self._view(self.get(sha), units, words or self._words)

    def _view(self, recipe: Recipe, units: Units, words: Words) -> dict[str, Any]:
        findings = check_recipe(recipe, self._catalogue)
        made = describe_recipe(recipe, self._catalogue, findings, system=units, words=words)
        made["notes"] = notes_for(recipe)
        made["minutes"] = minutes(recipe)
        made["signed_by"] = self._signed_by(recipe.source)
        for item, capture in zip(made["captures"], recipe.captures, strict=True):
            item["limited"] = bool(capture.limits)
            item["limits"] = self._limits(capture, units, words)
        return made

    def _signed_by(self, body: bytes) -> dict[str, Any] | None:
        """Whose key signed it, and whether it is known; None without a signature, `good` false for a damaged one."""
        signature = signature_of(body)
        if signature is None:
            return None
        known = known_as(signature, self._store.folder)
        return {
            "good": signature.good, "name": None if known is None else known.name,
            "public_key": signature.public_key if signature.good else None,
            "fingerprint": signature.fingerprint if signature.good else None,
        }  # fmt: skip

    def _limits(self, capture: CaptureAsked, units: Units, words: Words) -> str:
        """The limits as one phrase: "95 kPa boost or 108 °C coolant"."""
        said = []
        for limit in capture.limits:
            signal = self._catalogue[limit.signal]
            low, high = show_band(limit.low, limit.high, signal.unit, units, step=signal.step)
            name = words.short(signal)
            bound = words.number(str(high if high is not None else low))
            said.append(f"{bound} {words.inside(name)}")
        return words("server.limits_or").join(said)


def minutes(recipe: Recipe) -> int:
    """About how long a recipe takes: twice its least time, and the warm-up where it asks for a warm engine."""
    warm = any(b.signal == "coolant_temp" and b.low is not None for c in recipe.captures for b in (*c.start, *c.keep))
    least_min = sum(least_us(c) for c in recipe.captures) / 60e6
    return max(5, 5 * math.ceil((2 * least_min + (WARM_UP_MIN if warm else 0)) / 5))
