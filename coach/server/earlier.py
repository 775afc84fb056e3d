"""Pulls of a car in the stored drives, for its next plan: found by the worker, kept while there is nothing new.

No request waits long for them: a plan without them is a plan, and the next one has them.
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterable
from concurrent.futures import Future
from concurrent.futures import TimeoutError as TookLong
from functools import lru_cache
from hashlib import sha256
from threading import Lock
from typing import Any

from coach.drive.tasks import Worker
from coach.errors import CoachError
from coach.plan.pulls import EarlierPulls
from coach.server.cars import car_key
from coach.store import DriveRow
from coach.vehicle import parse_vehicle

NEWEST = 5
"""So many drives count: what the car did under a calibration long ago says little of the one that is in it."""
MOST_SAMPLES = 3_000_000
"""A longer drive is left out: reading it would take seconds."""
PATIENCE_S = 2.0
KEPT = 8
Key = tuple[str, ...]


class PullsKnown:
    """The pulls of each car that was planned for, by what they were found in."""

    def __init__(self) -> None:
        self._lock = Lock()
        self._asked: dict[Key, Future[Any]] = {}

    def of(
        self, car: str, vehicle: bytes, rows: Iterable[DriveRow], worker: Worker, patience_s: float = PATIENCE_S
    ) -> dict[int, EarlierPulls]:
        """Pulls by gear; none where there are none, or where they are not found yet.

        Args:
            car: under which name the car is kept, as `car_key` makes it.
            vehicle: its file, already found valid.
            rows: all drives, the newest first.
            worker: looks for them.
            patience_s: how long this waits.
        """
        drives = drives_of(car, rows)
        if not drives:
            return {}
        key = (sha256(vehicle).hexdigest(), *drives)
        with self._lock:
            found = self._asked.pop(key, None)
            if found is None or (found.done() and found.exception() is not None):
                ask = {"drives": drives, "vehicle": vehicle.decode("utf-8-sig")}
                found = worker.submit("pulls", ask)
            self._asked[key] = found
            while len(self._asked) > KEPT:
                self._asked.pop(next(iter(self._asked)))
        # A drive that cannot be read, or was removed meanwhile, must not take the plan with it.
        with contextlib.suppress(CoachError, TookLong):
            return {one["gear"]: _pulls(one) for one in found.result(patience_s)}
        return {}


def drives_of(car: str, rows: Iterable[DriveRow]) -> list[str]:
    """The newest finished drives of a car, by what each says of its own car."""
    some = (r.id for r in rows if r.phase == "ended" and 0 < r.samples <= MOST_SAMPLES and car == _car(r))
    return [drive for drive, _ in zip(some, range(NEWEST), strict=False)]


def _car(row: DriveRow) -> str:
    label = _label(row.vehicle) if row.vehicle is not None else None
    return label if label is not None else car_key(str(row.source.get("id")), None)


@lru_cache(maxsize=256)
def _label(vehicle: bytes) -> str | None:
    """The name of a car with a label; None without one, and where a file of an earlier version is refused today."""
    with contextlib.suppress(CoachError):
        read = parse_vehicle(vehicle)
        return car_key("", read) if read.label else None
    return None


def _pulls(one: dict[str, Any]) -> EarlierPulls:
    return EarlierPulls(one["gear"], tuple(one["rpm"]), tuple(one["ms2"]), one["count"])
