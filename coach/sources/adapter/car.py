"""What the adapter is plugged into: anything that answers a parameter of a mode with bytes. It knows no framing."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Protocol

from coach.vin import check_digit

CURRENT, FREEZE, STORED, PENDING, IDENTITY, PERMANENT, EXTENDED = 0x01, 0x02, 0x03, 0x07, 0x09, 0x0A, 0x22
"""The modes that a car answers, all of which only read."""

VIN, CALIBRATION, VERIFICATION, NAME = 0x02, 0x04, 0x06, 0x0A
"""What mode 09 tells, by its own numbers (from memory)."""

ITEM_BYTES = {VIN: 17, CALIBRATION: 16, VERIFICATION: 4, NAME: 20}
"""How long one item of it is; an answer counts its items."""


class Car(Protocol):
    """A car with its control units; unit 0 is the engine's."""

    def answer(self, mode: int, pid: int, ecu: int) -> bytes | None:
        """The data alone, without mode, parameter or count; None where the unit does not answer.

        `pid` is the parameter, the identifier of mode 22 (16 bits), or 0 for the codes of modes 03, 07 and 0A, which
        are two bytes each. Mode 09 gives its items one after the other.
        """
        ...

    def offers(self, mode: int, ecu: int) -> frozenset[int]:
        """The parameters of modes 01, 02 and 09 that the unit answers; the support bitmaps are made from these."""
        ...

    def volts(self) -> float | None:
        """Supply at the diagnostic socket, or None where nothing is known of it."""
        ...


def example_vin() -> str:
    """A number of no maker, with its right check digit."""
    draft = "XXXC0ACH0P0000042"
    return draft[:8] + check_digit(draft) + draft[9:]


@dataclass(frozen=True)
class Identity:
    """Who the car is and which codes it has; each list has one entry a control unit, the engine's first.

    Attributes:
        vin: 17 characters; only the engine's unit tells it.
        calibrations: names of the calibrations of each unit, at most 16 characters each.
        verifications: a number of four bytes for each calibration.
        names: of each unit, at most 20 characters.
        stored, pending, permanent: trouble codes of the engine's unit, such as `P0171`.
    """

    vin: str = field(default_factory=example_vin)
    calibrations: tuple[tuple[str, ...], ...] = (("COACH-ENGINE-01",), ("COACH-GEARBOX-1",))
    verifications: tuple[tuple[int, ...], ...] = ((0x1791BC82,), (0x2A04D0F6,))
    names: tuple[str, ...] = ("ECM-EngineControl", "TCM-GearboxControl")
    stored: tuple[str, ...] = ()
    pending: tuple[str, ...] = ()
    permanent: tuple[str, ...] = ()

    def answer(self, mode: int, pid: int, ecu: int) -> bytes | None:
        """What it says to modes 03, 07, 09 and 0A; None for everything else."""
        codes = {STORED: self.stored, PENDING: self.pending, PERMANENT: self.permanent}.get(mode)
        if codes is not None:
            return b"".join(map(code_bytes, codes)) if ecu == 0 else b""
        if mode != IDENTITY or pid not in self.offers(ecu):
            return None
        if pid == VIN:
            return self.vin.encode("ascii")
        if pid == CALIBRATION:
            return b"".join(name.encode("ascii").ljust(16, b"\0")[:16] for name in self.calibrations[ecu])
        if pid == VERIFICATION:
            return b"".join(number.to_bytes(4, "big") for number in self.verifications[ecu])
        return self.names[ecu].encode("ascii").ljust(20, b"\0")[:20]

    def offers(self, ecu: int) -> frozenset[int]:
        """What the unit tells in mode 09."""
        told = {VIN} if ecu == 0 and self.vin else set()
        lists = ((CALIBRATION, self.calibrations), (VERIFICATION, self.verifications), (NAME, self.names))
        return frozenset(told | {pid for pid, entries in lists if ecu < len(entries) and entries[ecu]})


def code_bytes(code: str) -> bytes:
    """Two bytes of a trouble code: `P0171` is 01 71 (letter in the top two bits: P, C, B, U; from memory).

    Raises:
        ValueError: no such code.
    """
    letters = "PCBU"
    if len(code) != 5 or code[0] not in letters or code[1] not in "0123":
        raise ValueError(f"{code!r} is no trouble code: one of P, C, B, U, a digit from 0 to 3 and three hex digits")
    return (letters.index(code[0]) << 14 | int(code[1:], 16)).to_bytes(2, "big")


@dataclass
class TableCar:
    """A car of fixed answers: `{(mode, pid): data}`, or `{(mode, pid, ecu): data}` for units other than 0."""

    answers: Mapping[tuple[int, ...], bytes]
    identity: Identity = field(default_factory=Identity)
    battery_v: float | None = 12.6

    def answer(self, mode: int, pid: int, ecu: int) -> bytes | None:
        """See `Car.answer`."""
        own = self.answers.get((mode, pid, ecu)) if ecu else self.answers.get((mode, pid))
        return own if own is not None else self.identity.answer(mode, pid, ecu)

    def offers(self, mode: int, ecu: int) -> frozenset[int]:
        """See `Car.offers`."""
        own = {key[1] for key in self.answers if key[0] == mode and (key[2] if len(key) > 2 else 0) == ecu}
        return frozenset(own | (self.identity.offers(ecu) if mode == IDENTITY else set()))

    def volts(self) -> float | None:
        """See `Car.volts`."""
        return self.battery_v
