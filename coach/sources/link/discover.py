"""What a car offers and who it is: asked once, kept for the drive and for every reconnection."""

from __future__ import annotations

import math
import statistics
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any, TypeVar

from coach.signals import Catalogue, Identified, Reading
from coach.sources.link.answers import PROTOCOLS
from coach.sources.link.decode import (
    Way,
    bitmap,
    calibration_ids,
    choose,
    codes,
    readable,
    verification_numbers,
    vin,
    ways,
)  # fmt: skip
from coach.sources.link.identified import ask_identified, measure, settle
from coach.sources.link.patience import AT_AN_END, GONE, MEASURED, or_none, patient
from coach.sources.link.session import SLOW_S, Session
from coach.sources.link.trouble import Failure

T = TypeVar("T")

BATCHES = (6, 2)
"""How many parameters a request is tried with, before singles."""


@dataclass(frozen=True)
class Found:
    """What was found out about adapter and car.

    Attributes:
        protocol: its number as the adapter counts; `protocol_name` in words.
        voltage: at the diagnostic socket, or None.
        ecus: the addresses of the control units that answer; `engine` is the one that is listened to.
        offered: the mode-01 parameters that the engine's control offers.
        lengths: bytes of each parameter's answer, as learned from its single answer.
        signals: how each signal is read from this car.
        batch: how many parameters a request may ask for.
        single_us, batch_us: median round trip of one parameter, and of a full batch.
        alone_us: of an identifier, changes of header included; 0 where none is asked for.
        home: header with which parameters are asked for in the drive; empty is the usual one.
        calibrations, verifications: by control unit.
        stored, pending: trouble codes.
        first_values: what the signals said when their lengths were learned.
        refused: parameters that are offered and could not be read, with the reason.
        baud: speed of the serial port at which the adapter answered; None where nobody tried.
    """

    adapter: str
    protocol: str
    protocol_name: str
    voltage: float | None
    ecus: tuple[int, ...]
    engine: int
    offered: frozenset[int]
    lengths: dict[int, int]
    signals: dict[str, Way]
    batch: int
    single_us: int
    batch_us: int
    vin: str | None
    calibrations: dict[int, list[str]]
    verifications: dict[int, list[str]]
    stored: tuple[str, ...]
    pending: tuple[str, ...]
    first_values: dict[str, float]
    refused: dict[int, str]
    alone_us: int = 0
    home: str = ""
    baud: int | None = None

    @property
    def since_clear_km(self) -> float | None:
        """Distance since codes and trims were cleared, or None where the car does not tell it."""
        km = self.first_values.get("distance_since_clear")
        return None if km is None or math.isnan(km) else km

    def identity(self) -> dict[str, Any]:
        """What goes with every drive: JSON-able. The vehicle's number is whole: whoever shows it masks it."""
        return {
            "adapter": self.adapter, "protocol": self.protocol_name, "voltage": self.voltage, "vin": self.vin,
            "engine": f"{self.engine:02X}",
            "ecus": [
                {"address": f"{e:02X}", "calibrations": self.calibrations.get(e, []),
                 "verifications": self.verifications.get(e, [])}
                for e in self.ecus
            ],
            "codes": {"stored": list(self.stored), "pending": list(self.pending)},
            "since_clear_km": self.since_clear_km,
            "batch": self.batch, "round_trip_ms": round(self.single_us / 1e3, 1),
            "batch_round_trip_ms": round(self.batch_us / 1e3, 1),
        }  # fmt: skip


