"""The link over real sockets and a real pty, with real time: few and short."""

from __future__ import annotations

import socket
import sys
import threading

import pytest

from coach.clock import US, Clock
from coach.sources.adapter import AdapterServer
from coach.sources.base import Back, Ended, Instant, Lost, SourceEvent
from coach.sources.link.source import LinkSource
from tests.link.wired import CATALOGUE, table_car

ASKED = {"engine_speed": 50.0, "road_speed": 50.0, "coolant_temp": 1.0}


class Ear:
    """Collects events; `seen` waits until something came."""

    def __init__(self) -> None:
        self.events: list[SourceEvent] = []
        self.change = threading.Condition()

    def emit(self, event: SourceEvent) -> None:
        with self.change:
            self.events.append(event)
            self.change.notify_all()

    def seen(self, kind: type, count: int = 1, seconds: float = 60.0) -> None:
        with self.change:
            assert self.change.wait_for(lambda: sum(isinstance(e, kind) for e in self.events) >= count, seconds)


def start(url: str) -> tuple[Ear, threading.Event, threading.Thread, LinkSource]:
    ear, stop = Ear(), threading.Event()
    source = LinkSource(url, asked_hz=ASKED, catalogue=CATALOGUE)
    thread = threading.Thread(target=source.run, args=(ear.emit, stop, Clock()), daemon=True)
    thread.start()
    return ear, stop, thread, source


def stopped(ear: Ear, stop: threading.Event, thread: threading.Thread) -> None:
    """Returns within a second."""
    clock = Clock()
    stop.set()
    begin_us = clock.steady_us()
    thread.join(60)
    assert not thread.is_alive()
    assert clock.steady_us() - begin_us < US
    assert ear.events[-1] == Ended("stopped")


NO_PTY = pytest.mark.skipif(sys.platform == "win32", reason="this system has no pseudo terminals")


@pytest.mark.parametrize("pty", [False, pytest.param(True, marks=NO_PTY)])
def test_a_drive_over_a_socket_and_a_pty(pty: bool) -> None:
    with AdapterServer(table_car(), pty=pty) as server:
        ear, stop, thread, source = start(server.url)
        ear.seen(Instant, 20)
        stopped(ear, stop, thread)
    assert source.found is not None
    assert source.found.batch == 6
    values = {k: v for e in ear.events if isinstance(e, Instant) for k, v in e.values.items()}
    assert values["engine_speed"] == 1726


def test_an_adapter_that_goes_and_comes_back_is_found_at_the_same_address() -> None:
    with AdapterServer(table_car()) as server:
        ear, stop, thread, source = start(server.url)
        ear.seen(Instant, 5)
        server.unplug()
        ear.seen(Lost)
        server.start()
        ear.seen(Back)
        stopped(ear, stop, thread)
    assert source.troubles[0].code in {"disconnected", "cannot_open", "silent"}


def test_it_stops_within_a_second_at_a_peer_that_takes_the_connection_and_says_nothing() -> None:
    listening = socket.create_server(("127.0.0.1", 0))
    try:
        ear, stop, thread, _ = start(f"socket://127.0.0.1:{listening.getsockname()[1]}")
        taken, _ = listening.accept()
        taken.recv(4)
        stopped(ear, stop, thread)
        taken.close()
    finally:
        listening.close()
