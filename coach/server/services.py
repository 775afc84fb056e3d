"""What the API does, without HTTP: one store, one worker, one ring of messages, at most one running drive."""

from __future__ import annotations

import contextlib
import json
import secrets
from dataclasses import dataclass, field
from pathlib import Path
from threading import BoundedSemaphore, Lock
from typing import Any

from coach.advice import Adviser, DriveState, LinkState
from coach.assets import traces_root
from coach.catalogue import default_catalogue
from coach.clock import US, Clock, wall_text
from coach.core.spec import JudgePlan
from coach.core.view import JudgeView
from coach.drive.drive import Drive
from coach.drive.recovery import recover
from coach.drive.ring import Ring
from coach.drive.tasks import Worker
from coach.errors import Conflict, NotFound, StoreError
from coach.server.beginning import setup
from coach.server.carlink import CarLink
from coach.server.cars import Car, Cars, car_key
from coach.server.catalogues import known
from coach.server.desk_state import Desk
from coach.server.earlier import PullsKnown
from coach.server.garage import Garage, ReadTable
from coach.server.identity import before, identity_mark
from coach.server.models import StartDrive
from coach.server.ready import ready_marks
from coach.server.shelf import RecipeShelf
from coach.server.starting import ROLE, Given, vehicle_of
from coach.shown import METRIC, Units
from coach.store import DriveRow, Store
from coach.store.planjson import load_plan
from coach.words import Words, load_words

MOST_STREAMS = 24
"""Each stream holds a thread of the server: half of them are left for everything else."""


class Locked(Conflict):
    """The car moves and nobody has confirmed being the passenger."""

    code = "locked"


class _NoRecipe:
    captures: tuple[Any, ...] = ()


_NO_RECIPE = _NoRecipe()


