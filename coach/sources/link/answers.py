"""Lines of the adapter into checked answers: frames put together by `obd.protocols`, then nothing taken on trust."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from coach.sources.link.trouble import Failure, refusal

CAN = frozenset("6789")
"""Protocol numbers of CAN, as the adapter counts; parameters may be asked for together there."""

PROTOCOLS = {
    "1": ("SAE_J1850_PWM", "SAE J1850 PWM"),
    "2": ("SAE_J1850_VPW", "SAE J1850 VPW"),
    "3": ("ISO_9141_2", "ISO 9141-2 (K-line)"),
    "4": ("ISO_14230_4_5baud", "ISO 14230-4 (K-line, slow start)"),
    "5": ("ISO_14230_4_fast", "ISO 14230-4 (K-line, fast start)"),
    "6": ("ISO_15765_4_11bit_500k", "ISO 15765-4 (CAN, 11 bit, 500 kbit/s)"),
    "7": ("ISO_15765_4_29bit_500k", "ISO 15765-4 (CAN, 29 bit, 500 kbit/s)"),
    "8": ("ISO_15765_4_11bit_250k", "ISO 15765-4 (CAN, 11 bit, 250 kbit/s)"),
    "9": ("ISO_15765_4_29bit_250k", "ISO 15765-4 (CAN, 29 bit, 250 kbit/s)"),
}
"""Number to the class in `obd.protocols` and to words."""

# What an adapter says instead of an answer, as it says it; spaces are gone.
_SAID = (
    (re.compile(r"NODATA"), "no_data"),
    (re.compile(r"UNABLETOCONNECT"), "unable_to_connect"),
    (re.compile(r"STOPPED"), "stopped"),
    (re.compile(r"BUFFERFULL"), "buffer_full"),
    (re.compile(r"(?:BUSINIT:?\.*)?BUSBUSY"), "bus_busy"),
    (re.compile(r"(?:BUSINIT:?\.*)?(?:CAN|BUS|FB|ACK)?ERROR|.*(?:RX|DATA)ERROR|ERR\d+"), "bus_error"),
    (re.compile(r"ELM\d.*|LVRESET|LPALERT|ACTALERT"), "adapter_reset"),
    (re.compile(r"\?"), "not_understood"),
)  # fmt: skip
_NOISE = re.compile(r"SEARCHING\.*|BUSINIT:?\.*(?:OK)?")
_WHOLE_LINE = re.compile(r"(?:7E[89A-F]|18DAF1..)(?:0[1-7]|1[0-9A-F]{3}|2[0-9A-F])(?:[0-9A-F]{2}){1,7}")
_HEX = re.compile(r"[0-9A-F]+")


STRANGER = "of a control unit that is not the car's"
"""Detail of `foreign` where the one that answered was not there when the car was asked who it is."""


@dataclass(frozen=True, slots=True)
class Answer:
    """What one control unit said: `data` from the answer's mode byte on, as long as it declared."""

    ecu: int
    data: bytes


def said(line: str) -> Failure | None:
    """The failure that a line of the adapter stands for, or None when it is hex."""
    bare = line.replace(" ", "").upper()
    for pattern, code in _SAID:
        if pattern.fullmatch(bare):
            return Failure(code, re.sub(r"(?<=[A-Z:.])(ERROR|INIT|BUSY)", r" \1", line.strip()))
    return None if _HEX.fullmatch(bare) else Failure("garbage")


def cleaned(lines: Iterable[str]) -> list[str]:
    """Lines without spaces, without empty ones and without the adapter's progress ("SEARCHING...")."""
    kept = []
    for line in lines:
        bare = line.replace(" ", "").strip().upper()
        bare = re.sub(r"^(SEARCHING\.*|BUSINIT:?\.*OK)", "", bare)
        if bare and not _NOISE.fullmatch(bare):
            kept.append(bare)
    return kept


