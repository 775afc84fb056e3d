"""What the API does, without HTTP: one store, one worker, one ring of messages, at most one running drive."""

from __future__ import annotations

import contextlib
import json
import secrets
from collections.abc import Iterable
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
from coach.drive.drive import Drive, Setup
from coach.drive.recovery import recover
from coach.drive.ring import Ring
from coach.drive.tasks import Worker
from coach.errors import Conflict, NotFound
from coach.plan import resolve
from coach.recipe import Recipe
from coach.recording import Mark
from coach.server.carlink import CarLink, GivenLink
from coach.server.garage import Entry, Garage, ReadTable
from coach.server.models import StartDrive
from coach.server.ready import ready_marks
from coach.server.shelf import RecipeShelf
from coach.shown import METRIC
from coach.sources.base import Source
from coach.plan.rates import asked_hz
from coach.sources.link.source import LinkSource
from coach.store import Around, DriveRow, NewDrive, Store
from coach.store.planjson import dump_catalogue, dump_plan, load_plan
from coach.vehicle import Vehicle, parse_vehicle
from coach.words import Words, load_words

MOST_STREAMS = 24
"""Each stream holds a thread of the server: half of them are left for everything else."""
ROLE = "role"
"""Text of a mark that skips a capture only because of who holds the phone."""


@dataclass(frozen=True)
class Given:
    """What was named when the server was started: recipes, tables, adapters, and the vehicle of those."""

    recipes: tuple[Path, ...] = ()
    tables: tuple[Path, ...] = ()
    vehicle: bytes | None = None
    links: tuple[GivenLink, ...] = ()


@dataclass
class Services:
    """Everything that the app needs; there is no other state.

    Attributes:
        boot: changes with each start of the server; part of every event's id.
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
    streams: BoundedSemaphore = field(default_factory=lambda: BoundedSemaphore(MOST_STREAMS))
    _lock: Lock = field(default_factory=Lock)

    @classmethod
    def make(
        cls, store: Store, worker: Worker, clock: Clock, read_table: ReadTable, given: Given | None = None,
        traces: Path | None = None,
    ) -> Services:  # fmt: skip
        """Services on a store, with the bundled recipes and drives."""
        given = given or Given()
        traces = traces or traces_root()
        words, catalogue = load_words(), default_catalogue()
        links = [(CarLink(link, catalogue, clock), link.vehicle) for link in given.links]
        recipes = [*given.recipes, *sorted(traces.glob("*recipe*.toml"))]
        return cls(
            store, worker, clock, RecipeShelf(store, catalogue, words, recipes),
            Garage(catalogue, traces, given.tables, given.vehicle, read_table, links), words,
        )  # fmt: skip

    # --- drives

    def start(self, asked: StartDrive) -> Drive:
        """Starts a drive.

        Raises:
            Conflict: one is running.
            NotFound: no such recipe or source.
            BadInput: the recipe, vehicle or table cannot be used.
            StoreError: it cannot be written.
        """
        self._must_be_free()
        recipe, entry = self.shelf.get(asked.recipe), self.garage.entry(asked.source)
        vehicle, vehicle_file, vehicle_name = _vehicle(asked.vehicle, entry)
        source = self.garage.open(asked.source, asked.speed)
        people = source.kind == "link" or source.people_recorded
        catalogue = default_catalogue()
        plan = resolve(recipe, catalogue, vehicle, measured=source.signals or None, people_recorded=people)
        speed = asked.speed
        if isinstance(source, LinkSource):
            source.asked_hz, speed = asked_hz(plan, catalogue), 1.0
        new = NewDrive(
            recipe=recipe.source, recipe_sha=recipe.sha256, recipe_name=recipe.name, title=recipe.title,
            revision=recipe.revision, plan=dump_plan(plan), catalogue=dump_catalogue(catalogue), rules=plan.rules,
            vehicle=vehicle_file, vehicle_name=vehicle_name,
            source=_source_facts(entry, source, speed, people=people),
            around={c.id: Around(c.before_us, c.after_us) for c in recipe.captures},
        )  # fmt: skip
        units = METRIC if vehicle is None else vehicle.units
        face = Adviser(recipe, plan, catalogue, self.words, units)
        marks = first_marks(recipe, asked.role, asked.acknowledged)
        setup = Setup(new, plan, source, face, marks, speed)
        with self._lock:
            self._must_be_free()
            drive = Drive(setup, self.store, self.worker, self.clock, self.ring)
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

    def capture_of(self, drive: Drive, capture: str) -> str:
        """Checks that the running recipe has `capture`. Raises NotFound."""
        if capture not in {c.id for c in load_plan(self.store.drive(drive.id).plan).captures}:
            raise NotFound("the recipe of this drive has no such capture", where=capture)
        return capture

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

    def ready(self, recipe_sha: str, source: str) -> list[dict[str, Any]]:
        """The marks of the Ready screen. Raises NotFound."""
        recipe, entry = self.shelf.get(recipe_sha), self.garage.entry(source)
        vehicle = _vehicle(None, entry)[0]
        units = METRIC if vehicle is None else vehicle.units
        free = self.store.free_bytes()
        return ready_marks(recipe, source, self.garage, vehicle, default_catalogue(), self.words, free, units)

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

    def verdict(self, drive: str) -> str:
        """The verdict on a drive as JSON text, kept once the drive is over. Raises NotFound, StoreError."""
        row = self.store.drive(drive)
        kept = self.store.verdict(drive) if row.phase == "ended" else None
        if kept is not None:
            return kept
        body: str = self.worker.submit("verdict", {"drive": drive}).result()
        if row.phase == "ended":
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
        self.garage.close()
        self.worker.close(0.3)
        self.store.close()


class _NoRecipe:
    captures: tuple[Any, ...] = ()


_NO_RECIPE = _NoRecipe()


def first_marks(recipe: Recipe, role: str | None, acknowledged: Iterable[str]) -> tuple[Mark, ...]:
    """What was said before the first sample: the notes agreed to, and who holds the phone.

    With a driver who is parked, everything but the captures made standing is skipped: it waits for a passenger.
    """
    marks = [Mark(0, "acknowledge", None, code) for code in acknowledged]
    if role is not None:
        marks.append(Mark(0, "role", None, role))
    if role == "driver":
        marks += [Mark(0, "skip", c.id, ROLE) for c in recipe.captures if c.place != "parked"]
    return tuple(marks)


def _vehicle(text: str | None, entry: Entry) -> tuple[Vehicle | None, bytes | None, str | None]:
    """The vehicle of a drive: the one handed in, else the source's own."""
    if text is not None:
        body, name = text.encode(), "vehicle.toml"
    elif entry.vehicle is not None:
        body, name = entry.vehicle, f"{entry.title}: vehicle"
    else:
        return None, None, None
    return parse_vehicle(body, name=name), body, name


def _source_facts(entry: Entry, source: Source, speed: float | None, *, people: bool) -> dict[str, Any]:
    return {
        "kind": source.kind, "id": entry.id, "title": entry.title, "speed": speed, "people_recorded": people,
        "meta": dict(source.meta),
    }  # fmt: skip
