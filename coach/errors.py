"""The error tree. Every error a person can cause is one sentence: what is wrong, where, what would be right.

CoachError
├── BadInput (ValueError)      a file, a request or an argument that cannot be used
│   ├── UnitError              "72 kPa" where a speed was asked for
│   ├── RecipeError            a recipe that does not load
│   ├── VehicleError           a vehicle file that does not load
│   ├── ColumnsError           a columns file that does not load
│   ├── TableError             a recorded table that cannot be read
│   └── BundleError            a bundle that cannot be opened
├── NotFound (LookupError)     no such drive, recipe, window
├── Conflict (RuntimeError)    a drive is running already; nothing is running
└── StoreError (OSError)       the data folder cannot be written or read
"""

from __future__ import annotations

LONGEST_WHERE = 300
"""A key may have any length, a sentence may not."""


def short(text: str, most: int) -> str:
    """The text itself, or its two ends where it has more than `most` characters."""
    return text if len(text) <= most else f"{text[: most // 2]}…{text[-(most // 2) + 1 :]}"


class CoachError(Exception):
    """Base of all errors raised on purpose.

    Args:
        message: one sentence for a person.
        where: what the sentence is about (file and line, key path, column), or None.
    """

    code = "error"

    def __init__(self, message: str, *, where: str | None = None) -> None:
        super().__init__(message)
        self.message = message
        self.where = None if where is None else short(where, LONGEST_WHERE)

    def __str__(self) -> str:
        return f"{self.where}: {self.message}" if self.where else self.message


class BadInput(CoachError, ValueError):
    """Something handed in cannot be used."""

    code = "bad_input"


class UnitError(BadInput):
    """A quantity that is not a finite number with a fitting unit."""

    code = "bad_unit"


class RecipeError(BadInput):
    """A recipe that cannot be loaded."""

    code = "bad_recipe"


class VehicleError(BadInput):
    """A vehicle file that cannot be loaded."""

    code = "bad_vehicle"


class ColumnsError(BadInput):
    """A columns file that cannot be loaded."""

    code = "bad_columns"


class TableError(BadInput):
    """A recorded table that cannot be read."""

    code = "bad_table"


class BundleError(BadInput):
    """A bundle that cannot be opened, or is not to be."""

    code = "bad_bundle"


class NotFound(CoachError, LookupError):
    """What was asked for does not exist."""

    code = "not_found"


class Conflict(CoachError, RuntimeError):
    """What was asked for does not fit the present state."""

    code = "conflict"


class StoreError(CoachError, OSError):
    """The data folder cannot be written or read."""

    code = "store"
