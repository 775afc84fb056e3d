"""A connection that is set up: the adapter in a known state, the car's protocol found, who answers known."""

from __future__ import annotations

import re
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field

from coach.clock import Clock
from coach.signals import Identified
from coach.sources.link.answers import CAN, Answer, Frames, cleaned, positive, said, walk
from coach.sources.link.crowd import SIGNS_MOST, Crowd, is_sign
from coach.sources.link.port import Opener, open_serial, open_wire
from coach.sources.link.talk import Reply, Talk
from coach.sources.link.trouble import Failure

WAKE_S = 1.5
"""The adapter's own start."""
SEARCH_S = 12.0
"""Finding the car's protocol; slow buses are woken at 5 baud."""
AGAIN_S = 2.0
"""Finding a car again that is known to be on CAN."""
SLOW_S = 5.0
"""Answers that a control unit has to work out first."""

PATIENT_MOST = 6
"""How often a unit that asks for time is asked."""
LONG_WAIT, USUAL_WAIT = "ATSTFF", "ATST32"
"""How long the adapter waits for the car: about a second, and its usual 0.2 s."""

# No echo, no line feeds, no spaces, headers on, protocol not kept in the adapter, waits fitted to the car.
_SETTINGS = ("ATE0", "ATL0", "ATS0", "ATH1", "ATM0", "ATAT1")
_MISPLACED = frozenset({"garbage", "broken_frame", "short", "wrong_mode", "wrong_parameter"})
"""Failures after which the next answer may be that to an earlier request."""
_NEEDED = frozenset({"ATE0", "ATH1"})
"""Cheap adapters do not know all of them; what is still in their answers then, blanks and line feeds, is taken out."""


@dataclass
class Session:
    """One connection; made anew after each loss. It belongs to one thread.

    Attributes:
        talk: requests and replies.
        adapter: what the adapter calls itself.
        crowd: whether somebody else talks to the car.
        frames: the car's framing, and who the engine is.
    """

    talk: Talk
    adapter: str
    frames: Frames
    home: str = ""
    """Header with which parameters are asked for; empty: the usual one, to all control units."""
    crowd: Crowd = field(default_factory=Crowd)
    _header: str = ""

    @classmethod
    def open(
        cls, url: str, baud: int, clock: Clock, stop: threading.Event, *, opener: Opener = open_serial,
        protocol: str | None = None,
    ) -> Session:  # fmt: skip
        """Opens the port, sets the adapter up and finds the car.

        Args:
            protocol: the number that was found before, tried first.

        Raises:
            Failure: it does not work, and why.
            Stopped: somebody wants to stop.
        """
        talk = Talk(open_wire(url, baud, clock, stop, opener), clock, stop)
        try:
            adapter = _wake(talk)
            return cls(talk, adapter, _first_frames(talk, protocol))
        except BaseException:
            talk.close()
            raise

    def ask_all(self, command: str, deadline_s: float | None = None) -> tuple[list[Answer], Reply]:
        """Every control unit's answer. Raises Failure, Stopped."""
        with self._watched():
            return self._ask(command, "", deadline_s)

    def read(self, pids: Sequence[int], lengths: dict[int, int]) -> tuple[dict[int, bytes], Reply]:
        """Mode-01 parameters of the engine, in one request. Raises Failure, Stopped."""
        with self._watched():
            answers, reply = self._ask("01" + "".join(f"{pid:02X}" for pid in pids), self.home)
            return walk(self.frames.engine_answer(answers, 0x01), lengths, pids), reply

    def single(self, mode: int, pid: int, deadline_s: float | None = None) -> tuple[bytes, Reply]:
        """The engine's answer to one parameter, from behind its echo on. Raises Failure, Stopped."""
        with self._watched():
            answers, reply = self._ask(f"{mode:02X}{pid:02X}", self.home, deadline_s)
            return echoed(self.frames.engine_answer(answers, mode), pid), reply

    def identified(self, reading: Identified) -> tuple[bytes, Reply]:
        """The answer to an identifier of mode 22, from behind its echo on, of the unit that was asked.

        Raises:
            Failure: also where this car's headers are of another kind, or it is not on CAN.
            Stopped: somebody wants to stop.
        """
        ecu = self.frames.addressed(reading.header)
        if ecu is None:
            raise Failure("not_addressed", reading.header)
        with self._watched():
            answers, reply = self._ask(f"22{reading.identifier:04X}", reading.header.removeprefix("18"))
            data = self.frames.answer_of(answers, 0x22, ecu)
            if data[:2] != reading.identifier.to_bytes(2, "big"):
                raise Failure("wrong_parameter")
            if len(data) != 2 + reading.length:
                raise Failure("wrong_length", f"{len(data) - 2} bytes long and not {reading.length}")
            return data[2:], reply

    def by_ecu(self, mode: int, pid: int) -> dict[int, bytes]:
        """Each control unit's answer to one parameter, those that refuse left out.

        A unit that asks for time is asked again, with more of it, until it has worked its answer out.

        Raises:
            Failure, Stopped.
        """
        found: dict[int, bytes] = {}
        failure: Failure | None = None
        for number in range(PATIENT_MOST):
            if number:
                self.talk.ask(LONG_WAIT)
            try:
                answers, failure = self.ask_all(f"{mode:02X}{pid:02X}", SLOW_S)[0], None
            except Failure as error:
                if error.code != "pending":
                    raise
                answers, failure = [], error
            for answer in answers:
                with suppress(Failure):
                    found[answer.ecu] = echoed(positive(answer.data, mode), pid)
            if failure is None and not self.frames.late:
                break
        if number:
            self.talk.ask(USUAL_WAIT)
        if failure is not None and not found:
            raise failure
        return found

    def _ask(self, command: str, header: str, deadline_s: float | None = None) -> tuple[list[Answer], Reply]:
        """Asks with a header; the adapter is told where it is another one than before."""
        if header != self._header:
            setting = f"ATSH{header or self.frames.everybody}"
            if self.talk.ask(setting).lines[-1:] != ("OK",):
                raise Failure("not_understood", setting)
            self._header = header
        reply = self.talk.ask(command) if deadline_s is None else self.talk.ask(command, deadline_s)
        return self.frames.parse(reply.lines, int(command[:2], 16)), reply

    @contextmanager
    def _watched(self) -> Iterator[None]:
        """Fails as `occupied` once the failures tell of somebody else."""
        try:
            yield
        except Failure as failure:
            self.talk.astray |= failure.code in _MISPLACED
            self.crowd.note(failure, self.talk.now_us())
            if self.crowd.there:
                raise Failure("occupied") from failure
            raise

    def voltage(self) -> tuple[float, Reply]:
        """The supply as the adapter measures it, in volts. Raises Failure, Stopped."""
        reply = self.talk.ask("ATRV")
        text = reply.lines[0] if reply.lines else ""
        found = re.fullmatch(r"(\d{1,2}(?:\.\d{1,2})?)\s*V?", text.strip())
        if found is None:
            raise said(text) or Failure("garbage")
        return float(found[1]), reply

    def close(self) -> None:
        """Gives the port up without waiting."""
        self.talk.close()


