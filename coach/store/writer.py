"""The one thread that writes the database. Jobs come by a queue, go in one transaction, and are told when durable."""

from __future__ import annotations

import sqlite3
import threading
from collections import deque
from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from coach.clock import US, Clock
from coach.errors import CoachError, StoreError
from coach.store.files import store_error

Work = Callable[[sqlite3.Connection], Any]
Done = Callable[[CoachError | None], None]

MOST_IN_ONE = 256
"""Jobs in one transaction at most, so that one commit stays short."""
LONGEST_QUEUE = 4096
"""A source that outruns the disk waits here; at 150 samples a second that is twenty minutes."""


@dataclass(slots=True)
class _Job:
    work: Work
    done: Done | None
    since_us: int


def connect(path: Path) -> sqlite3.Connection:
    """A connection for writing: WAL, every commit synced, foreign keys held. Raises sqlite3.Error."""
    db = sqlite3.connect(path, isolation_level=None, check_same_thread=False, timeout=5.0)
    db.execute("PRAGMA journal_mode=WAL")
    db.execute("PRAGMA synchronous=FULL")
    db.execute("PRAGMA foreign_keys=ON")
    # What is taken out is overwritten: a drive says where somebody was, and how they drove.
    db.execute("PRAGMA secure_delete=ON")
    return db


class Writer:
    """Runs jobs on one connection in the order in which they came."""

    def __init__(self, db: sqlite3.Connection, path: Path, clock: Clock) -> None:
        self._db = db
        self._path = path
        self._clock = clock
        self._jobs: deque[_Job] = deque()
        self._change = threading.Condition()
        self._closing = False
        self._busy_since_us: int | None = None
        self._thread = threading.Thread(target=self._run, name="store-writer", daemon=True)
        self._thread.start()

    def post(self, work: Work, done: Done | None = None, *, wait: bool = True) -> None:
        """Queues `work(db)`; `done(error)` is called in the writer's thread once it is durable or has failed.

        Blocks while the queue is full, unless `wait` is False. Raises StoreError after `close`.
        """
        with self._change:
            # The writer's own thread must not wait for itself.
            wait = wait and threading.current_thread() is not self._thread
            while wait and len(self._jobs) >= LONGEST_QUEUE and not self._closing:
                self._change.wait()
            if self._closing:
                raise StoreError("the data folder is closed", where=str(self._path))
            self._jobs.append(_Job(work, done, self._clock.steady_us()))
            self._change.notify_all()

    def call(self, work: Work) -> Any:
        """Queues `work(db)`, waits until it is durable and gives its result.

        Raises:
            StoreError: it could not be written; or whatever CoachError `work` raised.
        """
        result: Future[Any] = Future()
        box: list[Any] = []

        def run(db: sqlite3.Connection) -> None:
            box.append(work(db))

        def done(error: CoachError | None) -> None:
            if error is not None:
                result.set_exception(error)
            else:
                result.set_result(box[-1])

        self.post(run, done, wait=False)
        return result.result()

    def behind_us(self) -> int:
        """How long the oldest job that is not durable yet has been waiting."""
        with self._change:
            since = self._busy_since_us
            if since is None and self._jobs:
                since = self._jobs[0].since_us
        return 0 if since is None else max(0, self._clock.steady_us() - since)

    def close(self) -> None:
        """Writes what is queued, then ends the thread and the connection."""
        with self._change:
            if self._closing:
                return
            self._closing = True
            self._change.notify_all()
        self._thread.join()
        self._db.close()

    @property
    def idle(self) -> bool:
        """Whether nothing is queued or being written."""
        with self._change:
            return not self._jobs and self._busy_since_us is None

    def _run(self) -> None:
        while True:
            with self._change:
                while not self._jobs and not self._closing:
                    self._change.wait()
                if not self._jobs:
                    return
                batch = [self._jobs.popleft() for _ in range(min(len(self._jobs), MOST_IN_ONE))]
                self._busy_since_us = batch[0].since_us
                self._change.notify_all()
            self._write(batch)
            with self._change:
                self._busy_since_us = None
                self._change.notify_all()

    def _write(self, batch: list[_Job]) -> None:
        """One transaction for all; when it fails, each job on its own, so that one cannot spoil another."""
        error = self._transact(batch)
        if error is None or len(batch) == 1:
            for job in batch:
                self._tell(job, error)
            return
        for job in batch:
            self._tell(job, self._transact([job]))

    def _transact(self, batch: list[_Job]) -> CoachError | None:
        try:
            self._db.execute("BEGIN IMMEDIATE")
            for job in batch:
                job.work(self._db)
            self._db.execute("COMMIT")
        except CoachError as error:
            self._undo()
            return error
        except (sqlite3.Error, OSError) as error:
            self._undo()
            return store_error(error, self._path)
        except Exception as error:  # noqa: BLE001 - a job's own fault must not end the writer for everyone
            self._undo()
            return StoreError(f"a record could not be written ({type(error).__name__}: {error})", where=str(self._path))
        return None

    def _undo(self) -> None:
        if self._db.in_transaction:
            try:
                self._db.execute("ROLLBACK")
            except sqlite3.Error:
                # SQLite has rolled back by itself (disk full); nothing is left to undo.
                return

    @staticmethod
    def _tell(job: _Job, error: CoachError | None) -> None:
        if job.done is not None:
            job.done(error)


BEHIND_US = 10 * US
"""A writer so far behind raises an alarm."""
