"""The https door: a server whose silent clients cost it nothing, because nobody waits for them to shake hands."""

from __future__ import annotations

import contextlib
import logging
import socket
import ssl
import threading
from collections import Counter
from pathlib import Path
from typing import Any

from cheroot.makefile import MakeFile
from cheroot.server import HTTPConnection
from cheroot.ssl import Adapter
from cheroot.wsgi import Server

from coach.server.network import is_private

HANDSHAKE_S = 4.0
"""How long a client may take to shake hands once it has begun to."""
MOST_FROM_ONE = 24
"""Open connections of one address: a phone opens about six."""
MOST = 240
"""Open connections in all."""
_TLS_HANDSHAKE = b"\x16"


class LazyTls(Adapter):
    """Wraps connections without shaking hands; the first thread that serves one does.

    Args:
        path: certificate and key in one file.
        moved: where somebody who speaks plain http here is sent.
    """

    def __init__(self, path: Path, moved: str) -> None:
        super().__init__(str(path), str(path))
        self.moved = moved
        self.load(path)

    def load(self, path: Path) -> None:
        """Takes the certificate in `path` for all connections from now on."""
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        context.minimum_version = ssl.TLSVersion.TLSv1_2
        context.load_cert_chain(path)
        # One step: a connection has the old context or the new one.
        self.context = context

    def bind(self, sock: socket.socket) -> socket.socket:
        """The listening socket stays as it is."""
        return sock

    def wrap(self, sock: socket.socket) -> tuple[ssl.SSLSocket, dict[str, str]]:
        """Wraps a connection; nothing is read or written."""
        return self.context.wrap_socket(sock, server_side=True, do_handshake_on_connect=False), self.get_environ()

    def get_environ(self) -> dict[str, str]:
        """What each request is told."""
        return {"HTTPS": "on"}

    def makefile(self, sock: socket.socket, mode: str = "r", bufsize: int = -1) -> Any:
        """The connection as a file."""
        return MakeFile(sock, mode, bufsize)


class LanConnection(HTTPConnection):
    """A connection that shakes hands when it is first served, and leaves the server's count when it closes."""

    _shaken = False
    counted = False

    def communicate(self) -> bool:
        """Shakes hands first; a client that fails at it is left without a word."""
        try:
            if isinstance(self.socket, ssl.SSLSocket) and not self._shaken:
                if not self._shake(self.socket):
                    return False
                self._shaken = True
            return bool(super().communicate())  # type: ignore[no-untyped-call]  # the library's own
        except (OSError, ValueError):
            # A phone that does not trust the certificate hangs up in the middle of an answer: that is no fault.
            return False

    def _shake(self, sock: ssl.SSLSocket) -> bool:
        # `recv` of the class below reads the bytes as they came, before TLS touches them.
        if socket.socket.recv(sock, 1, socket.MSG_PEEK) != _TLS_HANDSHAKE:
            moved = self.server.ssl_adapter.moved
            text = f"HTTP/1.1 303 See Other\r\nLocation: {moved}\r\nContent-Length: 0\r\nConnection: close\r\n\r\n"
            socket.socket.sendall(sock, text.encode("ascii"))
            return False
        usual_s = sock.gettimeout()
        sock.settimeout(HANDSHAKE_S)
        sock.do_handshake()
        sock.settimeout(usual_s)
        return True

    def close(self) -> None:
        """Closes, and makes room for another one."""
        if self.counted:
            self.counted = False
            self.server.left(self.remote_addr)
        with contextlib.suppress(OSError, ValueError):
            super().close()


class LanServer(Server):
    """A server for a network with strangers in it: a client waits outside until it says something.

    A connection takes a thread only from its first byte on, each address has a bounded number of them, and one from
    outside the private networks is closed at once.
    """

    ConnectionClass = LanConnection
    keep_alive_conn_limit = MOST

    def __init__(self, *given: Any, **more: Any) -> None:
        super().__init__(*given, **more)
        self._open: Counter[str] = Counter()
        self._open_lock = threading.Lock()

    def process_conn(self, conn: LanConnection) -> None:
        """A new connection waits with the idle ones; one that has spoken is served."""
        if conn.last_used is not None:
            super().process_conn(conn)
            return
        if not is_private(conn.remote_addr):
            conn.close()
            return
        with self._open_lock:
            full = self._open[conn.remote_addr] >= MOST_FROM_ONE or self._open.total() >= MOST
            if not full:
                self._open[conn.remote_addr] += 1
                conn.counted = True
        if full:
            conn.close()
        else:
            self._connections.put(conn)  # type: ignore[attr-defined]  # the server's own

    def left(self, address: str) -> None:
        """A connection from `address` was closed."""
        with self._open_lock:
            self._open[address] -= 1
            if self._open[address] <= 0:
                del self._open[address]

    def error_log(self, msg: str = "", level: int = logging.INFO, traceback: bool = False) -> None:
        """Into the log, and quietly: what strangers send is not the terminal's business."""
        if level < logging.ERROR:
            level, traceback = logging.DEBUG, False
        logging.getLogger("coach.server.lan").log(level, "%s", msg, exc_info=traceback)
