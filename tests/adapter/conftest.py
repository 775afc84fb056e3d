"""An adapter with a car of fixed answers, spoken to without a server."""

from __future__ import annotations

from random import Random

import pytest

from coach.sources.adapter import Faults, Identity, TableCar
from coach.sources.adapter.speaking import Adapter

ANSWERS = {
    (0x01, 0x05): b"\x7b",
    (0x01, 0x0C): b"\x1a\xf8",
    (0x01, 0x0D): b"\x50",
    (0x01, 0x0B): b"\x63",
    (0x01, 0x11): b"\x2a",
    (0x01, 0x33): b"\x65",
    (0x01, 0x49): b"\x25",
    (0x01, 0xA6): bytes.fromhex("00018A88"),
    (0x02, 0x02): bytes.fromhex("0171"),
    (0x02, 0x0C): b"\x0c\x80",
    (0x22, 0xF40C): b"\x1a\xf8",
    (0x01, 0x0C, 1): b"\x1a\xf0",
    (0x01, 0x0D, 1): b"\x51",
    (0x22, 0x1234, 1): b"\x01\x02\x03\x04\x05\x06\x07",
}
IDENTITY = Identity(stored=("P0171", "P0300", "U0100", "C1234"), pending=("B0011",), permanent=())


class Talk:
    """Says lines to an adapter and gives the lines that it says."""

    def __init__(self, adapter, faults):
        self.adapter, self.faults = adapter, faults

    def __call__(self, text):
        return [line for _, line in self.said(text).lines]

    def said(self, text):
        return self.adapter.hear(text, 0)

    def set(self, *commands):
        for command in commands:
            assert self(command) == ["OK"], command
        return self


@pytest.fixture
def talk():
    """Makes a talk: `talk(ecus=2, protocol=7)`; linked already, unless `fresh`."""

    def make(*, ecus=1, protocol=6, fresh=False, pad=0xAA, car=None, seed=1):
        faults = Faults()
        car = car if car is not None else TableCar(ANSWERS, IDENTITY)
        adapter = Adapter(car, ecus=ecus, protocol=protocol, faults=faults, random=Random(seed), pad=pad)
        made = Talk(adapter, faults)
        if not fresh:
            made("0100")
        return made

    return make
