"""Cuts the power at many moments of one drive, and opens what the disk then holds."""

from __future__ import annotations

import random
from concurrent.futures import Future
from dataclasses import dataclass, field
from pathlib import Path
from threading import Event
from typing import Any

from coach.clock import Clock, HandClock
from coach.drive.drive import Drive
from coach.drive.ring import Ring
from coach.drive.tasks import Ask, InPlace
from coach.soak.disk import Disk, Image
from coach.soak.made import Made, recording, setup
from coach.soak.promise import Found, Told, reopen
from coach.store import Store

SECONDS = 12.0
SITES = 600
"""About so many times that drive writes or syncs something."""


@dataclass
class Cuts:
    """What came of it: images that were opened, what was found in them; `sites` counts what was written and synced."""

    images: int = 0
    samples: int = 0
    told: int = 0
    saved: int = 0
    broken: list[str] = field(default_factory=list)
    sites: dict[str, int] = field(default_factory=dict)


class _Noting(InPlace):
    """Notes the digests of all files that it wrote."""

    def __init__(self, folder: Path) -> None:
        super().__init__(folder)
        self.known: set[str] = set()

    def submit(self, task: str, ask: Ask) -> Future[Any]:
        """As `InPlace`."""
        result = super().submit(task, ask)
        if task == "save_window" and result.exception() is None:
            self.known.add(result.result()["sha256"])
        return result


def cut_power(work: Path, images: int, *, seed: int = 1, seconds: float = SECONDS) -> Cuts:
    """Records a drive on a disk that forgets, and opens what is left at about `images` moments of it.

    Each moment is looked at twice: as if nothing that was not synced had got to the disk, and as if a part of it had.

    Args:
        work: an empty folder.
    """
    chance = random.Random(seed)
    base = work / "disk"
    base.mkdir()
    cuts = Cuts()
    taken: list[tuple[Image, Told]] = []
    told: list[Told] = [Told()]
    drives: list[tuple[Drive, Ring]] = []

    def now() -> Told:
        if not drives:
            return told[0]
        drive, ring = drives[0]
        messages = ring.since(0) or []
        saved = frozenset((m.data["capture"], m.data["number"]) for m in messages if m.kind == "saved")
        return Told(drive.id, drive.stored_us, saved)

    def at_each(site: str) -> None:
        cuts.sites[site] = cuts.sites.get(site, 0) + 1
        # What was told is read first: what the disk gets meanwhile was not promised.
        if chance.random() < rate:
            before = now()
            taken.append((disk.image(), before))

    rate = min(1.0, images / SITES)
    disk = Disk(base, at_each)
    with disk.watched():
        with Store(base / "data", HandClock()) as store:
            worker = _Noting(store.folder)
            ring = Ring(100_000)
            # Not flat out, or everything would be one transaction.
            pace = Event()
            source = Made(seconds, lambda _: Clock().wait(pace, 0.004))
            drive = Drive(setup(source), store, worker, store.clock, ring)
            drives.append((drive, ring))
            drive.start()
            drive.wait(60)
            at_each("end")
            end = now()
            taken.append((disk.image(), end))
        taken.append((disk.image(), end))
    whole = recording(seconds)
    for n, (image, promised) in enumerate(taken):
        for torn in (None, random.Random(f"{seed} {n}")):
            folder = work / f"image-{n}-{'torn' if torn else 'strict'}"
            image.lay(folder, torn)
            cuts.images += 1
            data = folder / "data"
            if promised.drive is None and not data.exists():
                continue
            found = reopen(data, promised, lambda: whole, worker.known)
            _add(cuts, found, promised, folder.name)
    return cuts


def _add(cuts: Cuts, found: Found, told: Told, where: str) -> None:
    cuts.samples += found.samples
    cuts.told += told.stored_us >= 0
    cuts.saved += len(told.saved)
    cuts.broken += [f"{where}: {text}" for text in found.broken]
