"""What was learned and declared of each car, kept between drives in the data folder: one small file a car.

Nothing here is judged: what a drive depends on is copied into the drive when it starts.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from threading import Lock
from typing import Any

from coach.errors import CoachError
from coach.shown import Units
from coach.store.files import write_durable
from coach.vehicle import Vehicle
from coach.vehicle.dial import Dial
from coach.vehicle.pedal_ends import PedalEnds

FOLDER = "cars"


@dataclass(frozen=True, slots=True)
class DialRead:
    """What the car reported and what its dial showed at that moment, in km/h.

    Raises:
        VehicleError: no dial reads so.
    """

    reported_kmh: float
    shows_kmh: float

    def __post_init__(self) -> None:
        _ = self.dial

    @property
    def dial(self) -> Dial:
        """The dial that follows from it."""
        return Dial.read_at(self.reported_kmh, self.shows_kmh, where="shows")

    def mark(self) -> str:
        """As it stands among a drive's marks."""
        return f"{self.reported_kmh:g} km/h reads {self.shows_kmh:g} km/h"


@dataclass(frozen=True)
class Car:
    """What is kept of one car.

    Attributes:
        facts: declared by a person, checked by `coach.facts`.
        confirmed: SHA-256 of the recipe that they were confirmed for last, or None: a new revision asks again.
        pedal: the pedal's ends as learned, or None.
        dial: the dial as read beside the car's own speed, or None.
    """

    facts: dict[str, str] = field(default_factory=dict)
    confirmed: str | None = None
    pedal: PedalEnds | None = None
    dial: DialRead | None = None


class Cars:
    """The cars of one data folder.

    Args:
        folder: the data folder.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder / FOLDER
        self._lock = Lock()

    def get(self, key: str) -> Car:
        """What is kept of a car; nothing of one that was never here, or whose file somebody has spoilt."""
        try:
            kept = json.loads(self._path(key).read_text("utf-8"))
            dial, pedal = kept.get("dial"), kept.get("pedal")
            return Car(
                {str(k): str(v) for k, v in kept.get("facts", {}).items()}, kept.get("confirmed"),
                None if pedal is None else PedalEnds(**pedal), None if dial is None else DialRead(**dial),
            )  # fmt: skip
        except (OSError, ValueError, TypeError, AttributeError, CoachError):
            return Car()

    def change(self, key: str, **change: Any) -> Car:
        """Keeps a change of a car. Raises StoreError."""
        with self._lock:
            car = replace(self.get(key), **change)
            body = json.dumps(asdict(car), indent=1).encode()
            write_durable(self._path(key), lambda file: file.write(body))
        return car

    def _path(self, key: str) -> Path:
        return self._folder / f"{hashlib.sha256(key.encode()).hexdigest()[:16]}.json"


def car_key(source: str, vehicle: Vehicle | None) -> str:
    """What tells one car from another: the label in its vehicle file, else where it is read from."""
    return f"label {vehicle.label}" if vehicle is not None and vehicle.label else f"source {source}"


def with_learned(body: bytes | None, car: Car, units: Units | None) -> bytes | None:
    """A vehicle file with what was learned of pedal and dial and what the driver chose to read; else as it was.

    Args:
        body: the vehicle file, already found valid, or None.
        car: what was learned: it was measured, so it stands before what the file says.
        units: as chosen on the phone, or None.
    """
    pedal, dial = car.pedal, car.dial
    if pedal is None and dial is None and units is None:
        return body
    import tomlkit

    document = tomlkit.parse((body or b"").decode("utf-8-sig"))
    if pedal is not None:
        document["pedal"] = {"released": f"{pedal.released} %", "floored": f"{pedal.floored} %"}
    if dial is not None:
        document["dial"] = {"reported": f"{dial.reported_kmh} km/h", "shows": f"{dial.shows_kmh} km/h"}
    if units is not None:
        document["units"] = asdict(units)
    return tomlkit.dumps(document).encode()
