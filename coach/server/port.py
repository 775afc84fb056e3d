"""Whether a port can be listened on, and the sentence when not."""

from __future__ import annotations

import errno
import socket

from coach.errors import BadInput, CoachError, Conflict


def try_port(host: str, port: int) -> None:
    """Opens and closes the port: the server itself leaves a socket behind when it cannot. Raises BadInput, Conflict."""
    if not 0 <= port <= 65535:
        raise BadInput("a port is a number from 0 to 65535", where=str(port))
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    try:
        socket.create_server((host, port), family=family).close()
    except OSError as error:
        raise refusal(host, port, error) from error


def refusal(host: str, port: int, error: OSError) -> CoachError:
    """The sentence for `error`, which came from listening."""
    number = error.errno
    if number == errno.EACCES:
        return Conflict(f"port {port} is not for ordinary users; choose one above 1023", where=host)
    if number == errno.EADDRINUSE or "No socket" in str(error):
        return Conflict(f"port {port} is in use; choose another one, or 0 for a free one", where=host)
    return BadInput(f"it is not possible to listen here ({error})", where=f"{host}:{port}")
