"""Opening: addresses, what the system says in plain words, and peers that never answer."""

from __future__ import annotations

import threading
import time

import pytest

from coach.clock import Clock, HandClock
from coach.errors import BadInput
from coach.sources.link.port import check_url, open_serial, open_wire
from coach.sources.link.talk import Talk
from coach.sources.link.trouble import Failure, Stopped
from coach.sources.link.wire import Wire


@pytest.mark.parametrize("url", ["/dev/rfcomm0", "/dev/ttyUSB0", "COM5", "socket://192.168.0.10:35000"])
def test_addresses_of_adapters_are_taken(url: str) -> None:
    assert check_url(url) == url


@pytest.mark.parametrize("url", ["", " ", "socket://:1", "socket://h", "socket://h:x", "http://h:80", "a b", "x\r"])
def test_other_addresses_are_refused_with_what_would_be_right(url: str) -> None:
    with pytest.raises(BadInput, match="adapter's address"):
        check_url(url)


@pytest.mark.parametrize(
    ("error", "words"),
    [
        (OSError("could not open port /dev/x: [Errno 2] No such file or directory: '/dev/x'"), "there is no such port"),
        (OSError(111, "Connection refused"), "nothing listens there"),
        (PermissionError(13, "Permission denied"), "may not open"),
        (OSError("timed out"), "does not answer in time"),
        (OSError(113, "No route to host"), "no way to it"),
        (OSError(16, "Device or resource busy"), "another program"),
        (OSError("Could not configure port: (25, 'Inappropriate ioctl for device')"), "it is no serial port"),
        (OSError(21, "Is a directory"), "it is no serial port"),
        (OSError("could not open port 'COM5': PermissionError(13, 'Access is denied.', None, 5)"), "another program"),
        (
            OSError("could not open port 'COM5': OSError(22, 'The semaphore timeout period has expired.', None, 121)"),
            "it does not answer in time",
        ),
        (ValueError("odd"), "odd"),
    ],
)
def test_what_the_system_says_is_said_plainly(error: Exception, words: str) -> None:
    def opener(url: str, baud: int) -> object:
        raise error

    with pytest.raises(Failure, match=words) as caught:
        open_wire("COM5", 38_400, HandClock(), threading.Event(), opener)  # type: ignore[arg-type]
    assert caught.value.code == "cannot_open"
    assert "Errno" not in str(caught.value)


class Slow:
    """Opens only when it is let to; remembers what became of its port."""

    def __init__(self) -> None:
        self.go = threading.Event()
        self.closed = threading.Event()
        self.timeout: float | None = None

    def __call__(self, url: str, baud: int) -> Slow:
        self.go.wait(60)
        return self

    def read(self, size: int = 1) -> bytes:
        return b""

    def write(self, data: bytes) -> int:
        return len(data)

    def close(self) -> None:
        self.closed.set()


def test_a_peer_that_never_answers_is_given_up_and_closed_when_it_opens_after_all() -> None:
    slow = Slow()
    with pytest.raises(Failure, match="in time"):
        open_wire("COM5", 38_400, Clock(), threading.Event(), slow, seconds=0.05)
    slow.go.set()
    assert slow.closed.wait(60)


def test_opening_is_stopped_at_once() -> None:
    slow, stop = Slow(), threading.Event()
    threading.Timer(0.05, stop.set).start()
    with pytest.raises(Stopped):
        open_wire("COM5", 38_400, Clock(), stop, slow)
    slow.go.set()
    assert slow.closed.wait(60)


def test_a_port_that_is_not_there_is_an_error_of_the_systems() -> None:
    with pytest.raises(OSError, match=r"No such file|could not open"):
        open_serial("/dev/there-is-no-such-port", 38_400)


class Babble(Slow):
    """Sends more and more, and never a prompt."""

    def read(self, size: int = 1) -> bytes:
        time.sleep(0)
        return b"A" * min(size, 1000)


def test_an_adapter_that_babbles_is_cut_off() -> None:
    clock = HandClock()
    babble = Babble()
    real = babble.read

    def read(size: int = 1) -> bytes:
        clock.now_us += 1000
        return real(size)

    babble.read = read  # type: ignore[method-assign]
    with pytest.raises(Failure) as caught:
        Talk(Wire(babble), clock, threading.Event()).ask("ATI", 1000.0)
    assert caught.value.code == "no_prompt"
