"""Looking once: every speed of a serial port, the first reason when none works, the port given back."""

from __future__ import annotations

import threading

import pytest

from coach.sources.link.look import look
from coach.sources.link.port import BAUDS
from coach.sources.link.trouble import Failure
from tests.link.wired import CATALOGUE, Rig, table_car


def at(rig: Rig, url: str):
    return look(url, CATALOGUE, rig.clock, threading.Event(), opener=rig.open)


def test_a_serial_adapter_is_tried_at_each_of_the_usual_speeds() -> None:
    rig = Rig(table_car())
    real = rig.open

    def other_speed(url: str, baud: int):
        rig.faults.clear()
        if baud != 115_200:
            rig.faults.now("noise", None)
        return real(url, baud)

    rig.open = other_speed  # type: ignore[method-assign]
    found = at(rig, "/dev/ttyUSB0")
    assert (found.batch, found.baud) == (6, 115_200)
    assert rig.bauds == list(BAUDS[:2])


def test_when_no_speed_works_the_first_reason_stands() -> None:
    rig = Rig(table_car())
    rig.faults.now("silence", None)
    with pytest.raises(Failure) as caught:
        at(rig, "COM5")
    assert caught.value.code == "silent"
    assert rig.bauds == list(BAUDS)


def test_a_network_adapter_has_no_speed_and_a_port_that_is_not_there_is_not_tried_twice() -> None:
    rig = Rig(table_car())
    rig.faults.now("silence", None)
    with pytest.raises(Failure):
        at(rig, "socket://127.0.0.1:35000")
    gone = Rig(table_car(), plugged=False)
    with pytest.raises(Failure) as caught:
        at(gone, "/dev/rfcomm0")
    assert caught.value.code == "cannot_open"
    assert len(rig.bauds) == len(gone.bauds) == 1
