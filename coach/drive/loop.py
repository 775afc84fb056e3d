"""The one loop, without threads: events of the source in; judge, store and listeners fed, in that order.

Everything here runs in one thread and is told the time by its clock, so that a hand clock makes it repeatable.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from coach.clock import US
from coach.core.events import Ended as AttemptEnded
from coach.core.events import Event, Secured
from coach.core.judge import Judge
from coach.drive.motion import Motion
from coach.drive.parts import Face, Parts
from coach.drive.telling import Now, Phase, Telling
from coach.drive.watch import Watch
from coach.errors import Conflict
from coach.recording import Mark
from coach.sources.base import Advance, Back, Ended, Instant, Lost, Marked, SourceEvent
from coach.store.codec import event_json
from coach.store.drivelog import LATE

STATE_EVERY_US = 100_000
TAKE_BACK_US = 10 * US
"""A stop can be taken back for so long; recording and judging go on."""
BLOCK_OPEN_US = 250_000
"""A block goes to the writer after so long, even if nothing more comes: with the commit it is under 0.5 s."""
LAST_CALL_US = 2 * US
"""How long the source may take to end once it was told to."""


class Loop:
    """Judges and records one drive.

    Attributes:
        phase: `ended` once everything is handed to the store.
        error: the sentence why it ended early, or None.
        marks: what people said so far, as it took effect.
    """

    def __init__(self, parts: Parts) -> None:
        self.parts = parts
        self.phase: Phase = "recording"
        self.error: str | None = None
        self.late = 0
        self.last_us = -1
        self.time_us = 0
        self._judge = Judge(parts.plan)
        now_us = parts.clock.steady_us()
        self._telling = Telling(parts, now_us)
        self._block_since_us = now_us
        self._stop_at_us: int | None = None
        self._end_by_us: int | None = None
        self._before_stop: Phase = "recording"
        self._watch = Watch(parts.log, parts.clock, now_us)
        self.motion = Motion()
        self.role: str | None = None
        self.marks: list[Mark] = []
        # Whoever asks right after the start sees this drive and not the one before.
        self._tell_drive()
        self._tell_state()

    # --- the source

    def take(self, event: SourceEvent) -> None:
        """Takes one event of the source."""
        if self.phase == "ended":
            return
        if isinstance(event, Instant):
            self._instant(event)
        elif isinstance(event, Advance):
            self.time_us = max(self.time_us, event.t_us)
            if self.parts.source_kind != "link":
                # A link tells the time also while the car is silent.
                self._telling.heard_us = self.parts.clock.steady_us()
            self.parts.log.promised_us = self.time_us
            self._said(self._judge.advance(event.t_us))
            self.parts.windows.reached(self.time_us)
        elif isinstance(event, Marked):
            self._mark(event.mark)
        elif isinstance(event, Lost):
            self._telling.lost(event.reason)
            self._tell_state()
        elif isinstance(event, Back):
            self._telling.back()
            self._tell_state()
        elif isinstance(event, Ended):
            self._close(event.text if event.reason == "failed" else None)

    def _instant(self, instant: Instant) -> None:
        parts, t_us = self.parts, instant.t_us
        self._telling.heard_us = parts.clock.steady_us()
        late = t_us <= self.last_us
        if parts.log.samples_at(t_us, instant.values, LATE if late else 0, instant.uncertainty_us):
            self._block_since_us = self._telling.heard_us
        if late:
            # Kept, said in the notes, not judged: rule 3.
            self.late += len(instant.values)
            return
        if self.last_us < 0:
            self._anchor(t_us)
        self.last_us = t_us
        self.time_us = max(self.time_us, t_us)
        self.motion.feed(t_us, instant.values)
        self._said(self._judge.feed(t_us, instant.values))
        parts.windows.reached(t_us)

    def _anchor(self, t_us: int) -> None:
        wall_us = self.parts.wall_us
        if self.parts.wall_known:
            if wall_us is None:
                wall_us = self.parts.clock.wall_us() - t_us
            self.parts.log.anchor(wall_us)

    # --- people

    def mark(self, kind: str, capture: str | None = None, text: str = "") -> Mark:
        """What a person says now. Raises Conflict when the drive is over."""
        self._must_run()
        if kind == "arm" and not self.motion.standing(self.time_us):
            raise Conflict("arming is done at standstill; stop the car first")
        mark = self._mark(Mark(self.time_us, kind, capture, text))
        self._tell_state()
        return mark

    def seen(self) -> None:
        """Somebody has seen the alarm and closes it."""
        self.parts.face.seen()
        self._tell_state()

    def change_face(self, change: Callable[[Face], None]) -> None:
        """Changes how the page's state is made (language, units, the dial), from the next state on."""
        change(self.parts.face)
        self._tell_state()

    def pause(self) -> None:
        """Nothing counts until `resume`; recording goes on. Raises Conflict."""
        self._must_be("recording")
        self._mark(Mark(self.time_us, "pause"))
        self._phase("paused")

    def resume(self) -> None:
        """Ends a pause. Raises Conflict."""
        self._must_be("paused")
        self._mark(Mark(self.time_us, "resume"))
        self._phase("recording")

    def stop(self) -> None:
        """Ends the drive in ten seconds, unless `carry_on` comes before. Raises Conflict."""
        self._must_run()
        if self.phase == "stopping":
            raise Conflict("the drive is stopping already")
        self._before_stop = self.phase
        self._stop_at_us = self.parts.clock.steady_us() + TAKE_BACK_US
        self._phase("stopping")

    def carry_on(self) -> None:
        """Takes a stop back. Raises Conflict."""
        self._must_be("stopping")
        if self._end_by_us is not None:
            raise Conflict("the drive is ending; it is too late to carry on")
        self._stop_at_us = None
        self._phase(self._before_stop)

    def finish(self) -> None:
        """Ends the drive as soon as its source has; what it sent before is still judged."""
        if self.phase == "ended" or self._end_by_us is not None:
            return
        self._end_by_us = self.parts.clock.steady_us() + LAST_CALL_US
        self._stop_at_us = None
        self.parts.stop_source.set()
        if self.phase != "stopping":
            self._phase("stopping")

    def abandon(self, error: str) -> None:
        """Closes the drive without asking the judge again; `error` is the sentence why."""
        self.error = error
        self.phase = "ended"
        self.parts.log.end(self.parts.clock.wall_us(), error=error)
        self._tell_drive()

    @property
    def locked(self) -> bool:
        """The car moves, or may, and nobody has confirmed being the passenger: only stopping is open."""
        return self.role != "passenger" and self.motion.moving(self.time_us)

    def stored(self) -> None:
        """The drive is over and all of it is durable: the page is told how far, unless another drive has begun."""
        self._telling.stored()

    def not_stored(self, error: str) -> None:
        """The drive is over, and then its last moments could not be written; `error` is the sentence why."""
        if self.error is None:
            self.error = error
            self._tell_drive()
            self._tell_state()

    # --- time

    def tick(self) -> None:
        """Does what is due: blocks that have been open too long, the end of a stop, a fresh state."""
        if self.phase == "ended":
            return
        now_us = self.parts.clock.steady_us()
        log = self.parts.log
        if log.error is not None:
            self.parts.stop_source.set()
            self._close(log.error.message)
            return
        if log.pending and now_us - self._block_since_us >= BLOCK_OPEN_US:
            log.flush()
        if self._stop_at_us is not None and now_us >= self._stop_at_us:
            self.finish()
        if self._end_by_us is not None and now_us >= self._end_by_us:
            self._close(None)
            return
        if self._watch.disk():
            self._tell_drive()
        self._watch.clock(now_us, self.time_us)
        if now_us - self._telling.told_us >= STATE_EVERY_US:
            self._tell_state()

    # --- inside

    def _mark(self, mark: Mark) -> Mark:
        effective, events = self._judge.mark(mark)
        self.parts.log.mark(effective)
        self.marks.append(effective)
        # What was said counts from its own moment on, and the page is to show that at once.
        self.time_us = max(self.time_us, effective.t_us)
        if mark.kind == "role":
            self.role = mark.text or None
        self._said(events)
        return effective

    def _said(self, events: Sequence[Event]) -> None:
        if not events:
            return
        parts = self.parts
        for event in events:
            parts.log.event(event)
            parts.ring.publish("judge", event_json(event))
            if isinstance(event, Secured):
                parts.windows.secured(event)
            elif isinstance(event, AttemptEnded):
                parts.windows.ended(event)
        self._telling.said(events)
        self._tell_state()

    def _close(self, error: str | None) -> None:
        parts = self.parts
        if parts.log.error is None:
            self._said(self._judge.end())
        self.error = error
        self.phase = "ended"
        parts.log.end(parts.clock.wall_us(), error=error)
        parts.windows.finish()
        self._tell_drive()
        self._tell_state()

    def _phase(self, phase: Phase) -> None:
        self.phase = phase
        self.parts.log.phase(phase)
        self._tell_drive()
        self._tell_state()

    def _must_run(self) -> None:
        if self.phase == "ended":
            raise Conflict("the drive is over")

    def _must_be(self, phase: Phase) -> None:
        self._must_run()
        if self.phase != phase:
            raise Conflict(f"the drive is {self.phase}, not {phase}")

    def _now(self) -> Now:
        left_us = None
        if self.phase == "stopping":
            left_us = 0 if self._stop_at_us is None else max(0, self._stop_at_us - self.parts.clock.steady_us())
        moving = self.motion.moving(self.time_us)
        return Now(self.phase, self.time_us, left_us, self.error, self._watch.trouble, self.role, moving, self.locked)

    def _tell_drive(self) -> None:
        self._telling.drive(self._now())

    def _tell_state(self) -> None:
        self._telling.state(self._now(), self._judge)
