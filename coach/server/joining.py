"""Joining phones to this laptop: its names, certificate, doors to the network, invitations and devices, in one."""

from __future__ import annotations

import contextlib
import secrets
import socket
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from wsgiref.types import WSGIApplication

from coach.clock import US, Clock
from coach.server.announce import Announcer
from coach.server.attempts import Attempts
from coach.server.ca import Certificates
from coach.server.devices import INVITE_S, Device, DeviceRole, Devices
from coach.server.network import Addresses, own_names, private_addresses
from coach.server.port import bound
from coach.server.tls import LanServer, LazyTls

DOOR = "coach.door"
"""Key of a request's environment that says through which door it came; no header can set it."""
LAN = "lan"
THREADS = 48
HELP_THREADS = 8
LOOK_EVERY_US = 10 * US
"""How often addresses and certificate are looked at."""
ANNOUNCE_WAIT_S = 4.0
STOP_S = 0.6
"""How long a server takes to notice that it is stopped."""
_LETTERS = "abcdefghjkmnpqrstuvwxyz23456789"


@dataclass(frozen=True)
class Lan:
    """How the network is listened to.

    Attributes:
        port: of https; 0 takes a free one, as for all ports.
        help_port: of the help page, in plain http.
        bind: the address that is listened on; every one by default.
        addresses: tells this machine's private addresses.
        announcer: announces the name; the usual one if left out.
    """

    port: int = 8766
    help_port: int = 8767
    bind: str = "0.0.0.0"  # noqa: S104 - that is what --lan asks for; strangers get the help page only
    addresses: Addresses = private_addresses
    announcer: Announcer | None = None


