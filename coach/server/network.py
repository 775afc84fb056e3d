"""This machine's private addresses and names, as a phone on the same network sees them. Opens no port."""

from __future__ import annotations

import ipaddress
import re
import socket
from collections.abc import Callable

PRIVATE: tuple[ipaddress.IPv4Network | ipaddress.IPv6Network, ...] = (
    ipaddress.IPv4Network("10.0.0.0/8"),
    ipaddress.IPv4Network("172.16.0.0/12"),
    ipaddress.IPv4Network("192.168.0.0/16"),
    ipaddress.IPv4Network("169.254.0.0/16"),
    ipaddress.IPv6Network("fc00::/7"),
    ipaddress.IPv6Network("fe80::/10"),
)
"""Addresses that no router passes on to the internet (RFC 1918, RFC 3927, RFC 4193, RFC 4291)."""
LOOPBACK = ipaddress.IPv4Network("127.0.0.0/8")

Addresses = Callable[[], list[str]]
"""Gives this machine's addresses at the moment."""


def is_private(address: str) -> bool:
    """Whether `address` belongs to a network of one's own, or to this machine."""
    try:
        found = ipaddress.ip_address(address.partition("%")[0])
    except ValueError:
        return False
    mapped = getattr(found, "ipv4_mapped", None) or found
    return mapped in LOOPBACK or any(mapped in net for net in PRIVATE if net.version == mapped.version)


def private_addresses() -> list[str]:
    """This machine's private IPv4 addresses, self-given ones (169.254) last."""
    import ifaddr

    found = [str(ip.ip) for adapter in ifaddr.get_adapters() for ip in adapter.ips if ip.is_IPv4]
    usable = {ip for ip in found if is_private(ip) and not ip.startswith("127.")}
    return sorted(usable, key=lambda ip: (ip.startswith("169.254."), found.index(ip)))


def own_names(given: str, host: str | None = None) -> list[str]:
    """Names under which this machine may be reached: the announced one first, then the system's own.

    Args:
        given: the announced name, as `coach-k7d2.local`.
        host: the system's name; asked for if left out.
    """
    label = (socket.gethostname() if host is None else host).partition(".")[0].lower()
    # A name that is none in the domain system, or stands for any machine, is not vouched for.
    good = re.fullmatch(r"[a-z0-9](?:[a-z0-9-]{0,61}[a-z0-9])?", label) and label != "localhost"
    return [given, *([f"{label}.local", f"{label}.lan"] if good else [])]
