"""Who may ask: only this machine's own browser, from the page's own origin."""

from __future__ import annotations

from urllib.parse import urlsplit

from coach.errors import CoachError

HOSTS = frozenset({"localhost", "127.0.0.1", "::1"})
"""Names under which the page is reached; any other means that a foreign name was pointed at this machine."""

CSP = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; font-src 'self';"
    " connect-src 'self'; manifest-src 'self'; worker-src 'self';"
    " base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)


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


def check_host(host: str | None) -> None:
    """Refuses a request under a name that is not this machine's. Raises Forbidden."""
    if host is None or host_of(host) not in HOSTS:
        raise Forbidden("this server answers on this machine only: open it as http://localhost", where="Host")


def check_origin(origin: str | None, host: str | None, site: str | None) -> None:
    """Refuses a change that another page asks for. A request without these headers comes from no page.

    Args:
        origin: the header Origin.
        host: the header Host, already checked.
        site: the header Sec-Fetch-Site.

    Raises:
        Forbidden: another origin asks.
    """
    if origin is not None:
        parts = urlsplit(origin)
        if parts.scheme not in {"http", "https"} or parts.netloc != host:
            raise Forbidden("another page may not change anything here", where="Origin")
    elif site not in {None, "same-origin", "none"}:
        raise Forbidden("another page may not change anything here", where="Sec-Fetch-Site")
