"""Asking again what failed for a reason that may pass, and doing without what the car does not tell."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

from coach.sources.link.trouble import Failure

T = TypeVar("T")

MEASURED = 5
"""Requests over which a round trip is measured; the median counts."""
PATIENCE = 3
"""How often a parameter is asked for that failed for a passing reason."""
GONE = frozenset({"disconnected", "occupied"})
"""Failures with which nothing more can be found out."""
AT_AN_END = GONE | {"silent"}


def patient(ask: Callable[[], bytes]) -> bytes:
    """Asks again what failed for a reason that may pass. Raises the last Failure."""
    for _ in range(PATIENCE - 1):
        try:
            return ask()
        except Failure as error:
            if error.code in {"negative", "not_addressed", *GONE}:
                raise
    return ask()


def or_none(ask: Callable[[], T]) -> T | None:
    """The answer, or None where the car has none. Raises Failure only when the connection is gone."""
    try:
        return ask()
    except Failure as error:
        if error.code in GONE:
            raise
        return None
