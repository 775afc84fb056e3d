"""What the dial shows for a speed that the car reports: learned from one reading at a steady speed."""

from __future__ import annotations

from dataclasses import dataclass

from coach.errors import VehicleError

LEAST_KMH = 30.0
"""A reading at a lower speed says too little: both come in whole numbers."""
MOST_SHARE, MOST_KMH = 0.10, 4.0
"""A dial never reads low, and at most this share and so many km/h high (UN R39, from memory)."""
READING_KMH = 1.0
"""Both readings are whole numbers: so much below counts as equal."""


@dataclass(frozen=True, slots=True)
class Dial:
    """The dial shows `factor` times the reported speed; never used to judge."""

    factor: float

    @classmethod
    def read_at(cls, reported_kmh: float, shows_kmh: float, *, where: str | None = None) -> Dial:
        """From one reading: what the car reported and what the passenger read, at a steady speed.

        Raises:
            VehicleError: too slow to tell, or the dial reads low, or further high than a dial may.
        """
        if reported_kmh < LEAST_KMH:
            raise VehicleError(f"read the dial at {LEAST_KMH:g} km/h or faster, steady", where=where)
        if shows_kmh < reported_kmh - READING_KMH:
            raise VehicleError(
                "a dial does not read low: look at both again, at a steady speed; the tyre may be the wrong one",
                where=where,
            )
        if shows_kmh > reported_kmh * (1 + MOST_SHARE) + MOST_KMH + READING_KMH:
            raise VehicleError(
                "no dial reads that much high (10 % and 4 km/h at most): look at both again, at a steady speed",
                where=where,
            )
        return cls(shows_kmh / reported_kmh)

    def shows(self, kmh: float) -> float:
        """What the dial shows at a reported speed, km/h."""
        return kmh * self.factor
