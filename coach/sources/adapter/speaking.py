"""The adapter itself: a line of text in, what it says in parts with times, faults of car and adapter included."""

from __future__ import annotations

import re
import threading
from dataclasses import dataclass, field
from random import Random

from coach.sources.adapter.car import CURRENT, Car
from coach.sources.adapter.dialect import NAME, UNKNOWN, Dialect, Settings
from coach.sources.adapter.faults import Fault, Faults
from coach.sources.adapter.frames import UNITS_29, Frame, can_frames, cut_short, in_turn, kline_frames
from coach.sources.adapter.services import MOST_PARAMETERS, Message, Services, spoiled

NO_DATA, CAN_ERROR, NO_CAR, BUS_INIT = "NO DATA", "CAN ERROR", "UNABLE TO CONNECT", "BUS INIT: "
SEARCHING = "SEARCHING..."
STOPPED = "STOPPED"

_LINES = {
    "no-data": NO_DATA,
    "can-error": CAN_ERROR,
    "stopped": STOPPED,
    "bus-init-error": f"{BUS_INIT}ERROR",
    "bus-busy": "BUS BUSY",
    "unable-to-connect": NO_CAR,
}
_FIRST_CAN = 6
_EVERYBODY = {"7DF", "DB33F1", "18DB33F1", "C233F1", "686AF1"}


@dataclass(slots=True)
class Said:
    """What the adapter says: lines, each so many seconds after the one before.

    `request` is whether it went to the car: then bytes that arrive meanwhile stop it. `parameters` is how many were
    asked for in it.
    """

    lines: list[tuple[float, str]] = field(default_factory=list)
    request: bool = False
    parameters: int = 0
    blank: bool = False


