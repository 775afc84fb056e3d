"""A link on the virtual adapter without sockets, threads or waiting: a hand clock moves when somebody reads."""

from __future__ import annotations

import threading
from dataclasses import dataclass, field
from random import Random
from typing import Any

from coach.catalogue import default_catalogue
from coach.clock import US, HandClock
from coach.sources.adapter import Car, Faults, Identity, TableCar
from coach.sources.adapter.server import PROTOCOL_OF
from coach.sources.adapter.session import spoiled_bytes
from coach.sources.adapter.speaking import Adapter, Said
from coach.sources.link.session import Session

CATALOGUE = default_catalogue()
URL = "socket://127.0.0.1:35000"
KNOCK_AND_WASTEGATE = """
[signals.knock_retard]
identifier = "203C"
length = 2
value = "s16(0) * 0.1"
unit = "deg"
min = "-12 deg"
max = "6 deg"
[signals.wastegate_duty]
identifier = "1074"
length = 1
scale = 0.392156863
unit = "%"
min = "0 %"
max = "100 %"
"""
"""Two signals of a maker, as a vehicle file has them."""


def table_car(**more: Any) -> TableCar:
    """An engine at 1726 rpm, 80 km/h, warm, with what most cars have."""
    answers: dict[tuple[int, ...], bytes] = {
        (1, 0x01): bytes.fromhex("00076100"), (1, 0x03): bytes.fromhex("0200"), (1, 0x04): b"\x80",
        (1, 0x05): bytes([90 + 40]), (1, 0x0B): b"\x60", (1, 0x0C): bytes.fromhex("1AF8"), (1, 0x0D): b"\x50",
        (1, 0x0E): b"\x90", (1, 0x0F): bytes([25 + 40]), (1, 0x10): bytes.fromhex("1AF8"), (1, 0x11): b"\x33",
        (1, 0x1C): b"\x06", (1, 0x24): bytes.fromhex("80007C40"), (1, 0x33): b"\x65", (1, 0x42): bytes.fromhex("36B0"),
        (1, 0x44): bytes.fromhex("8000"), (1, 0x49): b"\x40", (1, 0x62): b"\x9B", (1, 0xA6): bytes.fromhex("00010000"),
    }  # fmt: skip
    answers.update(more.pop("answers", {}))
    return TableCar(answers, **more)


@dataclass
class Rig:
    """An adapter with a car, and ports to it. `plugged` False: nothing can be opened, what is open breaks."""

    car: Car
    clock: HandClock = field(default_factory=HandClock)
    faults: Faults = field(default_factory=Faults)
    latency_s: float = 0.04
    ecus: int = 1
    bits: int = 11
    bus: str = "can"
    pad: int | None = 0xAA
    plugged: bool = True
    opened: int = 0
    heard: list[str] = field(default_factory=list)
    bauds: list[int] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.adapter = Adapter(
            self.car, ecus=self.ecus, protocol=PROTOCOL_OF[self.bus, self.bits], faults=self.faults, random=Random(1),
            pad=self.pad,
        )  # fmt: skip

    def open(self, url: str, baud: int) -> RigPort:
        """Opens a port, as `port.open_serial` does."""
        self.bauds.append(baud)
        self.clock.now_us += 1_000
        if not self.plugged or self.faults.take_again("disconnect"):
            raise OSError(111, "Connection refused")
        self.opened += 1
        return RigPort(self, self.opened)

    def session(self, stop: threading.Event | None = None) -> Session:
        """A session that is set up."""
        return Session.open(URL, 38_400, self.clock, stop or threading.Event(), opener=self.open)


@dataclass
class RigPort:
    """One connection; a newer one ends it."""

    rig: Rig
    number: int
    timeout: float | None = 0.0
    dead: bool = False
    closed: bool = False
    coming: list[tuple[int, bytes]] = field(default_factory=list)
    half: bytes = b""

    def write(self, data: bytes) -> int:
        if self.dead or not self.rig.plugged:
            raise OSError(5, "Input/output error")
        *lines, self.half = (self.half + data).split(b"\r")
        for line in lines:
            self.rig.heard.append(line.decode())
            self._serve(line)
        return len(data)

    def _serve(self, line: bytes) -> None:
        rig = self.rig
        now_us = rig.clock.now_us
        if self.coming and self.coming[-1][0] > now_us and not getattr(self, "stuck", False):
            # Something comes in while it listens to the car: it stops.
            self.coming = [c for c in self.coming if c[0] <= now_us] + [(now_us, b"STOPPED\r\r>")]
            return
        fault = rig.faults.take(("wire",), now_us)
        kind = fault.kind if fault else ""
        end = b"\r"
        echo = line + end if rig.adapter.settings.echo else b""
        said = rig.adapter.hear(line.decode("ascii", "replace"), now_us)
        if kind == "silence":
            return
        if kind == "disconnect":
            self.dead = True
            return
        if kind == "reset":
            said = Said([(0.0, rig.adapter.restart())], blank=True)
        at_us = now_us + round(rig.latency_s * US)
        pieces = [(now_us, echo)] if echo else []
        for after_s, text in said.lines:
            at_us += round(after_s * US)
            pieces.append((at_us, text.encode() + end))
        pieces.append((at_us, end + b">"))
        if fault is not None and kind != "reset":
            whole = b"".join(part for _, part in pieces)
            late_us = round(fault.seconds * US) if kind == "late" else 0
            step_us = round(fault.seconds * US) if kind == "split" else 0
            parts = spoiled_bytes(kind, whole, Random(now_us))
            pieces = [(at_us + late_us + n * step_us, part) for n, part in enumerate(parts)]
        self.coming += pieces

    def read(self, size: int = 1) -> bytes:
        clock = self.rig.clock
        until_us = clock.now_us + round((self.timeout or 0) * US)
        if self.dead or not self.rig.plugged:
            raise OSError(5, "Input/output error")
        if self.coming and self.coming[0][0] <= until_us:
            clock.now_us = max(clock.now_us, self.coming[0][0])
            data = b""
            while self.coming and self.coming[0][0] <= clock.now_us and len(data) < size:
                at_us, part = self.coming.pop(0)
                data += part
                if len(data) > size:
                    self.coming.insert(0, (at_us, data[size:]))
                    data = data[:size]
            return data
        clock.now_us = until_us
        return b""

    def close(self) -> None:
        self.closed = True


def identity(**more: Any) -> Identity:
    """An identity with some of its parts replaced."""
    return Identity(**more)
