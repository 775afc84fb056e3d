"""Ports of this machine at which an adapter may be, paired adapters without one; and how the others are reached."""

from __future__ import annotations

import glob
import re
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterable, Sequence
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
TOOL_S = 3.0
"""How long the system's own tool may take."""
_NAMES = re.compile(r"obd|\belm|scan", re.IGNORECASE)
_WORDS = ("obd", "elm", "bluetooth", "rfcomm", "usb serial", "usb-serial", "uart")


@dataclass(frozen=True, slots=True)
class FoundPort:
    """A port: its address, what the system says of it, whether it looks like an adapter."""

    url: str
    text: str
    likely: bool


@dataclass(frozen=True, slots=True)
class Paired:
    """A Bluetooth device that Linux is paired with and that has no port yet.

    Attributes:
        address, name: as the system has them.
        likely: whether its name is one of an adapter.
        bind: the command that gives it a port; `url` is that port.
    """

    address: str
    name: str
    likely: bool
    bind: str
    url: str


def find_paired(
    asked: Callable[[Sequence[str]], str] | None = None, taken: Sequence[str] | None = None
) -> list[Paired]:
    """Paired Bluetooth devices, those that look like adapters first; none where the system's own tool is missing.

    Windows and macOS give a paired adapter a port by themselves: see `find_ports`.

    Args:
        asked: runs a command and gives what it says.
        taken: ports over Bluetooth that are there already; they may be of these devices, so nothing is said then.
    """
    taken = sorted(glob.glob("/dev/rfcomm*")) if taken is None else taken  # noqa: PTH207 - a pattern, not a folder
    if taken or (asked is None and not sys.platform.startswith("linux")):
        return []
    asked = asked or _said_by
    text = asked(("bluetoothctl", "devices", "Paired")) or asked(("bluetoothctl", "paired-devices"))
    found = []
    for address, name in re.findall(r"(?m)^Device ((?:[0-9A-F]{2}:){5}[0-9A-F]{2})(?: (.*))?$", text):
        shown = "".join(c for c in name if c.isprintable())[:40].strip() or "without a name"
        likely = _NAMES.search(shown) is not None
        found.append(Paired(address, shown, likely, f"sudo rfcomm bind 0 {address}", "/dev/rfcomm0"))
    return sorted(found, key=lambda p: (not p.likely, p.name, p.address))


def _said_by(command: Sequence[str]) -> str:
    """What a command of the system says; nothing where it is not there, fails, or takes too long."""
    tool = shutil.which(command[0])
    if tool is None:
        return ""
    try:
        done = subprocess.run(  # noqa: S603 - the system's own tool, with fixed words
            [tool, *command[1:]], capture_output=True, timeout=TOOL_S, check=False, stdin=subprocess.DEVNULL
        )
    except (OSError, subprocess.TimeoutExpired):
        return ""
    return done.stdout.decode("utf-8", "replace") if done.returncode == 0 else ""


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
