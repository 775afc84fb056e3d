"""Finding out about the signals of one maker: which the car answers, with which headers, and how long that takes."""

from __future__ import annotations

import statistics
from collections.abc import Sequence
from functools import partial

from coach.signals import Identified
from coach.sources.link.decode import key_of
from coach.sources.link.patience import GONE, MEASURED, patient
from coach.sources.link.session import Session
from coach.sources.link.trouble import Failure


def ask_identified(
    session: Session, own: Sequence[Identified], lengths: dict[int, int], answers: dict[int, bytes],
    refused: dict[int, str],
) -> None:  # fmt: skip
    """Asks once for each identifier that the vehicle file names; adds its length and answer, or why there is none."""
    for reading in {key_of(one): one for one in own}.values():
        key = key_of(reading)
        try:
            data = patient(partial(_of_identifier, session, reading))
        except Failure as error:
            if error.code in GONE:
                raise
            refused[key] = error.message
        else:
            lengths[key], answers[key] = len(data), data


def _of_identifier(session: Session, reading: Identified) -> bytes:
    return session.identified(reading)[0]


def settle(session: Session, alone: Sequence[Identified], used: Sequence[int], lengths: dict[int, int]) -> None:
    """Asks for parameters with the engine's own header too, where its identifiers are: it need not be changed then."""
    mine = session.frames.engine_header if session.frames.can else ""
    if not used or not any(reading.header.removeprefix("18") == mine for reading in alone):
        return
    session.home = mine
    try:
        session.read(used[:1], lengths)
    except Failure as error:
        if error.code in GONE:
            raise
        session.home = ""


def measure(
    session: Session, alone: Sequence[Identified], used: Sequence[int], lengths: dict[int, int], single_us: int
) -> int:
    """What an identifier takes among parameters, changes of header included; another unit's, where there is one."""
    away = next((r for r in alone if r.header.removeprefix("18") != session.home), alone[0])
    took = []
    for _ in range(MEASURED):
        begin_us = session.talk.now_us()
        try:
            if used:
                session.read(used[:1], lengths)
            session.identified(away)
        except Failure as error:
            if error.code in GONE:
                raise
            continue
        took.append(session.talk.now_us() - begin_us - (single_us if used else 0))
    return round(statistics.median(took)) if took else single_us
