"""Where a client plugs in: a TCP port or a pty. Each gives connections that read, write and close, nothing more."""

from __future__ import annotations

import os
import select
import socket
import sys
import threading
from contextlib import suppress
from pathlib import Path
from typing import Protocol

from coach.errors import BadInput

_PIECE = 4096


class Connection(Protocol):
    """A client that is there."""

    def read(self) -> bytes:
        """What came, at least a byte; empty when the client has gone or was hung up on."""
        ...

    def write(self, data: bytes) -> None:
        """Sends everything. Raises OSError when nobody takes it."""
        ...

    def hang_up(self) -> None:
        """Ends it; a read that waits ends too. Any thread may call it, more than once."""
        ...

    def release(self) -> None:
        """Gives its handles back. Only once nobody reads or writes any more."""
        ...


class Port(Protocol):
    """A place to plug in."""

    @property
    def url(self) -> str:
        """What a client opens."""
        ...

    def accept(self) -> Connection | None:
        """The next client, or None once the port is closed."""
        ...

    def close(self) -> None:
        """No more clients; an `accept` that waits ends."""
        ...


class _TcpConnection:
    def __init__(self, taken: socket.socket) -> None:
        self._socket = taken
        # Bytes that dribble in shall leave as they were written.
        taken.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)

    def read(self) -> bytes:
        try:
            return self._socket.recv(_PIECE)
        except OSError:
            return b""

    def write(self, data: bytes) -> None:
        self._socket.sendall(data)

    def hang_up(self) -> None:
        with suppress(OSError):
            self._socket.shutdown(socket.SHUT_RDWR)

    def release(self) -> None:
        self._socket.close()


class TcpPort:
    """A TCP port on this machine alone, unless another address is named.

    Args:
        port: its number; 0 takes a free one.
        host: the address it listens on.

    Raises:
        BadInput: it cannot be had.
    """

    def __init__(self, port: int = 0, host: str = "127.0.0.1") -> None:
        self._listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        if sys.platform != "win32":  # there it would let two programs share the port
            self._listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            self._listening.bind((host, port))
            self._listening.listen(16)
        except OSError as error:
            self._listening.close()
            raise BadInput(f"the port cannot be had: {error.strerror}", where=f"{host}:{port}") from error
        self.host, self.port = host, int(self._listening.getsockname()[1])

    @property
    def url(self) -> str:
        """As pyserial writes it."""
        return f"socket://{self.host}:{self.port}"

    def accept(self) -> Connection | None:
        """See `Port.accept`."""
        try:
            taken, _ = self._listening.accept()
        except OSError:
            return None
        return _TcpConnection(taken)

    def close(self) -> None:
        """See `Port.close`."""
        with suppress(OSError):  # wakes `accept` where the system does that
            self._listening.shutdown(socket.SHUT_RDWR)
        with suppress(OSError):  # and where it does not
            socket.create_connection((self.host, self.port), timeout=0.2).close()
        self._listening.close()


class _PtyConnection:
    """The adapter's end of a pty. The client's end is kept open here, so a client may come and go unnoticed."""

    def __init__(self, name: Path, freed: threading.Semaphore) -> None:
        import tty

        self._ours, self._theirs = os.openpty()
        self._woken, self._wake = os.pipe()
        self._freed = freed
        self._lock, self._released = threading.Lock(), False
        tty.setraw(self._theirs)
        os.set_blocking(self._ours, False)
        name.unlink(missing_ok=True)
        name.symlink_to(os.ttyname(self._theirs))

    def read(self) -> bytes:
        ready, _, _ = select.select([self._ours, self._woken], [], [])
        return b"" if self._woken in ready else os.read(self._ours, _PIECE)

    def write(self, data: bytes) -> None:
        # Nobody may be reading: what does not fit is lost, as on a serial line. The adapter never hangs on it.
        while data and select.select([], [self._ours], [], 0)[1]:
            data = data[os.write(self._ours, data[:256]) :]

    def hang_up(self) -> None:
        with self._lock:
            if not self._released:
                os.write(self._wake, b"x")

    def release(self) -> None:
        with self._lock:
            self._released = True
            for handle in (self._ours, self._theirs, self._woken, self._wake):
                os.close(handle)
        self._freed.release()


class PtyPort:
    """A pseudo terminal under a name that stays the same when the connection is made anew.

    Args:
        folder: where the name stands.

    Raises:
        BadInput: this system has none.
    """

    def __init__(self, folder: Path) -> None:
        if sys.platform == "win32":
            raise BadInput("this system has no pseudo terminals: use a TCP port", where="--pty")
        self._name = folder / "tty"
        self._freed = threading.Semaphore(1)
        self._open = True
        # The name leads somewhere from the beginning: a client need not wait for the first `accept`.
        self._next: _PtyConnection | None = _PtyConnection(self._name, self._freed)

    @property
    def url(self) -> str:
        """A path that serial programs open."""
        return str(self._name)

    def accept(self) -> Connection | None:
        """See `Port.accept`: there is one place for a client, free again once the last connection was released."""
        self._freed.acquire()
        if not self._open:
            return None
        taken = self._next or _PtyConnection(self._name, self._freed)
        self._next = None
        return taken

    def close(self) -> None:
        """See `Port.close`."""
        self._open = False
        if self._next is not None:
            self._next.release()
        self._freed.release()
