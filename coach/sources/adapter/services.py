"""The control units: a request's bytes in, messages out. They only ever read; every other mode is turned down."""

from __future__ import annotations

from dataclasses import dataclass, replace

from coach.sources.adapter.car import (
    CURRENT,
    EXTENDED,
    FREEZE,
    IDENTITY,
    ITEM_BYTES,
    PENDING,
    PERMANENT,
    STORED,
    Car,
)

MOST_PARAMETERS = 6
"""In one request of mode 01 on CAN (ISO 15765-4, from memory)."""

NEGATIVE, ANSWERED = 0x7F, 0x40
NOT_SUPPORTED, NOT_UNDERSTOOD, OUT_OF_RANGE, STILL_PENDING = 0x11, 0x12, 0x31, 0x78
"""Response codes of ISO 14229-1, from memory."""

READ_MODES = frozenset({CURRENT, FREEZE, STORED, PENDING, IDENTITY, PERMANENT, EXTENDED})
BITMAPS = frozenset(range(0x00, 0x100, 0x20))


@dataclass(frozen=True, slots=True)
class Message:
    """What one unit sends: mode and all. `after_s` is how much later than the one before it comes."""

    ecu: int
    payload: bytes
    after_s: float = 0.0


def bitmap(offered: frozenset[int], base: int) -> bytes:
    """Four bytes for the parameters `base` + 1 to `base` + 32; the last bit tells that a further bitmap follows."""
    bits = sum(1 << (base + 32 - pid) for pid in offered - BITMAPS if base < pid < base + 32)
    return (bits | any(pid > base + 32 for pid in offered)).to_bytes(4, "big")


class Services:
    """Answers requests for all units of a car.

    Args:
        car: what they know.
        ecus: how many units there are.
        can: whether they sit on CAN; else on a K-line, with one parameter a request and seven bytes a message.
        batch: the most parameters that they take in a request of mode 01; more get no answer.
    """

    def __init__(self, car: Car, ecus: int, *, can: bool, batch: int = MOST_PARAMETERS) -> None:
        self.car, self.ecus, self.can = car, ecus, can
        self._most = batch if can else 1

    def answer(self, request: bytes, only: int | None) -> list[Message]:
        """The messages of every unit, in order.

        Args:
            request: mode and what follows.
            only: the unit addressed, or None for all. One that is addressed alone says so when it has no answer.
        """
        units = range(self.ecus) if only is None else [only] if 0 <= only < self.ecus else []
        return [message for ecu in units for message in self._of(request, ecu, alone=only is not None)]

    def _of(self, request: bytes, ecu: int, *, alone: bool) -> list[Message]:
        mode, rest = request[0], request[1:]
        if mode not in READ_MODES:
            return [self._negative(ecu, mode, NOT_SUPPORTED)]
        if mode == EXTENDED:
            return self._extended(rest, ecu, alone=alone)
        if mode in {STORED, PENDING, PERMANENT}:
            payloads = self._codes(mode, ecu) if not rest else []
        elif mode == IDENTITY:
            payloads = self._identity(rest, ecu)
        else:
            payloads = self._values(mode, rest, ecu)
        if not payloads and alone:
            return [self._negative(ecu, mode, NOT_UNDERSTOOD)]
        return [Message(ecu, payload) for payload in payloads]

    def _negative(self, ecu: int, mode: int, code: int) -> Message:
        return Message(ecu, bytes([NEGATIVE, mode, code]))

    def _data(self, mode: int, pid: int, ecu: int) -> bytes | None:
        if pid in BITMAPS:
            offered = self.car.offers(mode, ecu)
            # A unit that answers anything has the first bitmap; a further one only where there is something in it.
            return bitmap(offered, pid) if any(p > pid for p in offered) else None
        return self.car.answer(mode, pid, ecu)

    def _values(self, mode: int, rest: bytes, ecu: int) -> list[bytes]:
        """Modes 01 and 02: what a unit lacks is left out. In mode 02 each parameter has a frame number."""
        width = 2 if mode == FREEZE else 1
        most = width * max(1, self._most // width)
        if not rest or len(rest) > most or len(rest) % width:
            return []
        payload = b""
        for at in range(0, len(rest), width):
            asked = rest[at : at + width]
            data = self._data(mode, asked[0], ecu) if asked[1:] in {b"", b"\0"} else None
            if data is not None:
                payload += asked + data
        return [bytes([mode + ANSWERED]) + payload] if payload else []

    def _codes(self, mode: int, ecu: int) -> list[bytes]:
        codes = self.car.answer(mode, 0, ecu)
        head = bytes([mode + ANSWERED])
        if codes is None:
            return []
        if self.can:
            return [head + bytes([len(codes) // 2]) + codes]
        return [head + codes[at : at + 6].ljust(6, b"\0") for at in range(0, max(1, len(codes)), 6)]

    def _identity(self, rest: bytes, ecu: int) -> list[bytes]:
        """Mode 09: an item count on CAN; numbered messages of four bytes on a K-line."""
        if len(rest) != 1:
            return []
        head, data = bytes([IDENTITY + ANSWERED, rest[0]]), self._data(IDENTITY, rest[0], ecu)
        if data is None:
            return []
        if not self.can:
            padded = data.rjust((len(data) + 3) // 4 * 4, b"\0")
            return [head + bytes([at // 4 + 1]) + padded[at : at + 4] for at in range(0, len(padded), 4)]
        if rest[0] in BITMAPS:
            return [head + data]
        return [head + bytes([len(data) // ITEM_BYTES.get(rest[0], len(data) or 1)]) + data]

    def _extended(self, rest: bytes, ecu: int, *, alone: bool) -> list[Message]:
        """Mode 22: one identifier of two bytes. Asked of all, only the engine's unit turns an unknown one down."""
        data = self.car.answer(EXTENDED, int.from_bytes(rest, "big"), ecu) if len(rest) == 2 else None
        if data is not None:
            return [Message(ecu, bytes([EXTENDED + ANSWERED]) + rest + data)]
        return [self._negative(ecu, EXTENDED, OUT_OF_RANGE)] if alone or ecu == 0 else []


def spoiled(kind: str, request: bytes, messages: list[Message], seconds: float) -> list[Message]:
    """What the units send with a fault of the level `car` ; other kinds leave it as it is."""
    mode = request[0]
    if kind == "negative":
        return [Message(0, bytes([NEGATIVE, mode, NOT_UNDERSTOOD]))]
    if not messages:
        return messages
    first = messages[0]
    if kind == "only-pending":
        return [Message(first.ecu, bytes([NEGATIVE, mode, STILL_PENDING])), *messages[1:]]
    if kind == "pending":
        waiting = Message(first.ecu, bytes([NEGATIVE, mode, STILL_PENDING]))
        return [waiting, replace(first, after_s=seconds), *messages[1:]]
    if kind == "short-answer":
        return [replace(m, payload=m.payload[: max(1, len(m.payload) - 1)]) for m in messages]
    if kind == "wrong-parameter":
        return [
            replace(m, payload=bytes([*m.payload[:1], *(b ^ 1 for b in m.payload[1:2]), *m.payload[2:]]))
            for m in messages
        ]
    if kind == "other-tester":
        # Identification of the maker, as a workshop's tester asks for it (identifier F190: the vehicle's number).
        return [first, Message(first.ecu, bytes([EXTENDED + ANSWERED, 0xF1, 0x90, 0x58])), *messages[1:]]
    if kind == "foreign":
        head = 3 if mode in {FREEZE, EXTENDED} else 2
        return [Message(7, first.payload[:head] + bytes(b ^ 0xFF for b in first.payload[head:]))]
    return messages
