"""Which signals there are: the usual ones, those that vehicle files define, each as the car that was found gives it."""

from __future__ import annotations

from collections.abc import Iterable

from coach.signals import Catalogue
from coach.sources.link.decode import as_read
from coach.sources.link.discover import Found
from coach.vehicle import Vehicle, parse_vehicle
from coach.vehicle.signals import maker_signals


def known(base: Catalogue, files: Iterable[bytes | None]) -> Catalogue:
    """`base` with every signal that one of the vehicle files defines, the first one's definition first.

    Raises:
        VehicleError: one of them cannot be used.
    """
    made = base
    for body in reversed([f for f in files if f is not None]):
        made = parse_vehicle(body).catalogue(made)
    return made


def of_car(base: Catalogue, vehicle: Vehicle | None, found: Found | None) -> Catalogue:
    """The signals of one car: as its vehicle file defines them, and as it was found to give them.

    A signal that this car gives by another parameter than usual has the ends of that encoding: manifold pressure in two
    bytes is not saturated at 255 kPa.
    """
    made = base if vehicle is None else vehicle.catalogue(base)
    return made if found is None else as_read(made, found.signals)


def asks_alike(one: Catalogue, other: Catalogue) -> bool:
    """Whether a car has to be asked for the same identifiers with both."""
    return {s.name: s.identified for s in maker_signals(one)} == {s.name: s.identified for s in maker_signals(other)}
