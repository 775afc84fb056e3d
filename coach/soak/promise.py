"""What was promised of a drive before it was cut off, held against what is there afterwards."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from coach.clock import HandClock
from coach.core.afterwards import judge_instants
from coach.core.events import Code, Ended, Event
from coach.drive.recovery import recover
from coach.drive.tasks import InPlace
from coach.errors import CoachError
from coach.recording import Recording
from coach.soak.disk import unsynced
from coach.store import Store
from coach.store.planjson import load_plan

Window = tuple[str, int]
"""Capture and number."""


@dataclass(frozen=True)
class Told:
    """What somebody had been told by the moment of the cut.

    Attributes:
        drive: the drive that had begun, if they were told of one.
        stored_us: up to here its samples were said to be stored; -1 for none.
        saved: the windows that were said to be saved.
    """

    drive: str | None = None
    stored_us: int = -1
    saved: frozenset[Window] = frozenset()


@dataclass
class Found:
    """What was there. `broken` lists the promises that were not kept, in words; all else are figures."""

    broken: list[str] = field(default_factory=list)
    last_us: int = -1
    samples: int = 0
    lost: int = 0
    windows: int = 0


def reopen(
    folder: Path, told: Told, source: Callable[[], Recording] | None = None, known: Iterable[str] = ()
) -> Found:  # fmt: skip
    """Opens a data folder that was cut off, recovers it and looks at everything that was promised.

    Args:
        folder: the data folder; it is changed as opening it changes it.
        source: what was being recorded, to compare sample by sample.
        known: SHA-256 of whole files of windows that were written, besides those that the store names.
    """
    found = Found()
    try:
        with unsynced(), Store(folder, HandClock()) as store:
            _look(store, told, found, source, set(known))
    except CoachError as error:
        found.broken.append(f"the folder does not open: {error}")
    return found


def _look(
    store: Store, told: Told, found: Found, source: Callable[[], Recording] | None, known: set[str]
) -> None:  # fmt: skip
    drives = {row.id: row for row in store.drives()}
    if told.drive is not None and told.drive not in drives:
        found.broken.append("the drive is gone")
        return
    if not drives:
        return
    name = told.drive or next(iter(drives))
    row = drives[name]
    was_open = row.phase != "ended"
    said = [e.event for e in store.events(name)]
    files = _files(store, name)
    known |= {w.sha256 for w in store.windows(name)}
    recover(store, InPlace(store.folder))
    row = store.drive(name)
    if was_open and not row.recovered:
        found.broken.append("it was left open and is not marked as recovered")
    if store.left_open():
        found.broken.append("it is still open")
    there = store.recording(name)
    found.samples, found.last_us = there.samples, row.last_us if there.samples else -1
    if found.last_us < told.stored_us:
        found.lost = 1
        found.broken.append(f"samples were stored up to {told.stored_us} us, and now up to {found.last_us} us")
    if any(n.code == "damaged_blocks" for n in there.notes):
        found.broken.append("blocks are damaged")
    if source is not None:
        found.broken += _compare(source(), there, found.last_us)
    _verdict(store, name, said, there, found)
    rows = {(w.capture, w.number): w for w in store.windows(name)}
    # A file may have been replaced, and the power gone before that was written down: then it is the whole one.
    known |= {w.sha256 for w in rows.values()}
    found.windows = len(rows)
    for window in told.saved:
        if window not in files:
            found.broken.append(f"window {window} was saved and is gone")
        elif files[window] not in known:
            found.broken.append(f"the file of window {window} is not whole")
        if window not in rows:
            found.broken.append(f"window {window} was saved and the new verdict has it not")


def _files(store: Store, drive: str) -> Mapping[Window, str]:
    """Digest of each window's file as it is on the disk."""
    made = {}
    for row in store.windows(drive):
        path = store.folder / row.path
        made[row.capture, row.number] = hashlib.sha256(path.read_bytes()).hexdigest() if path.is_file() else "no file"
    return made


def _verdict(store: Store, drive: str, said: list[Event], there: Recording, found: Found) -> None:
    """The verdict that was written down is that of the samples, and what was said live is its beginning."""
    row = store.drive(drive)
    verdict = judge_instants(load_plan(row.plan), there)
    attempts = [a for some in verdict.attempts.values() for a in some]
    if sorted(store.attempts(drive), key=repr) != sorted(attempts, key=repr):
        found.broken.append("the attempts are not those of the samples")
    if list(verdict.events)[: len(said)] != said:
        ends = [e for e in said if not (isinstance(e, Ended) and _by_end(e))]
        if any(e not in verdict.events for e in ends):
            found.broken.append("the new verdict differs from what was said live")


def _by_end(event: Ended) -> bool:
    return event.attempt.reason is not None and event.attempt.reason.code is Code.DRIVE_ENDED


def _compare(source: Recording, there: Recording, last_us: int) -> list[str]:
    """Whether what is there is the beginning of `source`, without a hole, up to `last_us`."""
    broken = []
    for name, series in source.series.items():
        part = series.t_us <= last_us
        mine = there.series.get(name)
        t, value = (np.zeros(0), np.zeros(0)) if mine is None else (mine.t_us, mine.value)
        at_end = t[-1] if len(t) else -1
        # Of the last instant a part may be in the next block.
        part &= series.t_us <= max(at_end, last_us - 1)
        if not (np.array_equal(series.t_us[part], t) and np.array_equal(series.value[part], value, equal_nan=True)):
            broken.append(f"samples of {name} are missing or changed")
    return broken
