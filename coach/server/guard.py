"""Who asks: this machine's own browser, a paired device, or a stranger; and never on behalf of another page."""

from __future__ import annotations

import ipaddress
from collections.abc import Collection
from urllib.parse import urlsplit

from flask import Request, Response, redirect

from coach.errors import CoachError
from coach.server.roles import LAPTOP, STRANGER, Access, Caller, NotJoined

HOSTS = frozenset({"localhost", "127.0.0.1", "::1"})
"""Names under which the page is reached on this machine; any other one was pointed at it by somebody."""

CSP = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; font-src 'self';"
    " connect-src 'self'; manifest-src 'self'; worker-src 'self';"
    " base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
COOKIE = "__Host-coach"
"""The prefix holds a browser to it: https only, this host only, the whole of it."""
COOKIE_S = 400 * 86_400
"""The longest that browsers keep one (RFC 6265bis, from memory); a pairing that is not used ends sooner."""
DOOR = "coach.door"
PAIR = "/api/pair"


class Forbidden(CoachError):
    """The request comes from somewhere that may not ask."""

    code = "forbidden"
    status = 403


def host_of(address: str) -> str | None:
    """The host in `host[:port]`, without brackets, or None for what is none."""
    try:
        parts = urlsplit(f"//{address}")
        _ = parts.port
    except ValueError:
        return None
    return parts.hostname if parts.netloc == address and "@" not in address else None


def check_host(host: str | None, allowed: Collection[str] = HOSTS) -> None:
    """Refuses a request under a name that is not this machine's. Raises Forbidden."""
    if host is None or host_of(host) not in allowed:
        right = "open it as http://localhost" if allowed is HOSTS else "scan the square that the laptop shows"
        raise Forbidden(f"this server does not answer to this name: {right}", where="Host")


def check_origin(
    origin: str | None, host: str | None, site: str | None, schemes: Collection[str] = ("http", "https"),
    *, named: bool = False,
) -> None:  # fmt: skip
    """Refuses a change that another page asks for. A request without these headers comes from no page.

    Args:
        origin: the header Origin.
        host: the header Host, already checked.
        site: the header Sec-Fetch-Site.
        schemes: of the page's own address.
        named: whether an origin must be given.

    Raises:
        Forbidden: another origin asks.
    """
    if origin is not None:
        parts = urlsplit(origin)
        if parts.scheme not in schemes or parts.netloc != host:
            raise Forbidden("another page may not change anything here", where="Origin")
    elif named:
        raise Forbidden("a change names the page that asks for it", where="Origin")
    elif site not in {None, "same-origin", "none"}:
        raise Forbidden("another page may not change anything here", where="Sec-Fetch-Site")


class Guard:
    """Looks at every request before anything else does.

    Args:
        joining: how the network is joined (a `Joining`); None where only this machine is listened to.
    """

    def __init__(self, joining: object | None) -> None:
        self._joining = joining

    def caller(self, request: Request) -> Caller:
        """Who asks.

        Raises:
            Forbidden: nobody whom this server answers.
        """
        host = request.headers.get("Host")
        change = request.method not in {"GET", "HEAD"}
        origin, site = request.headers.get("Origin"), request.headers.get("Sec-Fetch-Site")
        if request.environ.get(DOOR) is None:
            check_host(host)
            if change:
                check_origin(origin, host, site)
            if not ipaddress.ip_address(request.remote_addr or "127.0.0.1").is_loopback:
                raise Forbidden("this door is for the laptop itself")
            return LAPTOP
        from coach.server.joining import Joining

        joining = self._joining
        if not isinstance(joining, Joining):
            raise Forbidden("this server does not answer the network")
        check_host(host, joining.hosts())
        if change:
            check_origin(origin, host, site, ("https",), named=True)
        token = request.cookies.get(COOKIE)
        device = joining.devices.find(token) if token else None
        if device is None:
            return STRANGER
        access = Access.OPERATOR if device.role == "operator" else Access.ONLOOKER
        return Caller(access, device.id, device.name)

    def stranger(self, request: Request) -> Response | None:
        """What a stranger gets instead of what was asked for; None where strangers may have that.

        Raises:
            NotJoined: nothing at all.
        """
        from coach.server.helppage import is_public

        if request.path == PAIR or is_public(request.path):
            return None
        if request.method == "GET" and request.path == "/":
            # A browser that came by a link elsewhere has kept its cookie back: the help page asks again with it.
            answer = redirect("/join?on=1", 303)
            assert isinstance(answer, Response)
            return answer
        raise NotJoined("this device is not joined to the laptop; scan the square that it shows")


def set_cookie(response: Response, token: str) -> None:
    """Lets the browser keep `token`; an empty one is forgotten at once."""
    response.set_cookie(
        COOKIE, token, max_age=COOKIE_S if token else 0, secure=True, httponly=True, samesite="Strict", path="/"
    )


def close_doors(response: Response) -> Response:
    """The headers that every answer carries."""
    response.headers.setdefault("Content-Security-Policy", CSP)
    response.headers.setdefault("X-Content-Type-Options", "nosniff")
    response.headers.setdefault("Referrer-Policy", "no-referrer")
    response.headers.setdefault("Cross-Origin-Opener-Policy", "same-origin")
    response.headers.setdefault("Cross-Origin-Resource-Policy", "same-origin")
    response.headers.setdefault("Cache-Control", "no-store")
    return response
