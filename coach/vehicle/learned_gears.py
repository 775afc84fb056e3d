"""What drives taught about a car, as plain values: gears with how sure they are, and what does not fit together."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from coach.vehicle.learn import Cluster

By = Literal["file", "reported", "operator", ""]
Confidence = Literal["good", "fair", "weak"]


@dataclass(frozen=True, slots=True)
class LearnedGear:
    """One cluster.

    Attributes:
        cluster: as found.
        number: its gear, or None where nobody vouches for one.
        by: who does.
        file_ratio: what the vehicle file says of that gear, or None.
    """

    cluster: Cluster
    number: int | None
    by: By
    file_ratio: float | None

    @property
    def confidence(self) -> Confidence:
        """How sure the ratio is: seen for 20 s or more in several stretches and close together, or less."""
        c = self.cluster
        if c.seconds >= 20 and c.stretches >= 2 and c.spread <= 0.02:
            return "good"
        return "fair" if c.seconds >= 10 and c.spread <= 0.03 else "weak"

    @property
    def off(self) -> float | None:
        """By what share it differs from the file."""
        return None if self.file_ratio is None else self.cluster.ratio / self.file_ratio - 1


@dataclass(frozen=True, slots=True)
class Conflict:
    """Something that does not fit together: a code, the gears it is about, and a share or a number.

    Codes: `wrong_tyre` (share by which every gear is off), `other_ratio`, `not_in_file`, `more_than_file`, `slipping`
    and `converter_slip` (seconds), `reported_disagrees`, `delay_differs` (seconds), `cvt_steady`.
    """

    code: str
    gears: tuple[int, ...] = ()
    value: float = 0.0


@dataclass(frozen=True)
class Learned:
    """What drives taught about a car.

    Attributes:
        gears: clusters, the lowest gear first.
        delay_us: of road speed.
        idle_rpm: while standing, or None.
        seconds: how long the car moved with both signals.
        conflicts: what does not fit together.
        highest_pedal, lowest_pedal: raw pedal over the drives, per cent, or None.
    """

    gears: tuple[LearnedGear, ...]
    delay_us: int
    idle_rpm: float | None
    seconds: float
    conflicts: tuple[Conflict, ...]
    lowest_pedal: float | None = None
    highest_pedal: float | None = None

    def ratios(self) -> dict[int, float]:
        """Rpm per km/h of the numbered gears."""
        return {g.number: g.cluster.ratio for g in self.gears if g.number is not None}
