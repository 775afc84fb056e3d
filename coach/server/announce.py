"""Announces the laptop's .local name on the network (multicast DNS, RFC 6762; service discovery, RFC 6763)."""

from __future__ import annotations

import contextlib
import logging
import socket
import threading
from collections.abc import Callable, Sequence
from typing import Any

SERVICE = "_https._tcp.local."
WITHDRAW_S = 0.6
"""How long saying goodbye may hold up the end of the server."""


class Announcer:
    """Holds the announcement of one name; each change withdraws the old one. Nothing it does can stop the server.

    Args:
        title: what lists of services show.
        make: makes the responder on these addresses; the library's own if left out.
    """

    def __init__(self, title: str, make: Callable[[Sequence[str]], Any] | None = None) -> None:
        self._title = title
        self._make = make or _responder
        self._responder: Any = None
        self._lock = threading.Lock()

    def announce(self, name: str, addresses: Sequence[str], port: int) -> str | None:
        """Announces `name` at `addresses`; takes about a second.

        Returns:
            Why it did not work, as half a sentence, or None.
        """
        from zeroconf import Error, ServiceInfo

        with self._lock:
            self._withdraw()
            if not addresses:
                return "this machine is in no private network"
            try:
                info = ServiceInfo(
                    SERVICE, f"{self._title}.{SERVICE}", port=port, server=f"{name}.", properties={"path": "/join"},
                    addresses=[socket.inet_aton(one) for one in addresses],
                )  # fmt: skip
                self._responder = self._make(addresses)
                self._responder.register_service(info, allow_name_change=True)
            except (OSError, Error, RuntimeError, ValueError, TimeoutError) as error:
                logging.getLogger(__name__).debug("announcing failed", exc_info=error)
                self._withdraw()
                return str(error) or type(error).__name__
            return None

    def withdraw(self) -> None:
        """Says goodbye; what takes too long is left to end by itself."""

        def work() -> None:
            with self._lock:
                self._withdraw()

        thread = threading.Thread(target=work, name="mdns-goodbye", daemon=True)
        thread.start()
        thread.join(WITHDRAW_S)

    def _withdraw(self) -> None:
        responder, self._responder = self._responder, None
        if responder is not None:
            with contextlib.suppress(Exception):
                responder.close()


def _responder(addresses: Sequence[str]) -> Any:
    from zeroconf import IPVersion, Zeroconf

    return Zeroconf(interfaces=list(addresses), ip_version=IPVersion.V4Only)
