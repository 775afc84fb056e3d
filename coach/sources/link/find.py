"""Ports of this machine at which an adapter may be; and how the others are reached."""

from __future__ import annotations

import glob
import sys
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

HOW = (
    "Over Bluetooth: pair the adapter in the system's settings first (its code is often 1234 or 0000). On Linux, then:",
    "  sudo rfcomm bind 0 ADDRESS    (bluetoothctl devices shows the address), and use /dev/rfcomm0",
    "  On Windows and macOS the paired adapter is a port of its own: look at this list again.",
    "Over Wi-Fi: join the adapter's network, and use socket://192.168.0.10:35000 or what its leaflet says.",
)
"""Sentences for a person (addresses and codes: common practice, no source)."""

# Makers of chips in serial adapters by USB number, from memory: FTDI, Prolific, Silicon Labs, WCH.
_CHIPS = frozenset({0x0403, 0x067B, 0x10C4, 0x1A86})
_WORDS = ("obd", "elm", "bluetooth", "rfcomm", "usb serial", "usb-serial", "uart")


@dataclass(frozen=True, slots=True)
class FoundPort:
    """A port: its address, what the system says of it, whether it looks like an adapter."""

    url: str
    text: str
    likely: bool


def find_ports(listed: Callable[[], Iterable[Any]] | None = None) -> list[FoundPort]:
    """Serial ports, those that look like adapters first. Nothing is opened.

    Args:
        listed: pyserial's list of ports, or another one.
    """
    found = {p.device: _port(p.device, _said(p), p.vid) for p in (listed or _system)()}
    if sys.platform.startswith("linux"):
        for path in sorted(glob.glob("/dev/rfcomm*")):  # noqa: PTH207 - a pattern, not a folder
            found.setdefault(path, FoundPort(path, "Bluetooth", likely=True))
    return sorted(found.values(), key=lambda p: (not p.likely, p.url))


def _system() -> Iterable[Any]:
    from serial.tools.list_ports import comports

    ports: Iterable[Any] = comports()
    return ports


def _said(port: Any) -> str:
    words = (port.description, port.manufacturer)
    return ", ".join(dict.fromkeys(w for w in words if w and w != "n/a")) or "serial port"


def _port(url: str, text: str, maker: int | None) -> FoundPort:
    likely = maker in _CHIPS or any(word in f"{url} {text}".lower() for word in _WORDS)
    return FoundPort(url, text, likely)
