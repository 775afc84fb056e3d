"""Tyre size to rolling circumference, and the few units that only a vehicle file needs."""

from __future__ import annotations

import re

from coach.errors import VehicleError

ROLLING = 3.05
"""Dynamic circumference over outer diameter of a radial tyre under load (default of the package co2mpas)."""

_SIZE = re.compile(r"(?:P|LT)?(\d{3})/(\d{2,3}) ?Z?R ?(\d{2})(?:C?(?: .*)?)", re.ASCII | re.IGNORECASE)
_NUMBER = re.compile(r"([0-9]{1,9}(?:\.[0-9]{1,9})?) ?([A-Za-z][A-Za-z0-9/()^]*)", re.ASCII)

# Exact by definition: the international pound and inch.
KG = {"kg": 1.0, "t": 1000.0, "lb": 0.45359237}
METRES = {"mm": 0.001, "cm": 0.01, "m": 1.0, "in": 0.0254}


def outer_diameter_mm(size: str, *, where: str | None = None) -> float:
    """Outer diameter of a tyre such as `225/45R17`: the rim in inches and twice the height of the side (ETRTO).

    Raises:
        VehicleError: not such a size.
    """
    match = _SIZE.fullmatch(size.strip())
    if match is None or not int(match[2]) or not int(match[3]):
        raise VehicleError(f'"{size[:40]}" is not a tyre size: write it as on its side, "225/45R17"', where=where)
    width, share, rim = int(match[1]), int(match[2]), int(match[3])
    return rim * 25.4 + 2 * width * share / 100


def circumference_m(size: str, *, where: str | None = None) -> float:
    """Rolling circumference of a tyre size, in metres. Raises VehicleError for one that cannot be read."""
    return ROLLING * outer_diameter_mm(size, where=where) / 1000


def plain_quantity(text: str, units: dict[str, float], what: str, *, where: str | None = None) -> float:
    """One positive number with one of `units`, in the unit whose factor is 1.

    Raises:
        VehicleError: anything else.
    """
    match = _NUMBER.fullmatch(text.strip()) if len(text) <= 60 else None
    if match is None or match[2] not in units or not float(match[1]) > 0:
        raise VehicleError(f'"{text[:40]}" is not {what}: one number above 0 in {" or ".join(units)}', where=where)
    return float(match[1]) * units[match[2]]
