from __future__ import annotations

import json
import socket

import pytest

from coach.catalogue import default_catalogue
from coach.clock import US, HandClock
from coach.recording import from_pairs
from coach.sources.adapter import KINDS, AdapterServer, ControlLine, RecordingCar, TableCar
from tests.adapter.conftest import ANSWERS
from tests.adapter.peer import Peer


@pytest.fixture
def clock():
    return HandClock()


@pytest.fixture
def server(clock):
    pairs = [(k * US, "road_speed", 10.0 + k) for k in range(60)]
    with AdapterServer(RecordingCar(from_pairs(pairs), default_catalogue(), clock), clock=clock) as running:
        yield running


@pytest.fixture
def control(server):
    line = ControlLine(server)
    yield line
    line.stop()


def test_words_are_answered_line_by_line(control):
    """Over its own port, several lines at once or a line in pieces."""
    host, port = control.url.removeprefix("socket://").split(":")
    with socket.create_connection((host, int(port))) as line, line.makefile("rb") as answers:
        line.sendall(b"clear\r\nfault gremlin\nfau")
        assert answers.readline() == b"ok\n"
        assert answers.readline().startswith(b"no there is no fault 'gremlin'; there are: no-data")
        line.sendall(b"lt no-data\n")
        assert answers.readline() == b"ok\n"
        line.sendall(b"x" * 300)
        assert answers.readline().startswith(b"no ")


def test_faults_strike_from_now_on(clock, server, control):
    """Seconds count from the word, not from the adapter's start."""
    with Peer(server.url) as peer:
        peer.ready()
        clock.now_us += 100 * US
        assert control.say("fault no-data") == control.say("fault stopped@5x2") == "ok"
        assert peer.ask("010D") == b"NO DATA\r\r"
        assert peer.ask("010D").startswith(b"41 0D")
        clock.now_us += 5 * US
        assert [peer.ask("010D") for _ in range(2)] == [b"STOPPED\r\r"] * 2
        control.say("fault silencexall")
        control.say("clear")
        assert peer.ask("010D").startswith(b"41 0D")


def test_the_drive_begins_anew(clock, server, control):
    with Peer(server.url) as peer:
        peer.ready()
        assert peer.ask("010D") == b"41 0D 0A \r\r"
        clock.now_us += 6 * US
        assert peer.ask("010D") == b"41 0D 10 \r\r"
        assert control.say(" RESTART ") == "ok"
        assert peer.ask("010D") == b"41 0D 0A \r\r"


def test_a_car_without_a_drive_cannot_begin_anew():
    with AdapterServer(TableCar(ANSWERS), clock=HandClock()) as server:
        line = ControlLine(server)
        assert line.say("restart") == "no this car has no drive that could begin anew"
        line.stop()


def test_it_is_unplugged_and_plugged_in_again(server, control):
    """At the same address."""
    url = server.url
    assert control.say("unplug") == "ok"
    assert json.loads(control.say("status")[3:])["url"] is None
    with pytest.raises(OSError):
        Peer(url)
    assert control.say("plug") == f"ok {url}"
    with Peer(url) as peer:
        assert peer.ask("ATI") == b"ATI\rvirtual adapter 1\r\r"


def test_it_tells_what_it_knows(clock, server, control):
    """Status, kinds and words are JSON behind the ok."""
    clock.now_us += 1_500_000
    control.say("fault late@9")
    told = json.loads(control.say("status").removeprefix("ok "))
    assert told == {"url": server.url, "seconds": 1.5, "waiting": ["late"], "struck": {}}
    assert set(json.loads(control.say("faults")[3:])) == set(KINDS)
    assert "restart" in json.loads(control.say("help")[3:])


@pytest.mark.parametrize("line", ["", "clear now", "gremlin", "fault", "fault @3"])
def test_other_lines_get_a_sentence(control, line):
    assert control.say(line).startswith("no ")


def test_whoever_stays_silent_keeps_no_stop_waiting(server):
    """An open line that says nothing ends with the control line."""
    line = ControlLine(server)
    host, port = line.url.removeprefix("socket://").split(":")
    with socket.create_connection((host, int(port))) as silent, socket.create_connection((host, int(port))) as other:
        other.sendall(b"clear\n")
        assert other.recv(10) == b"ok\n"
        line.stop()
        assert silent.recv(10) == b""
