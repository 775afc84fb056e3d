"""Takes a part of the processor away from a process, to see how it does on a smaller machine.

A control group where one can be made (version 2, or 1); else the process is stopped and continued in turns.
"""

from __future__ import annotations

import contextlib
import os
import signal
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Protocol

from coach.bench.processes import family
from coach.clock import Clock

PERIOD_US = 100_000
"""As schedulers have it by default: what a share of a period is used up, the process waits for the next."""
GROUPS = Path("/sys/fs/cgroup")


class Quota(Protocol):
    """A limit on processor time.

    Attributes:
        name: what it is, in words.
    """

    name: str

    def set(self, share: float) -> None:
        """From now on at most `share` of one core; 1 or more takes the limit away."""
        ...

    def close(self) -> None:
        """Takes the limit away."""
        ...


class Group:
    """A control group of version 2 (`cpu.max`) or 1 (`cpu.cfs_quota_us`).

    Args:
        pid: the process; it and all below it are moved in.
        groups: where the system shows its groups.

    Raises:
        OSError: none can be made here.
    """

    def __init__(self, pid: int, groups: Path = GROUPS) -> None:
        self._second = (groups / "cgroup.controllers").exists()
        above = groups if self._second else groups / "cpu"
        if not self._second and not (above / "cpu.cfs_quota_us").exists():
            raise FileNotFoundError(2, "no group for processor time", str(above))
        self.name = f"a control group, version {2 if self._second else 1}"
        self._above = above
        self._own = above / f"coach-bench-{pid}"
        self._own.mkdir(exist_ok=True)
        try:
            self.set(1.0)
            for one in family(pid):
                (self._own / "cgroup.procs").write_text(f"{one}\n", "ascii")
        except OSError:
            self.close()
            raise

    def set(self, share: float) -> None:
        """See `Quota.set`."""
        limit = round(share * PERIOD_US)
        if self._second:
            text = f"{'max' if share >= 1 else limit} {PERIOD_US}"
            (self._own / "cpu.max").write_text(text, "ascii")
        else:
            (self._own / "cpu.cfs_quota_us").write_text(f"{-1 if share >= 1 else limit}", "ascii")

    def close(self) -> None:
        """See `Quota.close`."""
        with contextlib.suppress(OSError):
            for one in (self._own / "cgroup.procs").read_text("ascii").split():
                (self._above / "cgroup.procs").write_text(f"{one}\n", "ascii")
        with contextlib.suppress(OSError):
            self._own.rmdir()


class Turns:
    """Lets a process run for a part of every period, and stops it for the rest.

    Stricter than a group: time that it did not need while it ran is lost to it.

    Args:
        pid: the process; it and all below it are stopped.
        clock: for the periods.
        send: sends a signal; tests hand in one of their own.
    """

    name = "stopped and continued in turns"

    def __init__(self, pid: int, clock: Clock, send: Callable[[int, int], object] = os.kill) -> None:
        self._pid, self._clock, self._send = pid, clock, send
        self._share = 1.0
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._run, name="turns", daemon=True)
        self._thread.start()

    def set(self, share: float) -> None:
        """See `Quota.set`."""
        self._share = share

    def close(self) -> None:
        """See `Quota.close`."""
        self._over.set()
        self._thread.join()

    def _run(self) -> None:
        while not self._over.is_set():
            share = min(1.0, self._share)
            if share < 1:
                self._all(signal.SIGSTOP)
                try:
                    self._clock.wait(self._over, (1 - share) * PERIOD_US / 1e6)
                finally:
                    self._all(signal.SIGCONT)
            self._clock.wait(self._over, share * PERIOD_US / 1e6)

    def _all(self, number: int) -> None:
        for one in family(self._pid):
            with contextlib.suppress(ProcessLookupError):
                self._send(one, number)


def quota(pid: int, clock: Clock, groups: Path = GROUPS) -> Quota:
    """The best limit that there is here."""
    try:
        return Group(pid, groups)
    except OSError:
        return Turns(pid, clock)