class Adapter:
    """Settings, car and faults joined. It keeps its settings when a client goes and the next one comes.

    Args:
        car: what it is plugged into.
        ecus: how many control units answer, 1 or 2.
        protocol: the only one that the car speaks, by its common number: 3 to 9.
        faults: what goes wrong.
        random: for what is random about faults.
        pad: the byte that fills CAN frames up, or None for short ones.
        batch: the most parameters that the car takes in one request.
    """

    def __init__(
        self, car: Car, *, ecus: int, protocol: int, faults: Faults, random: Random, pad: int | None = 0xAA,
        batch: int = MOST_PARAMETERS,
    ) -> None:  # fmt: skip
        self.car, self.protocol, self.pad = car, protocol, pad
        self.can = protocol >= _FIRST_CAN
        self.bits = 11 if protocol in {6, 8} else 29
        self.dialect = Dialect(car.volts)
        self._services = Services(car, ecus, can=self.can, batch=batch)
        self._faults, self._random = faults, random
        self._last = ""
        self._lock = threading.Lock()

    @property
    def settings(self) -> Settings:
        """As they are now."""
        return self.dialect.settings

    def hear(self, text: str, since_us: int) -> Said:
        """Takes one line (without its end) and gives the answer; an empty one repeats the last.

        Args:
            text: as it came.
            since_us: time since the adapter's start, for faults that have one.
        """
        with self._lock:
            line = re.sub(r"[\x00-\x20]", "", text).upper() or self._last
            self._last = line
            if line.startswith("AT"):
                said = self.dialect.command(line[2:])
                return Said([(0.0, said)], blank=line in {"ATZ", "ATWS"})
            if not re.fullmatch("[0-9A-F]{2,15}|[0-9A-F]{16}", line) or int(len(line) / 2) > self._longest:
                return Said([(0.0, UNKNOWN)])
            return self._request(line, since_us)

    @property
    def _longest(self) -> int:
        """Bytes that a request may have: what one frame holds. Longer ones are never sent in pieces."""
        return 7 if self.settings.formatted else 8

    def restart(self) -> str:
        """As if power had failed and come back; gives the name that the adapter says then."""
        with self._lock:
            self.dialect.reset()
            return NAME

    def _request(self, line: str, since_us: int) -> Said:
        settings = self.settings
        count = int(line[-1], 16) if len(line) % 2 else None
        request = bytes.fromhex(line[: len(line) // 2 * 2])
        if self.can and not settings.formatted:
            # The sender frames by hand: the first byte says how many follow.
            request = request[1 : 1 + (request[0] & 0x0F)]
            if not request:
                return Said([(0.0, NO_DATA)], request=True)
        fault = self._faults.take(("car", "line"), since_us)
        kind = fault.kind if fault else ""
        if kind in _LINES:
            return Said([(0.0, _LINES[kind])], request=True)
        if kind == "garbage":
            return Said([(0.0, self._nonsense()) for _ in range(self._random.randint(1, 3))], request=True)
        messages = self._services.answer(request, self._addressed())
        said = Said(request=True, parameters=len(request) - 1 if request[0] == CURRENT else 0)
        if not self._connect(said, there=bool(messages)):
            return said
        if fault is not None:
            messages = spoiled(kind, request, messages, fault.seconds)
        said.lines += self._written(self._framed(messages[: count or None], fault))
        if kind == "buffer-full":
            said.lines.append((0.0, "BUFFER FULL"))
        return said

    def _connect(self, said: Said, *, there: bool) -> bool:
        """Finds the protocol where none is in use; says what an adapter says on the way. False: no car that way."""
        settings = self.settings
        if settings.found is not None:
            return True
        # A car that answers nothing at all, not even what it offers, is switched off.
        there = there or bool(self._services.answer(b"\x01\x00", None))
        right = settings.protocol in {0, self.protocol}
        if settings.automatic:
            said.lines.append((0.0, SEARCHING))
            right = True
        if right and there:
            settings.found = self.protocol
            if not self.can and not settings.automatic:
                said.lines.append((0.0, f"{BUS_INIT}OK"))
            return True
        if settings.automatic:
            said.lines.append((settings.timeout_s, NO_CAR))
        elif settings.protocol in {3, 4, 5}:
            said.lines.append((settings.timeout_s, f"{BUS_INIT}ERROR"))
        else:
            said.lines.append((settings.timeout_s, CAN_ERROR if settings.protocol >= _FIRST_CAN else NO_CAR))
        return False

    def _addressed(self) -> int | None:
        """The one unit that the header names, None for all of them, -1 for one that is not there."""
        header = self.settings.header
        if header is None or header in _EVERYBODY:
            return None
        if self.can and self.bits == 11:
            number = int(header, 16) - 0x7E0
            return number if 0 <= number < 8 else -1
        unit = int(header[-4:-2], 16) if len(header) >= 6 else -1
        return UNITS_29.index(unit) if unit in UNITS_29 else -1

    def _framed(self, messages: list[Message], fault: Fault | None) -> list[Frame]:
        if self.can:
            by_unit = [can_frames(message, self.bits, self.pad) for message in messages]
            if not self.settings.flow_control:
                by_unit = [frames[:1] for frames in by_unit]
            # A unit that asks for patience and its later answer do not share the bus at the same time.
            same = len({message.ecu for message in messages}) < len(messages)
            frames = [f for own in by_unit for f in own] if same else in_turn(by_unit)
        else:
            frames = [f for message in messages for f in kline_frames(message, self.protocol)]
        if fault is not None and fault.kind == "short-frame" and frames:
            frames[-1] = cut_short(frames[-1])
        return [frame for frame in frames if self._let_through(frame)]

    def _let_through(self, frame: Frame) -> bool:
        wanted = self.settings.receive
        if wanted is None or not self.can:
            return True
        return re.fullmatch(wanted.replace("X", "."), frame.header) is not None

    def _written(self, frames: list[Frame]) -> list[tuple[float, str]]:
        settings = self.settings
        if not settings.responses:
            return []
        if not frames:
            return [(settings.timeout_s, NO_DATA)]
        lines: list[tuple[float, str]] = []
        for frame in frames:
            if settings.headers:
                head = frame.header
                if settings.spaces and len(head) > 3:
                    head = " ".join(head[at : at + 2] for at in range(0, len(head), 2))
                lines.append((frame.after_s, self._spaced([head], frame.data)))
            elif self.can and not settings.formatted:
                lines.append((frame.after_s, self._spaced([], frame.data)))
            else:
                if frame.total is not None:
                    lines.append((0.0, self._spaced([f"{frame.total:03X}"], b"")))
                lines.append((frame.after_s, self._spaced([frame.lead] if frame.lead else [], frame.payload)))
        return lines

    def _spaced(self, head: list[str], data: bytes) -> str:
        words = [*head, *(f"{byte:02X}" for byte in data)]
        return "".join(f"{word} " for word in words) if self.settings.spaces else "".join(words)

    def _nonsense(self) -> str:
        letters = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ :?.<"
        return "".join(self._random.choice(letters) for _ in range(self._random.randint(3, 24)))
