"""Messages cut into frames and written as lines: ISO-TP on CAN, header and checksum on a K-line.

Layouts from ISO 15765-2 and 15765-4, ISO 14230-2 and ISO 9141-2, all from memory; the tests hold them to an outside
parser.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import zip_longest

from coach.sources.adapter.services import Message

UNITS_29 = (0x10, 0x18, 0x28, 0x29, 0x2A, 0x2B, 0x2C, 0x40)
"""Addresses of the units with long headers and on a K-line; with short ones unit n answers as 7E8 + n."""

LONGEST = 0xFFF
"""Bytes that a message of several frames can have."""


@dataclass(frozen=True, slots=True)
class Frame:
    """One frame as it stands on the bus: header and data bytes; `payload` is what is left of it with headers off.

    `lead` is what a line without headers begins with: nothing, or the frame's number and a colon.
    """

    header: str
    data: bytes
    payload: bytes
    lead: str = ""
    after_s: float = 0.0
    total: int | None = None


def can_header(ecu: int, bits: int) -> str:
    """The header that a unit answers with: 7E8 and on, or 18DAF110 and on."""
    return f"{0x7E8 + ecu:03X}" if bits == 11 else f"18DAF1{UNITS_29[ecu]:02X}"


def can_frames(message: Message, bits: int, pad: int | None) -> list[Frame]:
    """The frames of one message: one, or a first frame and the consecutive ones.

    Args:
        message: at most 4095 bytes.
        bits: of the header, 11 or 29.
        pad: the byte that fills a frame up to eight, or None for frames as short as they can be.
    """
    header, payload = can_header(message.ecu, bits), message.payload[:LONGEST]

    def frame(pci: bytes, part: bytes, lead: str, after_s: float = 0.0, total: int | None = None) -> Frame:
        data = pci + part
        if pad is not None:
            data = data.ljust(8, bytes([pad]))
        # Without headers a single frame is cut to its length; of the others the padding stays.
        return Frame(header, data, data[len(pci) :] if lead else part, lead, after_s, total)

    if len(payload) <= 7:
        return [frame(bytes([len(payload)]), payload, "", message.after_s)]
    size = len(payload)
    frames = [frame(bytes([0x10 | size >> 8, size & 0xFF]), payload[:6], "0:", message.after_s, size)]
    for number, at in enumerate(range(6, size, 7), 1):
        frames.append(frame(bytes([0x20 | number & 0xF]), payload[at : at + 7], f"{number & 0xF:X}:"))
    return frames


def kline_frames(message: Message, protocol: int) -> list[Frame]:
    """The one frame of a K-line message: three bytes of header, data, the sum of all as a check."""
    unit = UNITS_29[message.ecu]
    head = bytes([0x48, 0x6B, unit]) if protocol == 3 else bytes([0x80 | len(message.payload), 0xF1, unit])
    check = sum(head + message.payload) & 0xFF
    return [Frame(head.hex().upper(), message.payload + bytes([check]), message.payload, "", message.after_s)]


def in_turn(frames: list[list[Frame]]) -> list[Frame]:
    """The frames of several units as they share the bus: the first of each, then the second of each, and so on."""
    return [frame for row in zip_longest(*frames) for frame in row if frame is not None]


def cut_short(frame: Frame) -> Frame:
    """The frame without its last two bytes; what it declares stays."""
    padding = len(frame.data) - len(frame.payload) - 1 if not frame.lead else 0
    keep = max(1, len(frame.data) - max(0, padding) - 2)
    return Frame(
        frame.header, frame.data[:keep], frame.payload[: max(0, len(frame.payload) - 2)], frame.lead, frame.after_s,
        frame.total,
    )  # fmt: skip