class Frames:
    """Puts frames together for one car. obd is imported here, not before: it brings the units along.

    Args:
        number: the protocol as the adapter counts, `6` for CAN 11 bit 500 kbit/s.
        first: the lines of the answer to 0100; they say who the engine is.

    Raises:
        Failure: the lines are no answer, or the protocol is not one of those.
    """

    def __init__(self, number: str, first: Sequence[str]) -> None:
        import obd.protocols

        if number not in PROTOCOLS:
            raise Failure("bus_error", f"protocol {number} is not one for cars")
        self.number = number
        self.can = number in CAN
        self._header = 3 if number in {"6", "8"} else 8 if self.can else 6
        self._padded: dict[int, bool] = {}
        self._protocol: Any = getattr(obd.protocols, PROTOCOLS[number][0])([])
        self.ecus: frozenset[int] = frozenset()
        self.late = False
        """Whether a control unit asked for time in the last answer, and the adapter did not wait for it."""
        answers = self.parse(first, 0x01)
        good = [a for a in answers if a.data[:2] == b"\x41\x00"]
        if not good:
            raise Failure("no_data")
        self.ecus = frozenset(a.ecu for a in good)
        self.engine = self._engine(good)

    def _engine(self, answers: list[Answer]) -> int:
        """The engine's control: the usual address, else the one that offers most."""
        usual = 0 if self._header == 3 else 0x10
        if usual in self.ecus:
            return usual
        return max(answers, key=lambda a: (int.from_bytes(a.data[2:], "big").bit_count(), -a.ecu)).ecu

    def parse(self, lines: Iterable[str], mode: int) -> list[Answer]:
        """Every control unit's answer to a request of `mode`.

        Lines that only ask for more time (7F xx 78) are dropped, and what came after them is kept.

        Raises:
            Failure: the adapter said something else, frames are missing or broken, an answer is shorter than it says.
        """
        said_lines = list(lines)
        if not said_lines:
            raise Failure("garbage")
        hexed = []
        asked_for_time: set[str] = set()
        for line in cleaned(said_lines):
            failure = said(line)
            if failure is not None:
                raise failure
            if self._pending(line, mode):
                asked_for_time.add(line[: self._header])
            else:
                hexed.append(line)
        self.late = bool(asked_for_time - {line[: self._header] for line in hexed})
        if not hexed:
            raise Failure("pending" if asked_for_time else "no_data")
        if self._somebody_elses(hexed, mode):
            raise Failure("other_tester")
        # Without CAN these codes come three a message, and nothing but the header says that they belong together.
        apart = not self.can and mode in {0x07, 0x0A}
        try:
            messages = [m for line in hexed for m in self._protocol([line])] if apart else self._protocol(hexed)
        except (IndexError, ValueError) as error:
            raise Failure("broken_frame") from error
        if sum(len(m.frames) for m in messages) != len(hexed):
            raise Failure("broken_frame")
        return [Answer(m.tx_id, self._whole(m)) for m in messages]

    def _somebody_elses(self, lines: list[str], mode: int) -> bool:
        """Whether there is an answer to `mode` and beside it one to a request that was never made."""
        starts: dict[str, set[str]] = {}
        ours, others = False, False
        for line in lines:
            header, body = line[: self._header], line[self._header :]
            if self.can:
                if not _WHOLE_LINE.fullmatch(line):
                    return False  # damaged: a fault of another kind
                if body[0] == "2":
                    continue
                body = body[2:] if body[0] == "0" else body[4:]
                starts.setdefault(header, set()).add(line)
            mine = body[:2] == f"{mode + 0x40:02X}" or body[:4] == f"7F{mode:02X}"
            ours, others = ours or mine, others or not mine
        return (ours and others) or any(len(some) > 1 for some in starts.values())

    def _pending(self, line: str, mode: int) -> bool:
        body = line[self._header :]
        if self.can:
            return body.startswith(f"037F{mode:02X}78")
        return body.startswith(f"7F{mode:02X}") and body[-4:-2] == "78"

    def _whole(self, message: Any) -> bytes:
        """The message's data, when all that it declared is there and no byte was lost on the way. Raises Failure."""
        data = bytes(message.data)
        if self.can:
            frames = message.frames
            declared = next(f.data_len for f in frames if f.data_len is not None)
            sizes = [len(f.data) for f in frames]
            last = declared + 1 if len(sizes) == 1 else (declared - 6 - 1) % 7 + 2
            if any(size != 8 for size in sizes[:-1]) or not last <= sizes[-1] <= 8:
                raise Failure("short")
            # A control unit fills its frames up to eight bytes or never does: a lost byte of filling moves the others.
            if last < 8 and self._padded.setdefault(message.tx_id, sizes[-1] == 8) != (sizes[-1] == 8):
                raise Failure("broken_frame")
            if last < sizes[-1] < 8:
                raise Failure("broken_frame")
        return data

    def engine_answer(self, answers: Sequence[Answer], mode: int) -> bytes:
        """What the engine's control said, from behind the mode byte on.

        Raises:
            Failure: it refused, it answered another mode, or only others answered.
        """
        return self.answer_of(answers, mode, self.engine)

    def answer_of(self, answers: Sequence[Answer], mode: int, ecu: int) -> bytes:
        """As `engine_answer`, of another control unit. Raises Failure."""
        mine = next((a.data for a in answers if a.ecu == ecu), None)
        if mine is None:
            known = self.ecus | {ecu}
            raise Failure("foreign", "" if all(a.ecu in known for a in answers) else STRANGER)
        return positive(mine, mode)

    def addressed(self, header: str) -> int | None:
        """The control unit that a header of a request means; None where this car's headers are of another kind."""
        if not self.can or (len(header) == 3) != (self._header == 3):
            return None
        return int(header, 16) & 7 if len(header) == 3 else int(header[-4:-2], 16)

    @property
    def everybody(self) -> str:
        """Header of requests to all control units on CAN."""
        return "7DF" if self._header == 3 else "DB33F1"

    @property
    def engine_header(self) -> str:
        """Header of requests to the engine's control on CAN."""
        return f"7E{self.engine:X}" if self._header == 3 else f"DA{self.engine:02X}F1"


def positive(data: bytes, mode: int) -> bytes:
    """What follows the mode byte of a positive answer to `mode`. Raises Failure."""
    if data[:1] == b"\x7f":
        if len(data) < 3 or data[1] != mode:
            raise Failure("wrong_mode")
        raise Failure("negative", refusal(data[2]))
    if not data or data[0] != mode + 0x40:
        raise Failure("wrong_mode")
    return data[1:]


def walk(data: bytes, lengths: Mapping[int, int], asked: Iterable[int]) -> dict[int, bytes]:
    """Splits the answer to a batch by parameter: `data` from behind the mode byte on.

    Parameters that the car left out are left out; order does not matter.

    Args:
        data: parameter, its bytes, parameter, its bytes, and so on.
        lengths: bytes of each parameter, as they were learned from its single answer.
        asked: what was asked for; anything else is refused.

    Raises:
        Failure: a parameter that was not asked for, one that comes twice, one that is cut off.
    """
    wanted = set(asked)
    found: dict[int, bytes] = {}
    at = 0
    while at < len(data):
        pid = data[at]
        if pid not in wanted or pid in found:
            raise Failure("wrong_parameter")
        end = at + 1 + lengths[pid]
        if end > len(data):
            raise Failure("short")
        found[pid] = data[at + 1 : end]
        at = end
    if not found:
        raise Failure("short")
    return found
