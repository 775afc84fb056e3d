"""Opening a port by its address, in a thread of its own, so that nobody waits for a peer that never answers."""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable
from typing import Any

from coach.clock import US, Clock
from coach.errors import BadInput
from coach.sources.link.trouble import Failure, Stopped
from coach.sources.link.wire import BROKEN, SerialPort, Wire, short

BAUDS = (38_400, 115_200, 9_600)
"""Speeds of serial adapters, the most common first (common practice, no source); radio and network have none."""
OPEN_S = 6.0
"""How long opening may take; over Bluetooth it takes seconds."""
SOCKET_OPEN_S = 2.0
"""On a network: a connection that hangs because the adapter was away would not notice its return for longer."""

Opener = Callable[[str, int], SerialPort]


def open_serial(url: str, baud: int) -> SerialPort:
    """The port at an address of pyserial's. Raises OSError, ValueError."""
    import serial

    port: Any = serial.serial_for_url(url, do_not_open=True, baudrate=baud, timeout=0, write_timeout=0.5)
    if not url.startswith(("socket://", "rfc2217://")):
        port.exclusive = None if not hasattr(port, "exclusive") else True
    port.open()
    found: SerialPort = port
    return found


def check_url(url: str) -> str:
    """The address as it was given. Raises BadInput when it cannot be one."""
    if not url.strip() or any(c.isspace() or not c.isprintable() for c in url):
        raise BadInput("an adapter's address is a port such as /dev/rfcomm0, /dev/ttyUSB0 or COM5, or socket://HOST:PORT",
                       where=repr(url)[:60])  # fmt: skip
    scheme, colon, rest = url.partition("://")
    if colon:
        host, _, number = rest.rpartition(":")
        if scheme != "socket" or not host or not number.isdigit() or not 0 < int(number) < 65_536:
            raise BadInput("a network adapter's address is socket://HOST:PORT, such as socket://192.168.0.10:35000",
                           where=url[:80])  # fmt: skip
    return url


def open_wire(
    url: str,
    baud: int,
    clock: Clock,
    stop: threading.Event,
    opener: Opener = open_serial,
    seconds: float | None = None,
) -> Wire:
    """An open wire.

    Raises:
        Failure: `cannot_open`, with what the system said.
        Stopped: somebody wants to stop; a port that opens later is closed again.
    """
    most_s = seconds if seconds is not None else SOCKET_OPEN_S if url.startswith("socket://") else OPEN_S
    box: queue.SimpleQueue[SerialPort | Exception] = queue.SimpleQueue()
    given_up = threading.Event()

    def work() -> None:
        try:
            port = opener(url, baud)
        except BROKEN as error:
            box.put(error)  # type: ignore[arg-type]  # one of BROKEN, which the checker cannot see
            return
        if given_up.is_set():
            Wire(port).close()
        else:
            box.put(port)

    threading.Thread(target=work, name="link-open", daemon=True).start()
    start_us = clock.steady_us()
    found = None
    while found is None:
        try:
            found = box.get(timeout=0.02)
        except queue.Empty:
            if stop.is_set():
                given_up.set()
                raise Stopped from None
            if clock.steady_us() - start_us > most_s * US:
                given_up.set()
                raise Failure("cannot_open", "it does not answer in time", where=url) from None
    if isinstance(found, Exception):
        raise Failure("cannot_open", _plain(found), where=url) from found
    return Wire(found)


def _plain(error: BaseException) -> str:
    text = short(error)
    for known, words in (
        ("refused", "nothing listens there"),
        ("No such file", "there is no such port"),
        ("FileNotFound", "there is no such port"),
        # Windows says it so when the port is taken (from memory; not tried).
        ("Access is denied", "another program uses the port"),
        ("Permission", "this user may not open the port"),
        ("semaphore timeout", "it does not answer in time"),
        ("timed out", "it does not answer in time"),
        ("No route", "there is no way to it; is this machine in the adapter's Wi-Fi?"),
        ("unreachable", "there is no way to it; is this machine in the adapter's Wi-Fi?"),
        ("getaddrinfo", "nobody knows that name"),
        ("not known", "nobody knows that name"),
        ("Host is down", "the Bluetooth adapter is not in reach"),
        ("Inappropriate ioctl", "it is no serial port"),
        ("Is a directory", "it is no serial port"),
        ("busy", "another program uses the port"),
        ("exclusively lock", "another program uses the port"),
    ):
        if known in text:
            return words
    return text
