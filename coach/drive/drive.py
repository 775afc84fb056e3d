"""A drive with its threads: one for the source, one for the loop. All calls may come from any thread."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable
from concurrent.futures import CancelledError
from dataclasses import dataclass
from typing import Any

from coach.clock import US, Clock
from coach.core.spec import JudgePlan
from coach.drive.inbox import Closed, Command, Inbox
from coach.drive.loop import Loop
from coach.drive.parts import Face, Parts
from coach.drive.ring import Ring
from coach.drive.tasks import Worker
from coach.drive.windows import Windows
from coach.errors import CoachError, Conflict
from coach.recording import Mark
from coach.sources.base import Ended, Instant, Source, SourceEvent
from coach.store.model import NewDrive
from coach.store.store import Store

WAIT_S = 0.05
"""How long the loop sleeps at most; what is due is done that late at the latest."""
PROMPT_US = US
"""While the disk is no further behind, what a car sends is judged in the thread that hears it."""


@dataclass(frozen=True)
class Setup:
    """What a drive is started with.

    Attributes:
        new: what the store keeps (recipe, vehicle, plan, catalogue as they stand now).
        plan: the same plan, resolved.
        face: makes the live state.
        marks: said before the first sample: role, notes acknowledged.
        speed: of a replay, for the page; None is flat out.
    """

    new: NewDrive
    plan: JudgePlan
    source: Source
    face: Face
    marks: tuple[Mark, ...] = ()
    speed: float | None = 1.0


class Drive:
    """One drive that is being recorded and judged.

    Raises:
        Conflict: another drive is open in the store.
        StoreError: it could not be created.
    """

    def __init__(
        self, setup: Setup, store: Store, worker: Worker, clock: Clock, ring: Ring,
        on_end: Callable[[Drive], None] | None = None,
    ) -> None:  # fmt: skip
        self.source = setup.source
        self.id, log = store.create_drive(setup.new)
        self._log = log
        self._clock = clock
        # What a car sends is judged as it comes. Other sources are faster than that: they wait for the loop.
        self._inbox = Inbox(at_once=self._at_once if setup.source.kind == "link" else None)
        self._failed: Exception | None = None
        self._stop_source = threading.Event()
        self._windows = Windows(self.id, log, worker, ring, clock, setup.new.around)
        self._on_end = on_end
        self._ended = threading.Event()
        self._loop = Loop(_parts(setup, self.id, log, clock, ring, self._windows, self._stop_source))
        self._first_marks = setup.marks
        self._threads = (
            threading.Thread(target=self._run_source, name="drive-source", daemon=True),
            threading.Thread(target=self._run_loop, name="drive-loop", daemon=True),
        )

    def start(self) -> None:
        """Starts the source and the loop."""
        for mark in self._first_marks:
            self._loop.mark(mark.kind, mark.capture, mark.text)
        for thread in self._threads:
            thread.start()

    @property
    def phase(self) -> str:
        """`recording`, `paused`, `stopping` or `ended`."""
        return self._loop.phase

    @property
    def role(self) -> str | None:
        """Who holds the phone, as was said last."""
        return self._loop.role

    @property
    def locked(self) -> bool:
        """The car moves, or may, and nobody has confirmed being the passenger."""
        return self._loop.locked

    @property
    def error(self) -> str | None:
        """The sentence why the drive ended early, or None."""
        return self._loop.error

    @property
    def stored_us(self) -> int:
        """Up to this time of the drive every sample is durable; -1 before the first is."""
        return self._log.durable_us

    @property
    def marks(self) -> tuple[Mark, ...]:
        """What people said so far, as it took effect."""
        return tuple(self._loop.marks)

    def mark(self, kind: str, capture: str | None = None, text: str = "") -> Mark:
        """Something a person says now; gives it as it takes effect. Raises Conflict when the drive is over."""
        mark: Mark = self._ask(lambda: self._loop.mark(kind, capture, text))
        return mark

    def pause(self) -> None:
        """Nothing counts until `resume`; recording goes on. Raises Conflict."""
        self._ask(self._loop.pause)

    def resume(self) -> None:
        """Ends a pause. Raises Conflict."""
        self._ask(self._loop.resume)

    def stop(self) -> None:
        """Ends the drive in ten seconds, unless `carry_on` comes before. Raises Conflict."""
        self._ask(self._loop.stop)

    def carry_on(self) -> None:
        """Takes a stop back. Raises Conflict."""
        self._ask(self._loop.carry_on)

    def finish(self) -> None:
        """Ends the drive at once: what the source has sent is still judged and stored. Raises Conflict."""
        self._ask(self._loop.finish)

    def wait(self, seconds: float) -> bool:
        """Waits until the drive is over and its windows are saved, `seconds` (of the system's clock) at most."""
        return self._ended.wait(seconds) and self._windows.wait(seconds)

    def steady_kmh(self) -> float | None:
        """The road speed where it is known and steady, else None. Raises Conflict when the drive is over."""
        kmh: float | None = self._ask(lambda: self._loop.motion.steady_kmh(self._loop.time_us))
        return kmh

    def change_face(self, change: Callable[[Face], None]) -> None:
        """Changes how the page's state is made. Raises Conflict when the drive is over."""
        self._ask(lambda: self._loop.change_face(change))

    def seen(self) -> None:
        """Somebody has seen the alarm and closes it. Raises Conflict."""
        self._ask(self._loop.seen)

    def _ask(self, work: Callable[[], Any]) -> Any:
        try:
            return self._inbox.ask(work).result()
        except (Closed, CancelledError):  # it ended before or after the question was put
            raise Conflict("the drive is over") from None

    def _at_once(self, event: Instant) -> None:
        """Takes an event of the source in its own thread; what goes wrong is told by the loop's."""
        try:
            self._loop.take(event)
            self._tick()
        except Exception as error:  # noqa: BLE001 - raised again where the drive is closed
            self._failed = error
            self._inbox.prompt = False

    def _tick(self) -> None:
        self._loop.tick()
        # A disk that cannot follow must not hold up the source: it goes on asking, and its answers wait.
        self._inbox.prompt = self._failed is None and self._log.behind_us() < PROMPT_US

    def _run_source(self) -> None:
        def emit(event: SourceEvent) -> None:
            self._inbox.put(event)

        try:
            self.source.run(emit, self._stop_source, self._clock)
        except Closed:
            return
        except CoachError as error:
            self._give_up(error.message)
        except Exception as error:  # noqa: BLE001 - whatever a source does, the drive is closed and readable
            self._give_up(f"The source failed ({type(error).__name__}: {error}).")

    def _give_up(self, text: str) -> None:
        try:
            self._inbox.put(Ended("failed", text))
        except Closed:
            return

    def _run_loop(self) -> None:
        loop, commands = self._loop, list[Command]()
        try:
            while loop.phase != "ended":
                commands, events = self._inbox.take(WAIT_S)
                if self._failed is not None:
                    raise self._failed
                for work, result in commands:
                    try:
                        result.set_result(work())
                    except CoachError as error:
                        result.set_exception(error)
                for event in events:
                    loop.take(event)
                self._tick()
        except Exception as error:  # whatever it was, what is stored must be closed and readable
            logging.getLogger(__name__).exception("the drive loop failed")
            loop.abandon(f"Recording failed ({type(error).__name__}: {error}).")
        finally:
            self._inbox.close()
            for _, result in commands:  # nobody waits for an answer that does not come
                result.cancel()
            self._stop_source.set()
            durable = threading.Event()
            self._log.settle(lambda _: durable.set())
            durable.wait()
            if self._log.error is not None:
                loop.not_stored(self._log.error.message)
            else:
                loop.stored()
            self._ended.set()
            if self._on_end is not None:
                self._on_end(self)


def _parts(
    setup: Setup, drive: str, log: Any, clock: Clock, ring: Ring, windows: Windows, stop: threading.Event
) -> Parts:
    source = setup.source
    replayed = source.kind == "replay"
    wall = source.meta.get("wall_us") if replayed else None
    return Parts(
        drive=drive, plan=setup.plan, log=log, clock=clock, ring=ring, face=setup.face, windows=windows,
        stop_source=stop, source_kind=source.kind, speed=setup.speed, wall_us=wall,
        wall_known=not replayed or wall is not None, recipe_sha=setup.new.recipe_sha,
        favour=getattr(source, "favour", None), rates_hz=getattr(source, "rates_hz", None),
        link_facts=getattr(source, "link_facts", None),
    )  # fmt: skip
