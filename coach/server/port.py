"""Binding a port: whether it can be listened on, the sentence when not, and what is answered until the app is there."""

from __future__ import annotations

import errno
import socket
from typing import Any, TypeVar

from cheroot.wsgi import Server

from coach.errors import BadInput, CoachError, Conflict

AServer = TypeVar("AServer", bound=Server)
IDLE_S = 6
"""A client that neither sends nor reads is left after so long."""


def try_port(host: str, port: int) -> None:
    """Opens and closes the port: the server itself leaves a socket behind when it cannot. Raises BadInput, Conflict."""
    if not 0 <= port <= 65535:
        raise BadInput("a port is a number from 0 to 65535", where=str(port))
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    try:
        socket.create_server((host, port), family=family).close()
    except OSError as error:
        raise refusal(host, port, error) from error


def bound(kind: type[AServer], host: str, port: int, *, threads: int) -> AServer:
    """A server that has its port and does not serve yet; until it is given its app it says that it is starting.

    Raises:
        BadInput, Conflict: the port cannot be had.
    """
    try_port(host, port)
    server = kind((host, port), _not_yet, numthreads=threads, timeout=IDLE_S, request_queue_size=64)
    try:
        server.prepare()
    except OSError as error:
        server.stop()
        raise refusal(host, port, error) from error
    return server


def _not_yet(environ: dict[str, Any], start_response: Any) -> list[bytes]:
    asked = environ.get("PATH_INFO", "").startswith("/api/")
    kind = "application/json" if asked else "text/plain"
    start_response("503 Service Unavailable", [("Content-Type", kind), ("Retry-After", "1")])
    if asked:
        return [b'{"error": {"code": "starting", "message": "the server is starting", "where": null}}']
    return [b"The laptop is starting. Load this page again."]


def refusal(host: str, port: int, error: OSError) -> CoachError:
    """The sentence for `error`, which came from listening."""
    number = error.errno
    if number == errno.EACCES:
        return Conflict(f"port {port} is not for ordinary users; choose one above 1023", where=host)
    if number == errno.EADDRINUSE or "No socket" in str(error):
        return Conflict(f"port {port} is in use; choose another one, or 0 for a free one", where=host)
    return BadInput(f"it is not possible to listen here ({error})", where=f"{host}:{port}")
