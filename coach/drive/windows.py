"""When the file of a secured window is written: at once when it is secured, and again when its last seconds are in."""

from __future__ import annotations

import threading
from collections.abc import Mapping
from concurrent.futures import CancelledError, Future
from dataclasses import dataclass
from typing import Any

from coach.clock import Clock
from coach.core.events import Ended, Outcome, Secured
from coach.drive.ring import Ring
from coach.drive.tasks import Worker
from coach.errors import CoachError
from coach.store.drivelog import DriveLog
from coach.store.model import Around, WindowRow


@dataclass(frozen=True, slots=True)
class _Due:
    """A window that is over and waits for its last seconds."""

    at_us: int
    capture: str
    number: int
    start_us: int
    end_us: int


class Windows:
    """Saves the windows of one drive through a worker; `saved` is said only of what is durable.

    Args:
        around: by capture.
    """

    def __init__(
        self, drive: str, log: DriveLog, worker: Worker, ring: Ring, clock: Clock, around: Mapping[str, Around]
    ) -> None:
        self._drive = drive
        self._log = log
        self._worker = worker
        self._ring = ring
        self._clock = clock
        self._around = around
        self._due: list[_Due] = []
        self._open = 0
        self._change = threading.Condition()

    def secured(self, event: Secured) -> None:
        """Saves what there is of a window that qualifies."""
        self._save(event.capture, event.number, event.start_us, event.t_us, whole=False)

    def ended(self, event: Ended) -> None:
        """Notes that a window is over; its file is replaced when the seconds after it are in."""
        attempt = event.attempt
        if attempt.outcome is not Outcome.SECURED:
            return
        after = self._around.get(attempt.capture, Around()).after_us
        at = attempt.end_us + after
        self._due.append(_Due(at, attempt.capture, attempt.number, attempt.start_us, attempt.end_us))

    def reached(self, t_us: int) -> None:
        """Saves the windows whose last seconds are in at `t_us` of the drive."""
        if self._due and min(d.at_us for d in self._due) < t_us:
            ready = [d for d in self._due if d.at_us < t_us]
            self._due = [d for d in self._due if d.at_us >= t_us]
            for due in ready:
                self._save(due.capture, due.number, due.start_us, due.end_us, whole=True)

    def finish(self) -> None:
        """Saves what is still due with what there is: the drive has no more samples."""
        due, self._due = self._due, []
        for d in due:
            self._save(d.capture, d.number, d.start_us, d.end_us, whole=True)

    def wait(self, seconds: float) -> bool:
        """Waits until nothing is being saved, `seconds` (of the system's clock) at most; says whether that is so."""
        with self._change:
            return self._change.wait_for(lambda: self._open == 0, timeout=seconds)

    def _save(self, capture: str, number: int, start_us: int, end_us: int, *, whole: bool) -> None:
        ask = {"drive": self._drive, "capture": capture, "number": number, "start_us": start_us, "end_us": end_us}
        with self._change:
            self._open += 1

        def stored(error: CoachError | None) -> None:
            # The samples are durable, so another process can read them.
            if error is not None:
                self._failed(capture, number, error.message)
                return
            try:
                self._worker.submit("save_window", ask).add_done_callback(written)
            except CoachError as refused:
                self._failed(capture, number, refused.message)

        def written(result: Future[dict[str, Any]]) -> None:
            try:
                made = result.result()
            except CoachError as error:
                self._failed(capture, number, error.message)
                return
            except CancelledError:
                self._failed(capture, number, "the program was stopped before the file was written")
                return
            row = WindowRow(capture, number, whole, made["path"], made["sha256"], made["size"], self._clock.wall_us())
            self._log.window(row, lambda error: self._done(row, error))

        self._log.flush(stored)

    def _done(self, row: WindowRow, error: CoachError | None) -> None:
        if error is not None:
            self._failed(row.capture, row.number, error.message)
            return
        self._finished(
            {"drive": self._drive, "capture": row.capture, "number": row.number, "whole": row.whole, "error": None}
        )

    def _failed(self, capture: str, number: int, message: str) -> None:
        self._finished({"drive": self._drive, "capture": capture, "number": number, "whole": False, "error": message})

    def _finished(self, data: dict[str, Any]) -> None:
        self._ring.publish("saved" if data["error"] is None else "not_saved", data)
        with self._change:
            self._open -= 1
            self._change.notify_all()
