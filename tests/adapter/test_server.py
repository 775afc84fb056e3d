from __future__ import annotations

import os
import socket
import sys
import threading
from itertools import pairwise

import pytest

from coach.clock import HandClock
from coach.errors import BadInput
from coach.sources.adapter import AdapterServer, Faults, TableCar
from tests.adapter.conftest import ANSWERS, IDENTITY
from tests.adapter.peer import Peer

KINDS = ["socket", pytest.param("pty", marks=pytest.mark.skipif(sys.platform == "win32", reason="it has no ptys"))]


def car():
    return TableCar(ANSWERS, IDENTITY)


def serve(**more):
    return AdapterServer(car(), clock=HandClock(), **more)


@pytest.fixture(params=KINDS)
def server(request):
    with serve(pty=request.param == "pty") as running:
        yield running


def test_echo_ends_of_line_blanks_and_prompt(server):
    """To the byte, as the common dialect writes them (from memory)."""
    with Peer(server.url) as peer:
        assert peer.ask("ATZ") == b"ATZ\r\rvirtual adapter 1\r\r"
        assert peer.ask("ATE0") == b"ATE0\rOK\r\r"
        assert peer.ask("0100") == b"SEARCHING...\r41 00 08 38 80 01 \r\r"
        assert peer.ask("010C") == b"41 0C 1A F8 \r\r"
        assert peer.ask("") == b"41 0C 1A F8 \r\r"
        assert peer.ask("ATS0") == b"OK\r\r"
        assert peer.ask("010C") == b"410C1AF8\r\r"
        assert peer.ask("ATL1") == b"OK\r\r"
        assert peer.ask("010C") == b"410C1AF8\r\n\r\n"
        assert peer.ask("ATE1") == b"OK\r\n\r\n"
        assert peer.ask("010C") == b"010C\r\n410C1AF8\r\n\r\n"


def test_settings_outlive_a_client(server):
    """A client that goes and comes back finds the adapter as it left it, as on a real one."""
    with Peer(server.url) as peer:
        peer.ready()
        peer.ask("ATS0")
    with Peer(server.url) as peer:
        assert peer.ask("010C") == b"410C1AF8\r\r"


def test_unplugged_it_is_gone_and_forgets(server):
    """Without supply the line breaks; plugged in again it is at the same place with its own settings."""
    url = server.url
    with Peer(url) as peer:
        peer.ready()
        server.unplug()
        with pytest.raises(ConnectionError):
            peer.until_broken()
    with pytest.raises(OSError):
        Peer(url)
    assert server.start() == url
    with Peer(url) as peer:
        assert peer.ask("ATI") == b"ATI\rvirtual adapter 1\r\r"


def test_starting_and_stopping_twice_does_no_harm(server):
    """The second start gives the same address; the second stop finds nothing to do."""
    assert server.start() == server.url
    server.stop()
    server.stop()


def test_bytes_that_arrive_meanwhile_stop_a_request():
    """A request on its way is given up when something is sent; what was sent is dropped (from memory)."""
    clock = HandClock()
    waiting, go_on = threading.Event(), threading.Event()

    def wait(event, seconds):
        waiting.set()
        assert go_on.wait(60)
        assert event.wait(60)
        return True

    with AdapterServer(car(), latency_s=0.04, clock=clock) as server, Peer(server.url) as peer:
        peer.ready()
        clock.wait = wait
        peer.send(b"010C\r")
        assert waiting.wait(60)
        del clock.wait
        peer.send(b"x")
        go_on.set()
        assert peer.read() == b"STOPPED\r\r"
        assert peer.ask("010C") == b"41 0C 1A F8 \r\r"


def test_latency_and_jitter_are_what_was_asked_and_the_same_each_time():
    """Each answer takes latency give or take jitter; the same seed gives the same times."""

    def times(seed):
        clock = HandClock()
        running = AdapterServer(car(), latency_s=0.04, jitter_s=0.01, seed=seed, clock=clock)
        with running as server, Peer(server.url) as peer:
            peer.ready()
            stamps = [clock.now_us]
            for _ in range(60):
                peer.ask("010C")
                stamps.append(clock.now_us)
        return [later - sooner for sooner, later in pairwise(stamps)]

    first = times(7)
    assert 30_000 <= min(first) < 35_000
    assert 45_000 < max(first) <= 50_000
    assert times(7) == first != times(8)