def echoed(data: bytes, pid: int) -> bytes:
    """What follows the parameter's echo. Raises Failure when it is another one's."""
    if data[:1] != bytes([pid]):
        raise Failure("wrong_parameter")
    if len(data) < 2:
        raise Failure("short")
    return data[1:]


def _wake(talk: Talk) -> str:
    """Starts the adapter from its defaults; gives what it calls itself. Raises Failure, Stopped."""
    try:
        lines = talk.ask("ATZ", WAKE_S).lines
    except Failure as error:
        if error.code != "garbage" and not talk.in_step:
            raise
        lines = ()  # what came was left over from before it started
    for setting in _SETTINGS:
        answer = talk.ask(setting).lines
        if answer[-1:] != ("OK",) and setting in _NEEDED:
            raise Failure("not_understood", setting) if answer else Failure("silent")
    talk.echoes = False
    own = talk.ask("ATI").lines
    talk.name = own[-1] if own and own[-1] not in {"?", "OK"} and len(own[-1]) > 2 else ""
    name = next((line for line in (*reversed(own), *lines) if re.search(r"[A-Za-z]{2}", line)), "")
    return name or "an adapter without a name"


def _first_frames(talk: Talk, protocol: str | None) -> Frames:
    """The car's framing, from its first answer; asked again where somebody else may talk. Raises Failure, Stopped."""
    signs: list[Failure] = []
    while len(signs) < SIGNS_MOST:
        try:
            return Frames(*_find_car(talk, protocol))
        except Failure as failure:
            if not is_sign(failure):
                raise
            signs.append(failure)
    raise Failure("occupied") from signs[-1]


def _find_car(talk: Talk, protocol: str | None) -> tuple[str, tuple[str, ...]]:
    """The protocol's number and the lines of the answer to 0100. Raises Failure, Stopped."""
    talk.ask(f"ATSPA{protocol}" if protocol else "ATSP0")
    first = talk.ask("0100", AGAIN_S if protocol is not None and protocol in CAN else SEARCH_S).lines
    for line in cleaned(first):
        failure = said(line)
        if failure is not None:
            raise failure
    number = "".join(talk.ask("ATDPN").lines[:1]).strip().upper().removeprefix("A")
    return number, first
