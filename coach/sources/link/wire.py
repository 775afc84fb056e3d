"""The one place that writes to the adapter. What is not on its short list is refused before a byte is sent."""

from __future__ import annotations

import re
import threading
from typing import Any, Protocol

from coach.errors import BadInput
from coach.sources.link.trouble import Failure

MODES = frozenset({0x01, 0x02, 0x03, 0x06, 0x07, 0x09, 0x0A, 0x22})
"""Modes that only read. 04 clears codes, 05 and 08 act, everything above but 22 belongs to workshops."""

MOST_BYTES = 7
"""A request is one frame."""

_LENGTHS = {0x01: range(2, 8), 0x02: range(3, 4), 0x06: range(2, 3), 0x09: range(2, 3), 0x22: range(3, 8, 2)}
"""Bytes of a request by its mode; modes that are not here stand alone."""

# Settings of the adapter itself, and headers only of requests to engine and gearbox controls (7DF, 7E0 to 7E7, and
# their 29-bit forms): with another header the same two digits could mean something else.
_ADAPTER = re.compile(
    r"AT(?:Z|WS|D|I|@1|RV|DP|DPN|E0|L0|S0|H1|M0|PC|AL|CAF1|AT[012]|ST[0-9A-F]{2}|SPA?[0-9A-C]"
    r"|SH7DF|SH7E[0-7]|SHDB33F1|SHDA[0-9A-F]{2}F1)"
)
_HEX = re.compile(r"(?:[0-9A-F]{2}){1,7}")


class SerialPort(Protocol):
    """What is used of a pyserial object."""

    timeout: float | None

    def read(self, size: int = 1, /) -> bytes:
        """At most `size` bytes, after at most `timeout` seconds."""
        ...

    def write(self, data: bytes, /) -> int | None:
        """Sends bytes."""
        ...

    def close(self) -> None:
        """Closes; it may take long."""
        ...


def allowed(command: str) -> bytes:
    """The bytes of a command that may be sent, with its carriage return.

    Raises:
        BadInput: it is not on the list: another mode, another adapter setting, a wrong length, a space, a lower-case
            letter, a carriage return inside, anything that is not plain text.
    """
    if _ADAPTER.fullmatch(command) or _reads(command):
        return command.encode("ascii") + b"\r"
    raise BadInput(
        "only requests that read may be sent (modes 01, 02, 03, 06, 07, 09, 0A, 22 and the adapter's own settings)",
        where=repr(command)[:60],
    )


def _reads(command: str) -> bool:
    if not _HEX.fullmatch(command):
        return False
    mode = int(command[:2], 16)
    return mode in MODES and len(command) // 2 in _LENGTHS.get(mode, range(1, 2))


def _broken() -> tuple[type[BaseException], ...]:
    """What pyserial lets through when a device is pulled out: its own errors are OSErrors, termios has another one."""
    try:
        from termios import error
    except ImportError:  # pragma: no cover - Windows
        return (OSError, TypeError, ValueError)
    return (OSError, TypeError, ValueError, error)


BROKEN = _broken()


class Wire:
    """An open port with a gate before it. It belongs to one thread."""

    def __init__(self, port: SerialPort) -> None:
        self._port = port
        self._own = False

    def send(self, command: str) -> None:
        """Sends one command.

        Raises:
            BadInput: it may not be sent; nothing was.
            Failure: the port is gone.
        """
        data = allowed(command)
        self._write(data)
        self._own = True

    def nudge(self) -> None:
        """Sends a bare carriage return: the adapter stops what it does, or repeats its last command, which only reads.

        Before the first command of this connection nothing is sent: the last command would be somebody else's.

        Raises:
            Failure: the port is gone.
        """
        if self._own:
            self._write(b"\r")

    def _write(self, data: bytes) -> None:
        try:
            self._port.write(data)
        except BROKEN as error:
            raise Failure("disconnected", short(error)) from error

    def read(self, seconds: float) -> bytes:
        """What has come, waiting up to `seconds` for the first byte; empty when nothing came. Raises Failure."""
        port = self._port
        try:
            port.timeout = seconds
            first = port.read(1)
            if not first:
                return b""
            port.timeout = 0
            return first + port.read(4096)
        except BROKEN as error:
            raise Failure("disconnected", short(error)) from error

    def close(self) -> None:
        """Gives the port up without waiting: closing may take long on a radio link."""
        threading.Thread(target=_close, args=(self._port,), name="link-close", daemon=True).start()


def _close(port: Any) -> None:
    try:
        port.close()
    except BROKEN:
        return  # it is gone already, which is what was wanted


def short(error: BaseException) -> str:
    """An error of the system in a few words, without the number and the path that go with it."""
    text = getattr(error, "strerror", None) or str(error) or type(error).__name__
    text = re.sub(r"\[(?:Errno|WinError) -?\d+\]\s*", "", str(text))
    return " ".join(text.split()).rstrip(".")[:120]
