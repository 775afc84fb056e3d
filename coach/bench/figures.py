"""A figure, how it is printed, and the machine it was measured on."""

from __future__ import annotations

import os
import platform
import sys
from collections.abc import Callable
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from coach.clock import Clock

BUSY = 0.3
"""Processes that want to run, a core: above it the machine is called busy."""


@dataclass(frozen=True, slots=True)
class Figure:
    """One measured number.

    Attributes:
        group: heading it stands under.
        what: what was measured, with its conditions.
        value, unit: the number; None where it could not be measured, and `what` says why.
        target: what the project promises, in words, or empty.
        met: whether it does, or None when nothing is promised.
    """

    group: str
    what: str
    value: float | None
    unit: str
    target: str = ""
    met: bool | None = None

    def as_dict(self) -> dict[str, Any]:
        """JSON form."""
        return asdict(self)


def timed(work: Callable[[], object], *, repeats: int = 3) -> float:
    """Seconds that the fastest of `repeats` runs of `work` takes."""
    clock = Clock()
    best = float("inf")
    for _ in range(repeats):
        start = clock.fine_ns()
        work()
        best = min(best, (clock.fine_ns() - start) / 1e9)
    return best


def machine() -> dict[str, str]:
    """The machine and the versions that the figures belong to."""
    import numpy as np

    model = ""
    info = Path("/proc/cpuinfo")
    if info.exists():
        for line in info.read_text("utf-8", "replace").splitlines():
            if line.lower().startswith(("model name", "hardware")):
                model = line.partition(":")[2].strip()
                break
    return {
        "system": f"{platform.system()} {platform.machine()}",
        "processor": model or platform.processor() or "not said",
        "cores": str(os.cpu_count()),
        "python": sys.version.split()[0],
        "numpy": np.__version__,
        "memory": _memory(),
        "load": _load(),
    }


def _memory() -> str:
    try:
        return f"{os.sysconf('SC_PHYS_PAGES') * os.sysconf('SC_PAGE_SIZE') / 1e9:.0f} GB"
    except (AttributeError, OSError, ValueError):
        return "not said"


def _load() -> str:
    """What the machine was doing before: the average of a minute."""
    if not hasattr(os, "getloadavg"):
        return "not said"
    load = os.getloadavg()[0]
    busy = load > BUSY * (os.cpu_count() or 1)
    return f"{load:.1f} at the start" + (": it was busy, so wall times are longer than they need be" if busy else "")


def table(figures: list[Figure]) -> str:
    """The figures as text, a group at a time."""
    lines: list[str] = []
    group = ""
    for f in figures:
        if f.group != group:
            group = f.group
            lines += ["", group]
        mark = {None: " ", True: "✓", False: "✗"}[f.met]
        target = f"   (promised: {f.target})" if f.target else ""
        lines.append(f"  {mark} {f.what:<62} {number(f.value):>12} {f.unit}{target}")
    return "\n".join(lines).lstrip("\n")


def number(value: float | None) -> str:
    """A value with as many digits as it deserves; a dash for None."""
    if value is None:
        return "–"
    if value >= 1000:
        return f"{value:,.0f}"
    return f"{value:.3g}" if value < 10 else f"{value:.1f}"
