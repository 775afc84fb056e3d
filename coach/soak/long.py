"""A drive of hours, as fast as it goes, in a process of its own: what it keeps in memory, its file, how fast it opens.

The clock is moved by hand, a tenth of a second an instant, so the page's state is made as often as in a real drive.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import threading
from dataclasses import asdict, dataclass
from pathlib import Path

from coach.clock import Clock, HandClock
from coach.drive.loop import Loop
from coach.drive.parts import Parts
from coach.drive.ring import Ring
from coach.drive.windows import Windows
from coach.drive.worker import ChildWorker
from coach.soak.made import STEADY, STEP_US, Made, instants, setup
from coach.sources.base import Ended, Instant
from coach.store import Store
from coach.store.reading import Reader

SETTLE_EVERY = 600
"""Instants after which everything is let become durable: in a real drive the disk is never a minute behind."""
ROUND_S = 300.0
MB = 1_000_000


@dataclass(frozen=True)
class Long:
    """Figures of one long drive.

    Attributes:
        early_mb, end_mb, most_mb: memory of the process after the first eighth of the drive, at its end, at its most.
        open_s: time to read the whole drive into arrays.
    """

    hours: float
    samples: int
    windows: int
    took_s: float
    early_mb: float
    end_mb: float
    most_mb: float
    file_mb: float
    open_s: float


def resident_mb() -> float:
    """Memory of this process, in millions of bytes; 0 where the system does not say."""
    try:
        pages = int(Path("/proc/self/statm").read_text("ascii").split()[1])
    except OSError:
        return 0.0
    return pages * os.sysconf("SC_PAGE_SIZE") / MB


def drive(folder: Path, hours: float) -> Long:
    """Records `hours` of drive into the empty `folder`."""
    import coach.server.run  # noqa: F401 - the memory of a server, not of a script

    real, clock = Clock(), HandClock()
    began, rows = real.fine_ns(), int(hours * 36_000)
    sizes = []
    with Store(folder, clock) as store:
        worker = ChildWorker(folder)
        made = setup(Made(0))
        name, log = store.create_drive(made.new)
        ring = Ring()
        windows = Windows(name, log, worker, ring, clock, made.new.around)
        loop = Loop(
            Parts(name, made.plan, log, clock, ring, made.face, windows, threading.Event(), "simulator", None)
        )  # fmt: skip
        for n, (t_us, values) in enumerate(instants(hours * 3600, round_s=ROUND_S)):
            loop.take(Instant(t_us, values))
            clock.now_us += STEP_US
            loop.tick()
            if n % SETTLE_EVERY == 0:
                _settle(store)
                sizes.append(resident_mb())
        loop.take(Ended("finished"))
        _settle(store)
        windows.wait(60)
        worker.close()
        sizes.append(resident_mb())
        saved, samples = len(store.windows(name)), store.drive(name).samples
    took_s = (real.fine_ns() - began) / 1e9
    size = sum(p.stat().st_size for p in folder.rglob("*") if p.is_file())
    reader = Reader(folder / "coach.db")
    at = real.fine_ns()
    there = reader.recording(name)
    open_s = (real.fine_ns() - at) / 1e9
    assert there.samples == samples == rows * (len(STEADY) + 2)
    early = sizes[max(1, len(sizes) // 8)]
    return Long(hours, samples, saved, took_s, early, sizes[-1], max(sizes), size / MB, open_s)


def _settle(store: Store) -> None:
    done = threading.Event()
    store.settle(done.set)
    done.wait()


def apart(folder: Path, hours: float) -> Long:
    """The same in a process of its own."""
    done = subprocess.run(  # noqa: S603 - our own module, our own interpreter
        [sys.executable, "-m", "coach.soak.long", str(folder), str(hours)], check=True, capture_output=True, text=True,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(p for p in sys.path if p)},
    )  # fmt: skip
    return Long(**json.loads(done.stdout))


if __name__ == "__main__":
    sys.stdout.write(json.dumps(asdict(drive(Path(sys.argv[1]), float(sys.argv[2])))))