@dataclass
class Services:
    """Everything that the app needs; there is no other state.

    Attributes:
        boot: changes with each start of the server; part of every event's id.
        reviewer: does what a review asks, beside the worker that saves windows; None: that one does both.
    """

    store: Store
    worker: Worker
    clock: Clock
    shelf: RecipeShelf
    garage: Garage
    words: Words
    ring: Ring = field(default_factory=Ring)
    boot: str = field(default_factory=lambda: secrets.token_hex(4))
    current: Drive | None = None
    reviewer: Worker | None = None
    cars: Cars = field(init=False)
    pulls: PullsKnown = field(default_factory=PullsKnown)
    desk: Desk = field(init=False)
    streams: BoundedSemaphore = field(default_factory=lambda: BoundedSemaphore(MOST_STREAMS))
    _lock: Lock = field(default_factory=Lock)

    def __post_init__(self) -> None:
        self.cars = Cars(self.store.folder)
        self.desk = Desk(self.store.folder)

    @classmethod
    def make(
        cls, store: Store, worker: Worker, clock: Clock, read_table: ReadTable, given: Given | None = None,
        traces: Path | None = None,
    ) -> Services:  # fmt: skip
        """Services on a store, with the bundled recipes and drives."""
        given = given or Given()
        traces = traces or traces_root()
        words = load_words()
        catalogue = known(default_catalogue(), (given.vehicle, *(link.vehicle for link in given.links)))
        links = [(CarLink(link, catalogue, clock), link.vehicle) for link in given.links]
        recipes = [*given.recipes, *sorted(traces.glob("*recipe*.toml"))]
        shelf = RecipeShelf(store, catalogue, words, recipes)
        garage = Garage(catalogue, traces, given.tables, given.vehicle, read_table, links)
        shelf.knows(garage.widest)
        return cls(store, worker, clock, shelf, garage, words)

    # --- drives

    def start(self, asked: StartDrive, language: str = "en") -> Drive:
        """Starts a drive; what is shown and spoken is in `language`.

        Raises:
            NotAgreed: a real car, and people have not agreed to the notes or said who holds the phone.
            Conflict: one is running.
            NotFound: no such recipe or source.
            BadInput: the recipe, vehicle or table cannot be used.
            StoreError: it cannot be written.
        """
        self._must_be_free()
        car = self.car(asked.source)
        made = setup(asked, language, shelf=self.shelf, garage=self.garage, car=car, store=self.store)
        if asked.confirmed:
            self.cars.change(self.car_key(asked.source), confirmed=made.new.recipe_sha)
        with self._lock:
            self._must_be_free()
            drive = Drive(made, self.store, self.worker, self.clock, self.ring)
            self.current = drive
        drive.start()
        # Whoever looks at the first window should not wait for the child process to load.
        self.worker.submit("warm", {})
        return drive

    def _must_be_free(self) -> None:
        if self.current is not None and self.current.phase != "ended":
            raise Conflict("a drive is being recorded already; stop it first", where=self.current.id)

    def running(self) -> Drive:
        """The drive that runs. Raises Conflict when there is none."""
        if self.current is None or self.current.phase == "ended":
            raise Conflict("no drive is being recorded; start one first")
        return self.current

    def in_hand(self) -> Drive:
        """The drive that runs, for everything but stopping it and saying who holds the phone.

        Raises:
            Locked: the car moves and nobody has confirmed being the passenger.
            Conflict: there is none.
        """
        drive = self.running()
        if drive.locked:
            raise Locked("the car moves: a passenger confirms first; stopping is always open", where=drive.id)
        return drive

    def set_role(self, role: str | None) -> Drive:
        """Says who holds the phone from now on: what only waited for a passenger opens with one. Raises Conflict."""
        drive = self.running()
        drive.mark("role", None, role or "")
        places = {c.id: c.place for c in self.shelf.get(self.store.drive(drive.id).recipe_sha).captures}
        shut = {}
        for mark in drive.marks:
            if mark.kind in {"skip", "unskip"} and mark.capture is not None:
                shut[mark.capture] = mark.kind == "skip", mark.text == ROLE
        for capture, place in places.items():
            skipped, by_role = shut.get(capture, (False, False))
            if role == "passenger" and skipped and by_role:
                drive.mark("unskip", capture, ROLE)
            elif role == "driver" and not skipped and place != "parked":
                drive.mark("skip", capture, ROLE)
        return drive

    def check_hand(self, capture: str) -> None:
        """Refuses what a driver who holds the phone may not arm or take up again. Raises Conflict."""
        drive = self.in_hand()
        places = {c.id: c.place for c in self.shelf.get(self.store.drive(drive.id).recipe_sha).captures}
        if drive.role == "driver" and places.get(capture, "parked") != "parked":
            raise Conflict("this needs a passenger: the driver only drives", where=capture)

    def capture_of(self, drive: Drive, capture: str) -> str:
        """Checks that the running recipe has `capture`. Raises NotFound."""
        if capture not in {c.id for c in load_plan(self.store.drive(drive.id).plan).captures}:
            raise NotFound("the recipe of this drive has no such capture", where=capture)
        return capture

    # --- cars

    def car_key(self, source: str) -> str:
        """Under which name a source's car is kept. Raises NotFound."""
        return car_key(source, vehicle_of(None, self.garage.entry(source), Car())[0])

    def car(self, source: str) -> Car:
        """What was learned and declared of a source's car. Raises NotFound."""
        return self.cars.get(self.car_key(source))

    # --- what is asked often

    def state(self) -> dict[str, Any]:
        """The live state; before the first drive one that says so."""
        return self.ring.state or self._idle()

    def _idle(self) -> dict[str, Any]:
        adviser = Adviser(_NO_RECIPE, JudgePlan(()), default_catalogue(), self.words)
        nothing = DriveState(None, "none", 0, None, "replay", 1.0)
        state = adviser.update(JudgeView(0, ()), [], self.clock.steady_us(), LinkState(), nothing)
        state["drive"] |= {"recipe": None, "role": None, "moving": False, "locked": False, "stored_s": 0.0}
        state["trouble"] = None
        return state

    def ready(
        self, recipe_sha: str, source: str, *, units: Units | None = None, language: str = "en"
    ) -> list[dict[str, Any]]:
        """The marks of the Ready screen. Raises NotFound."""
        recipe, entry = self.shelf.get(recipe_sha), self.garage.entry(source)
        vehicle = vehicle_of(None, entry, self.car(source))[0]
        shown = units or (METRIC if vehicle is None else vehicle.units)
        free, words = self.store.free_bytes(), load_words(language)
        catalogue = self.garage.seen(source, vehicle)
        marks = ready_marks(recipe, source, self.garage, vehicle, catalogue, words, free, shown)
        found = None if entry.link is None else entry.link.car
        if found is not None and marks[0]["state"] in {"ok", "warn"}:
            marks.insert(1, identity_mark(found, recipe, before(self.store.drives(), source), words, shown))
        return marks

    def drive_json(self, row: DriveRow) -> dict[str, Any]:
        """A drive for a list."""
        secured = self.store.secured_counts(row.id)
        captures = load_plan(row.plan).captures
        if any(c.collect is not None for c in captures) and row.phase == "ended":
            # Secured pieces do not say whether everything is collected; the verdict does, and is kept.
            secured = {c["id"]: c["qualified"] for c in json.loads(self.verdict(row.id))["captures"]}
        return {
            "id": row.id, "title": row.title,
            "recipe": {"title": row.title, "revision": row.revision, "sha256": row.recipe_sha},
            "started_at": wall_text(row.anchor_wall_us or row.created_wall_us), "duration_s": row.last_us / US,
            "samples": row.samples, "phase": row.phase, "recovered": row.recovered, "error": row.error,
            "source": {k: row.source.get(k) for k in ("kind", "id", "title")},
            "asked": len(captures), "qualified": sum(secured.get(c.id, 0) >= c.times for c in captures),
        }  # fmt: skip

    def verdict(self, drive: str, language: str = "en") -> str:
        """The verdict on a drive as JSON text; in English it is kept once the drive is over.

        Raises:
            NotFound, StoreError: there is none, or it cannot be read.
        """
        row = self.store.drive(drive)
        keeps = row.phase == "ended" and language == "en"
        kept = self.store.verdict(drive) if keeps else None
        if kept is not None:
            return kept
        body: str = self.worker.submit("verdict", {"drive": drive, "language": language}).result()
        if keeps:
            with contextlib.suppress(StoreError):  # on a full disk it is made anew each time
                self.store.put_verdict(drive, row.recipe_sha, row.rules, body)
        return body

    # --- life

    def recover(self) -> list[str]:
        """Closes and re-judges what a crash left open. Raises StoreError."""
        return recover(self.store, self.worker)

    def close(self, seconds: float = 1.0) -> None:
        """Ends the running drive, the streams, the worker and the store; what was received is stored.

        Args:
            seconds: how long window files may still take; what is not written then is written at the next start.
        """
        drive = self.current
        if drive is not None and drive.phase != "ended":
            with contextlib.suppress(Conflict):  # it may end by itself meanwhile
                drive.finish()
        if drive is not None:
            drive.wait(seconds)
        self.ring.close()
        self.desk.close()
        self.garage.close()
        self.worker.close(0.3)
        if self.reviewer is not None:
            self.reviewer.close(0.3)
        self.store.close()
