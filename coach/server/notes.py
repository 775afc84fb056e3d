"""The notes that people agree to before a drive: which a recipe's places call for; a real car needs them all."""

from __future__ import annotations

from collections.abc import Iterable

from coach.errors import Conflict
from coach.recipe import Recipe

NOTES: tuple[tuple[str, frozenset[str]], ...] = (
    ("law", frozenset({"road"})),
    ("closed_course", frozenset({"closed course"})),
    ("open_air", frozenset({"parked"})),
    ("warning_lamp", frozenset()),
    ("driver_drives", frozenset({"road", "closed course"})),
)
"""Each note's code, under which its words stand, and the places that call for it; none: it always stands."""


class NotAgreed(Conflict):
    """A drive was to begin before people agreed to what they must know."""

    code = "not_agreed"


def notes_for(recipe: Recipe) -> list[str]:
    """The codes of the notes that a recipe's places call for, in order."""
    places = {c.place for c in recipe.captures}
    return [code for code, where in NOTES if not where or where & places]


def check_agreed(recipe: Recipe, role: str | None, acknowledged: Iterable[str]) -> None:
    """Refuses a drive in a real car that nobody has agreed to.

    Raises:
        NotAgreed: a note was not agreed to, or nobody has said who holds the phone.
    """
    missing = [code for code in notes_for(recipe) if code not in set(acknowledged)]
    if missing:
        raise NotAgreed(f"agree to the notes before you set off: {', '.join(missing)}", where="acknowledged")
    if role is None:
        raise NotAgreed("say who holds the phone before you set off: passenger or driver", where="role")