def test_each_parameter_may_take_longer_and_batches_be_small():
    """A car that takes two a request, and 3 ms for each."""
    clock = HandClock()
    with AdapterServer(car(), latency_s=0.04, each_s=0.003, batch=2, clock=clock) as server, Peer(server.url) as peer:
        peer.ready()
        before_us = clock.now_us
        assert peer.ask("010C0D") == b"41 0C 1A F8 0D 50 \r\r"
        assert clock.now_us - before_us == 46_000
        assert peer.ask("010C0D11") == b"NO DATA\r\r"


def test_k_line_is_slow():
    """About five requests a second at 40 ms."""
    clock = HandClock()
    with AdapterServer(car(), bus="k-line", latency_s=0.04, clock=clock) as server, Peer(server.url) as peer:
        peer.ready()
        before_us = clock.now_us
        assert peer.ask("010C") == b"41 0C 1A F8 \r\r"
        assert clock.now_us - before_us == 190_000


def test_two_units_and_long_headers():
    """One answer of each unit, under its own header."""
    with serve(ecus=2, bits=29, pad=None) as server, Peer(server.url) as peer:
        peer.ready()
        peer.ask("ATH1")
        assert peer.ask("010C") == b"18 DA F1 10 04 41 0C 1A F8 \r18 DA F1 18 04 41 0C 1A F0 \r\r"


def test_the_newest_client_is_served():
    """One line, one listener: a second client ends the first one's connection."""
    with serve() as server, Peer(server.url) as old:
        old.ask("ATE0")
        with Peer(server.url) as new:
            assert new.ask("ATI") == b"virtual adapter 1\r\r"
            with pytest.raises(ConnectionError):
                old.until_broken()


def test_a_line_without_end_is_cut():
    """Somebody who never ends a line gets a question mark, not an adapter that fills its memory."""
    with serve() as server, Peer(server.url) as peer:
        peer.ask("ATE0")
        peer.send(b"0" * 300)
        assert peer.read() == b"?\r\r"


def test_a_client_that_leaves_in_the_middle_is_no_trouble():
    """It hangs up behind a request without reading; the next one is served."""
    with serve() as server:
        for _ in range(5):
            host, port = server.url.removeprefix("socket://").split(":")
            with socket.create_connection((host, int(port))) as gone:
                gone.sendall(b"010C\r" * 20)
        with Peer(server.url) as peer:
            peer.ask("ATZ")
            assert peer.ask("ATI") == b"ATI\rvirtual adapter 1\r\r"


@pytest.mark.skipif(sys.platform == "win32", reason="it has no ptys")
def test_a_pty_that_nobody_reads_does_not_hang():
    """What does not fit is lost, as on a serial line; a stop returns."""
    with serve(pty=True) as server:
        handle = os.open(server.url, os.O_RDWR | os.O_NOCTTY)
        for _ in range(2_000):
            os.write(handle, b"ATI\r")
        os.close(handle)


@pytest.mark.parametrize(
    "wrong",
    [
        {"ecus": 3},
        {"bits": 12},
        {"bus": "rs232"},
        {"latency_s": -1.0},
        {"jitter_s": float("nan")},
        {"batch": 7},
        {"each_s": -1},
    ],
)
def test_numbers_that_make_no_sense_are_refused(wrong):
    with pytest.raises(BadInput):
        AdapterServer(car(), **wrong)


def test_a_port_that_is_taken_is_named():
    """One sentence, with the address."""
    with serve() as server:
        port = int(server.url.rsplit(":", 1)[1])
        with pytest.raises(BadInput, match=rf"127\.0\.0\.1:{port}: the port cannot be had"):
            serve(port=port).start()


def test_a_stop_ends_every_wait():
    """Whatever the adapter is waiting for, and however long that would take, a stop returns."""
    faults = Faults()
    with AdapterServer(car(), faults=faults, latency_s=60.0) as server, Peer(server.url) as peer:
        peer.send(b"ATI\r")
        server.unplug()
        server.start()
    for kind in ("late", "split"):
        with AdapterServer(car(), faults=faults) as server, Peer(server.url) as peer:
            peer.ready()
            faults.now(kind, seconds=3_600)
            peer.send(b"010C\r")
            while not faults.struck[kind]:
                pass
