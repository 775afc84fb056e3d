"""What a crash left open is closed when the folder is opened again, judged again, and its windows' files made whole."""

from __future__ import annotations

import contextlib
from concurrent.futures import Future
from typing import Any

from coach.core.events import Attempt, Outcome
from coach.drive.tasks import Worker
from coach.errors import CoachError
from coach.store.codec import load_attempt, load_event
from coach.store.model import WindowRow
from coach.store.store import Store


def recover(store: Store, worker: Worker) -> list[str]:
    """Closes every drive that was left open, at once, and has it judged again by `worker`.

    Window files that a stop or a crash left out are written too.

    Returns:
        The drives that were left open. They are listed as recovered from now on; verdict and files follow as
        the worker gets to them.

    Raises:
        StoreError: the folder cannot be written.
    """
    drives = store.left_open()
    for drive in drives:
        store.close_recovered(drive)
    for drive, attempt in store.unsaved():
        if drive not in drives:
            save_window(store, worker, drive, attempt)
    for drive in drives:
        judge_again(store, worker, drive)
    return drives


def judge_again(store: Store, worker: Worker, drive: str) -> None:
    """Has a drive that is over judged by `worker`; attempts, events and window files follow as it gets to them."""
    row = store.drive(drive)

    def judged(result: Future[Any]) -> None:
        if result.cancelled() or result.exception() is not None:
            return  # It is still there to be judged when somebody asks for its attempts.
        made = result.result()
        attempts = [load_attempt(body) for body in made["attempts"]]
        with contextlib.suppress(CoachError):  # the disk is full, or the program ends: as above
            store.put_attempts(drive, row.recipe_sha, row.rules, attempts)
            store.put_events(drive, [load_event(kind, body) for _, kind, body in made["events"]])
            # All of them: a window that was still open has a file without its end.
            for attempt in attempts:
                if attempt.outcome is Outcome.SECURED:
                    save_window(store, worker, drive, attempt)

    worker.submit("judge", {"drive": drive}).add_done_callback(judged)


def save_window(store: Store, worker: Worker, drive: str, attempt: Attempt) -> None:
    """Has the whole file of a secured window of a finished drive written, and records it once it is durable."""

    def written(result: Future[Any]) -> None:
        if result.cancelled() or result.exception() is not None:
            return  # It is tried again at the next start.
        made, now = result.result(), store.clock.wall_us()
        row = WindowRow(attempt.capture, attempt.number, True, made["path"], made["sha256"], made["size"], now)
        with contextlib.suppress(CoachError):  # as above
            store.put_window(drive, row)

    ask = {
        "drive": drive, "capture": attempt.capture, "number": attempt.number, "start_us": attempt.start_us,
        "end_us": attempt.end_us,
    }  # fmt: skip
    worker.submit("save_window", ask).add_done_callback(written)
