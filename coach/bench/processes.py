"""What Linux says of a running process and all that it started: processor time, memory. Elsewhere nothing."""

from __future__ import annotations

import os
from pathlib import Path

PROC = Path("/proc")
MB = 1_000_000


def family(pid: int, proc: Path = PROC) -> list[int]:
    """`pid` and all processes below it; empty where the system does not say."""
    children: dict[int, list[int]] = {}
    for entry in proc.glob("[0-9]*"):
        fields = _stat(int(entry.name), proc)
        if fields:
            children.setdefault(int(fields[1]), []).append(int(entry.name))
    if not (proc / str(pid)).exists():
        return []
    found = [pid]
    for one in found:
        found += children.get(one, [])
    return found


def processor_s(pid: int, proc: Path = PROC) -> float:
    """Seconds of processor time that `pid` and all below it have taken, those that have ended included."""
    ticks = 0
    for one in family(pid, proc):
        fields = _stat(one, proc)
        # utime, stime, and the same of children that were waited for
        ticks += sum(int(field) for field in fields[11:15])
    return float(ticks) / os.sysconf("SC_CLK_TCK")


def memory_mb(pid: int, proc: Path = PROC) -> float:
    """Memory of `pid` alone that is in use (resident), in millions of bytes; 0 where the system does not say."""
    try:
        pages = int((proc / str(pid) / "statm").read_text("ascii").split()[1])
    except OSError:
        return 0.0
    return float(pages) * os.sysconf("SC_PAGE_SIZE") / MB


def pin(pid: int, core: int, proc: Path = PROC) -> None:
    """Keeps every thread of `pid` and of all below it on one core; those they start later stay there too."""
    for one in family(pid, proc):
        for task in (proc / str(one) / "task").glob("[0-9]*"):
            os.sched_setaffinity(int(task.name), {core})


def _stat(pid: int, proc: Path) -> list[str]:
    """The fields of a process after its name: state, parent, ..."""
    try:
        text = (proc / str(pid) / "stat").read_text("utf-8", "replace")
    except OSError:
        return []
    return text.rpartition(")")[2].split()