@dataclass
class Joining:
    """See the module. Made by `open`, run by `start`, kept up to date by `tick`, ended by `close`.

    Attributes:
        name: the announced name, the same for as long as the data folder lives.
        trouble: why the name is not announced, as half a sentence; None while it is, or while that is being tried.
    """

    clock: Clock
    devices: Devices
    certificates: Certificates
    attempts: Attempts
    lan: Lan
    name: str
    names: list[str]
    addresses: list[str]
    https: LanServer
    help: LanServer
    tls: LazyTls
    announcer: Announcer
    trouble: str | None = None
    _announced: threading.Event = field(default_factory=threading.Event)
    _looked_us: int = 0
    _threads: list[threading.Thread] = field(default_factory=list)
    _closed: bool = False

    @classmethod
    def open(cls, data: Path, clock: Clock, lan: Lan | None = None) -> Joining:
        """Opens both doors without serving yet, so that a port in use is known before anything is begun.

        Raises:
            Conflict: a port is in use.
            BadInput: it is not possible to listen there.
            StoreError: the data folder cannot be used.
        """
        lan = lan or Lan()
        with contextlib.ExitStack() as undo:
            devices = undo.enter_context(Devices(data, clock))
            name = devices.fact("name") or devices.fact("name", _new_name()) or ""
            names, addresses = own_names(name), lan.addresses()
            host = socket.gethostname().partition(".")[0][:40]
            title = f"Log capture coach, {host}"
            certificates = Certificates(devices.folder, title, clock.wall_us())
            certificates.renew(names, addresses, clock.wall_us())
            https = listen_lan(lan.bind, lan.port, THREADS)
            undo.callback(https.stop)
            help_server = listen_lan(lan.bind, lan.help_port, HELP_THREADS)
            undo.callback(help_server.stop)
            tls = LazyTls(certificates.path, f"http://{name}:{help_server.bind_addr[1]}/")
            https.ssl_adapter = tls
            announcer = lan.announcer or Announcer(title)
            undo.pop_all()
            return cls(
                clock, devices, certificates, Attempts(clock), lan, name, names, addresses, https, help_server, tls,
                announcer, _looked_us=clock.steady_us(),
            )  # fmt: skip

    # --- where this is

    @property
    def port(self) -> int:
        """Of https."""
        return int(self.https.bind_addr[1])

    @property
    def announced(self) -> bool:
        """Whether the name can be found by phones, as far as this machine knows."""
        return self._announced.is_set() and self.trouble is None

    def hosts(self) -> set[str]:
        """Names and addresses under which the network may ask; any other was pointed at this machine by somebody."""
        return {*self.names, *self.addresses}

    def address(self, *, number: bool = False) -> str:
        """The page's address for phones: by name, or by number where the name is not announced or not wanted."""
        return f"https://{self._host(number=number)}:{self.port}/"

    def help_address(self, *, number: bool = False) -> str:
        """The help page's address, in plain http."""
        return f"http://{self._host(number=number)}:{self.help.bind_addr[1]}/"

    def _host(self, *, number: bool) -> str:
        by_number = (number or self.trouble is not None) and self.addresses
        return self.addresses[0] if by_number else self.name

    # --- pairing

    def square(self, role: DeviceRole, maker: str, *, number: bool = False) -> tuple[str, int]:
        """A new invitation: the address with its secret behind the #, which no browser sends; and its seconds."""
        return invitation(self.address(number=number), self.devices.invite(role, maker)), INVITE_S

    def pair(self, secret: str, name: str, address: str, known: Device | None) -> tuple[Device, str]:
        """Pairs the device that shows `secret`.

        Args:
            address: where it asks from.
            known: the device that it was until now.

        Returns:
            The device and its token.

        Raises:
            TooManyAttempts: too many wrong ones came from this address, or in all.
            NotPaired: the secret is wrong, used, or too old.
        """
        made = self.attempts.begin(address)
        device, token = self.devices.redeem(secret, name, None if known is None else known.id)
        self.attempts.right(made)
        return device, token

    def watched(self, stream: Any, device: str) -> Watched:
        """`stream` for as long as `device` is paired."""
        return Watched(stream, self.devices, device)

    # --- life

    def start(self, app: WSGIApplication, help_app: WSGIApplication) -> None:
        """Serves both doors, and announces the name; `wait_announced` tells when that is settled."""
        self.https.wsgi_app = through(app)
        self.help.wsgi_app = through(help_app)
        for server, name in ((self.https, "https"), (self.help, "help")):
            self._thread(server.serve, name)
        self._thread(self._announce, "mdns")
        self.devices.fact("address", self.address())
        self.devices.fact("number_address", self.address(number=True))

    def _thread(self, work: Callable[[], None], name: str) -> None:
        thread = threading.Thread(target=work, name=name, daemon=True)
        self._threads = [*(t for t in self._threads if t.is_alive()), thread]
        thread.start()

    def wait_announced(self, seconds: float = ANNOUNCE_WAIT_S) -> bool:
        """Waits until announcing has worked or failed, `seconds` at most."""
        return self._announced.wait(seconds)

    def _announce(self) -> None:
        trouble = self.announcer.announce(self.name, self.addresses, self.port)
        if self._closed:
            self.announcer.withdraw()
            return
        self.trouble = trouble
        self._announced.set()
        with contextlib.suppress(Exception):  # the folder may just be closing
            self.devices.fact("address", self.address())
            self.devices.fact("number_address", self.address(number=True))

    def tick(self) -> None:
        """Called often: follows a change of address, and renews the certificate in time. Raises StoreError."""
        now = self.clock.steady_us()
        if now - self._looked_us < LOOK_EVERY_US:
            return
        self._looked_us = now
        addresses = self.lan.addresses()
        # With no network at all, the old addresses stay: it may be back in a moment.
        moved = bool(addresses) and addresses != self.addresses
        if moved:
            self.addresses = addresses
        if self.certificates.renew(self.names, self.addresses, self.clock.wall_us()):
            self.tls.load(self.certificates.path)
        if moved:
            self._announced.clear()
            self._thread(self._announce, "mdns")

    def shut(self) -> None:
        """Begins to end: the name is withdrawn while other things are still closed. May be called twice."""
        if not self._closed:
            self._closed = True
            self.announcer.withdraw()

    def close(self, seconds: float = 0.4) -> None:
        """Shuts both doors, at the same time; connections get `seconds` to end."""
        self.shut()
        stopping = []
        for server in (self.https, self.help):
            server.shutdown_timeout = seconds
            stopping.append(threading.Thread(target=server.stop, name="stop", daemon=True))
            stopping[-1].start()
        for thread in (*stopping, *self._threads):
            thread.join(seconds + STOP_S)
        self.devices.close()


class Watched:
    """The body of a live stream that ends with its device's pairing."""

    def __init__(self, stream: Any, devices: Devices, device: str) -> None:
        self._stream, self._devices, self._device = stream, devices, device
        self._events = iter(stream)

    def __iter__(self) -> Iterator[bytes]:
        return self

    def __next__(self) -> bytes:
        event: bytes = next(self._events)
        # Looked at after waiting and before sending: a device that was removed meanwhile hears nothing more.
        if not self._devices.there(self._device):
            raise StopIteration
        return event

    def close(self) -> None:
        """Ends what is inside; called by the server."""
        if hasattr(self._stream, "close"):
            self._stream.close()


def invitation(address: str, secret: str) -> str:
    """What a square holds: the secret stands behind the #, which browsers keep to themselves."""
    return f"{address}join#s={secret}"


def through(app: WSGIApplication) -> WSGIApplication:
    """`app` as it is reached from the network."""

    def answer(environ: dict[str, Any], start_response: Any) -> Any:
        return app({**environ, DOOR: LAN}, start_response)

    return answer


def listen_lan(bind: str, port: int, threads: int) -> LanServer:
    """A server for the network that is bound and not yet serving. Raises Conflict, BadInput."""
    return bound(LanServer, bind, port, threads=threads)


def _new_name() -> str:
    """A name that no other laptop nearby has: two of them at one track must not answer for each other."""
    return f"coach-{''.join(secrets.choice(_LETTERS) for _ in range(4))}.local"