def discover(session: Session, catalogue: Catalogue, tell: Callable[[str], None] = lambda _: None) -> Found:
    """Asks the car for everything that a drive needs to know.

    Args:
        session: set up.
        catalogue: the signals that are looked for.
        tell: is told what is being looked for, in a few words.

    Raises:
        Failure: the car stopped answering.
        Stopped: somebody wants to stop.
    """
    tell("parameters")
    offered = _offered(session)
    lengths, answers, refused = _lengths(session, readable(catalogue, offered), catalogue)
    own = [s.identified for s in catalogue if s.identified is not None]
    if own:
        tell("signals of the maker")
        ask_identified(session, own, lengths, answers, refused)
    signals = choose(catalogue, lengths, answers)
    tell("batches")
    used = sorted({w.key for w in signals.values() if isinstance(w.reading, Reading)})
    alone = list({w.key: w.reading for w in signals.values() if isinstance(w.reading, Identified)}.values())
    settle(session, alone, used, lengths)
    batch, batch_us = _batch(session, used, lengths)
    single_us = _round_trip(session, used[:1], lengths) if used else 0
    alone_us = measure(session, alone, used, lengths, single_us) if alone else 0
    single_us = single_us or alone_us
    tell("identity")
    voltage = or_none(lambda: session.voltage()[0])
    info = or_none(lambda: bitmap(0, session.single(9, 0, SLOW_S)[0][-4:])) or frozenset()
    numbers = _by_ecu(session, 2, info)
    # Units that answer no parameter may still tell what is in them.
    calibrations = {e: calibration_ids(d) for e, d in _by_ecu(session, 4, info).items()}
    verifications = {e: verification_numbers(d) for e, d in _by_ecu(session, 6, info).items()}
    return Found(
        adapter=session.adapter, protocol=session.frames.number, protocol_name=PROTOCOLS[session.frames.number][1],
        voltage=voltage, ecus=tuple(sorted({*session.frames.ecus, *calibrations, *verifications})),
        engine=session.frames.engine, offered=offered,
        lengths=lengths, signals=signals, batch=batch, single_us=single_us, batch_us=batch_us or single_us,
        vin=next((v for v in map(vin, numbers.values()) if v), None),
        calibrations=calibrations, verifications=verifications,
        stored=_codes(session, "03"), pending=_codes(session, "07"),
        first_values={n: w.value(answers[w.key]) for n, w in signals.items()}, refused=refused,
        alone_us=alone_us, home=session.home,
    )  # fmt: skip


def _offered(session: Session) -> frozenset[int]:
    """All bitmaps, 00 to E0; each one's last bit says whether there is another."""
    found: frozenset[int] = frozenset()
    for first in range(0, 0x100, 0x20):
        if first and first not in found:
            break
        try:
            found |= bitmap(first, patient(partial(_sized, session, first, {4})))
        except Failure as error:
            if not first or error.code in AT_AN_END:
                raise
            break
    return frozenset(p for p in found if p % 0x20)


def _lengths(
    session: Session, pids: Sequence[int], catalogue: Catalogue
) -> tuple[dict[int, int], dict[int, bytes], dict[int, str]]:
    """Each parameter's answer by itself: its length, its bytes, or why there is none."""
    sizes: dict[int, set[int]] = {}
    for way in (w for some in ways(catalogue).values() for w in some):
        sizes.setdefault(way.key, set()).add(way.reading.length)
    lengths: dict[int, int] = {}
    answers: dict[int, bytes] = {}
    refused: dict[int, str] = {}
    for pid in pids:
        try:
            data = patient(partial(_sized, session, pid, sizes[pid]))
        except Failure as error:
            if error.code in AT_AN_END:
                raise
            refused[pid] = error.message
        else:
            lengths[pid], answers[pid] = len(data), data
    return lengths, answers, refused


def _sized(session: Session, pid: int, sizes: set[int]) -> bytes:
    """A parameter's answer, which should have one of these lengths. Raises Failure, Stopped."""
    data = session.single(1, pid)[0]
    if len(data) not in sizes:
        raise Failure("wrong_length", f"{len(data)} bytes long and not {' or '.join(map(str, sorted(sizes)))}")
    return data


def _batch(session: Session, pids: Sequence[int], lengths: dict[int, int]) -> tuple[int, int]:
    """How many parameters a request may ask for, and the round trip of that many."""
    if not session.frames.can:
        return 1, 0
    for size in BATCHES:
        some = pids[:size]
        if len(some) < 2:
            break
        try:
            found = session.read(some, lengths)[0]
            if len(found) == len(some):
                return size, _round_trip(session, some, lengths)
        except Failure as error:
            if error.code in GONE:
                raise
    return 1, 0


def _round_trip(session: Session, pids: Sequence[int], lengths: dict[int, int]) -> int:
    took = []
    for _ in range(MEASURED):
        try:
            reply = session.read(pids, lengths)[1]
        except Failure as error:
            if error.code in GONE:
                raise
            continue
        took.append(reply.done_us - reply.sent_us)
    return round(statistics.median(took)) if took else 0


def _by_ecu(session: Session, pid: int, info: frozenset[int]) -> dict[int, bytes]:
    """What each control unit says to a mode-09 parameter; nothing where the car does not offer it."""
    if pid not in info:
        return {}
    return or_none(lambda: session.by_ecu(9, pid)) or {}


def _codes(session: Session, mode: str) -> tuple[str, ...]:
    """Trouble codes of all control units; a car that answers nothing has none."""
    answers = or_none(lambda: session.ask_all(mode, SLOW_S)[0]) or []
    mine = [a.data[1:] for a in answers if a.data[:1] == bytes([int(mode, 16) + 0x40])]
    return tuple(sorted({c for a in mine for c in codes(a, counted=session.frames.can)}))
