"""Findings about a recipe in a car: the one way in which the checks of this package make them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from coach.recipe import Finding, Recipe
from coach.recipe.findings import path_words
from coach.recipe.lines import Path, line_of


@dataclass(frozen=True)
class At:
    """Makes findings of one recipe, with their place and line.

    Attributes:
        recipe: as loaded.
    """

    recipe: Recipe

    def __call__(
        self, level: Literal["error", "warning"], code: str, message: str, capture: int | None, path: Path = (),
        change: str = "",
    ) -> Finding:  # fmt: skip
        """One finding; `path` is inside the capture, or of the whole file where `capture` is None."""
        whole: Path = path if capture is None else ("capture", capture, *path)
        ids = {"capture": [{"id": c.id} for c in self.recipe.captures]}
        return Finding(level, code, message, path_words(whole, ids), line_of(self.recipe.lines, whole), whole, change)
