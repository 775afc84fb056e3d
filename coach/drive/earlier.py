"""What earlier drives of a car know of its pulls, as a task of the worker: for plans that the server makes."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import Any

from coach.plan.pulls import earlier_pulls
from coach.store.reading import Reader
from coach.vehicle import parse_vehicle

Ask = dict[str, Any]


def pulls(folder: Path, ask: Ask) -> list[dict[str, Any]]:
    """Full-pedal pulls in `drives` of the car that the text `vehicle` describes: an EarlierPulls a gear, as plain data.

    Raises:
        NotFound, StoreError: a drive is not there, or cannot be read.
    """
    from coach.store.store import DATABASE

    reader = Reader(folder / DATABASE)
    found = earlier_pulls([reader.recording(d) for d in ask["drives"]], parse_vehicle(ask["vehicle"].encode()))
    return [asdict(one) for one in found.values()]
