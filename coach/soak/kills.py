"""Kills a recording server at random moments, and holds what it had told its page against what is there afterwards."""

from __future__ import annotations

import json
import os
import random
import signal
import threading
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from functools import cache
from http.client import HTTPConnection, HTTPException
from pathlib import Path
from typing import Any

from coach.clock import US, Clock
from coach.recording import Recording
from coach.soak.herd import Herd
from coach.soak.promise import Told, reopen
from coach.sources.simulator.scenarios import scenario

SPEED = 200.0
"""A simulated drive of five minutes takes a second and a half, so that every moment of a drive is met."""
LATEST_S = 1.2
SOON_S = 0.2


@dataclass
class Kills:
    """What came of it.

    Attributes:
        survived: kills after which every promise was kept.
        lost_samples: kills after which a sample that was told to be stored was gone.
        saved: windows that were told to be saved before a kill.
        worst_s: the longest time, of the system's clock, between the last moment that the page showed and the last
            sample that is there.
        broken: the promises that were not kept, in words.
    """

    kills: int = 0
    survived: int = 0
    lost_samples: int = 0
    samples: int = 0
    recording: int = 0
    saved: int = 0
    worst_s: float = 0.0
    broken: list[str] = field(default_factory=list)


class Page:
    """Listens to a server as a page does, and remembers what it was told."""

    def __init__(self, port: int) -> None:
        self.drive: str | None = None
        self.stored_us = -1
        self.shown_us = 0
        self.saved: set[tuple[str, int]] = set()
        self.secured, self.any_saved = threading.Event(), threading.Event()
        self._port = port
        self._thread = threading.Thread(target=self._listen, daemon=True)
        self._thread.start()

    def told(self) -> Told:
        """All that it was told; the server must be gone."""
        self._thread.join(10)
        return Told(self.drive, self.stored_us, frozenset(self.saved))

    def _listen(self) -> None:
        connection = HTTPConnection("127.0.0.1", self._port, timeout=10)
        with suppress(OSError, HTTPException, ValueError):
            connection.request("GET", "/api/live")
            for kind, data in _events(connection.getresponse()):
                self._take(kind, data)
        connection.close()

    def _take(self, kind: str, data: dict[str, Any]) -> None:
        if kind == "state" and data["drive"].get("id"):
            self.drive = data["drive"]["id"]
            self.shown_us = round(data["drive"]["t_s"] * US)
            if data["drive"]["stored_s"] > 0:
                self.stored_us = round(data["drive"]["stored_s"] * US)
        elif kind == "saved":
            self.saved.add((data["capture"], data["number"]))
            self.any_saved.set()
        elif kind == "judge" and data["type"] == "secured":
            self.secured.set()


def _events(lines: Any) -> Iterator[tuple[str, dict[str, Any]]]:
    kind = ""
    for raw in lines:
        line = raw.decode().rstrip("\n")
        if line.startswith("event: "):
            kind = line[7:]
        elif line.startswith("data: "):
            yield kind, json.loads(line[6:])


@cache
def _source() -> Recording:
    return scenario("everything-qualifies").recording()


def kill(work: Path, kills: int, *, seed: int = 1) -> Kills:
    """Records `kills` drives, each killed at a moment of its own, and opens what is left.

    Half of them are killed within moments of a window that is secured or saved, when most is being written.

    Args:
        work: an empty folder.
    """
    chance = random.Random(seed)
    made = Kills()
    with Herd() as herd:
        one = _One(herd, work / "kill-0", chance)
        for n in range(kills):
            one.wait()
            # The next one is recording while this one is looked at.
            after = _One(herd, work / f"kill-{n + 1}", chance) if n + 1 < kills else None
            _look(made, one)
            if after is None:
                break
            one = after
    return made


class _One:
    """One server, killed in a thread of its own."""

    def __init__(self, herd: Herd, folder: Path, chance: random.Random) -> None:
        self.folder = folder
        self._process, port = herd.start(folder, SPEED)
        self.page = Page(port)
        moment = chance.choice([None, None, self.page.secured, self.page.any_saved])
        wait_s = chance.uniform(0, LATEST_S if moment is None else SOON_S)
        self._thread = threading.Thread(target=self._kill, args=(moment, wait_s), daemon=True)
        self._thread.start()

    def _kill(self, moment: threading.Event | None, wait_s: float) -> None:
        clock = Clock()
        if moment is not None:
            clock.wait(moment, 4 * LATEST_S)
        clock.wait(threading.Event(), wait_s)
        with suppress(ProcessLookupError):
            os.killpg(self._process, signal.SIGKILL)

    def wait(self) -> None:
        """Until it is dead."""
        self._thread.join()


def _look(made: Kills, one: _One) -> None:
    told = one.page.told()
    found = reopen(one.folder, told, _source)
    made.kills += 1
    made.survived += not found.broken
    made.lost_samples += found.lost
    made.samples += found.samples
    made.recording += told.stored_us >= 0
    made.saved += len(told.saved)
    if found.last_us >= 0:
        made.worst_s = max(made.worst_s, (one.page.shown_us - found.last_us) / US / SPEED)
    made.broken += [f"{one.folder.name}: {text}" for text in found.broken]
