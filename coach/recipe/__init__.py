"""The file format of a request: model, load, check. See `read.py` for how a text becomes a recipe."""

from __future__ import annotations

from coach.recipe.check import check_recipe
from coach.recipe.findings import Finding, RecipeErrors
from coach.recipe.model import recipe_schema
from coach.recipe.read import examine, load_recipe, parse_recipe, read_bytes
from coach.recipe.recipe import PIECE_US, CaptureAsked, CellsAsked, LimitAsked, Recipe, RecordAsked, SweepAsked

__all__ = [
    "PIECE_US", "CaptureAsked", "CellsAsked", "Finding", "LimitAsked", "Recipe", "RecipeErrors", "RecordAsked",
    "SweepAsked", "check_recipe", "examine", "load_recipe", "parse_recipe", "read_bytes", "recipe_schema",
]  # fmt: skip
