"""The next revision of a recipe: the same text, its signature off, its number one higher."""

from __future__ import annotations

from coach.desk.editing import Edit, edited
from coach.desk.signing import unsigned
from coach.errors import BadInput
from coach.recipe import parse_recipe


def next_revision(recipe: bytes) -> str:
    """The text to begin the next revision with.

    Raises:
        RecipeError: it is none.
        BadInput: it is JSON, which the desk does not edit.
    """
    text = unsigned(recipe).decode("utf-8-sig")
    if text.lstrip().startswith("{"):
        raise BadInput("the desk edits TOML; this recipe came as JSON")
    number = parse_recipe(text, name="recipe").revision
    return edited(text, [Edit("set", ("revision",), number + 1)])
