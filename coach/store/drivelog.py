"""What a running drive writes: samples in blocks, marks, events, attempts, phase. Never blocks on the disk.

After the first failure nothing more is written, so that what is stored is always the drive's beginning, whole.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Mapping

from coach.core.events import Attempt, Ended, Event
from coach.errors import CoachError
from coach.recording import Mark
from coach.store.blocks import LATE, TWICE, Block, BlockBuilder
from coach.store.codec import dump_attempt, dump_event, type_name
from coach.store.model import Phase, WindowRow
from coach.store.writer import Work, Writer

__all__ = ["LATE", "TWICE", "DriveLog"]


class DriveLog:
    """The writing end of one drive. One thread may call it; `error` may be read from any.

    Attributes:
        error: why nothing is written any more, or None.
        samples: how many samples were handed in.
        durable_us: time of the last sample that is durable, or -1.
        promised_us: set by the loop when the source promises that every sample before this time has come; stored with
            what is written next, because a deadline that it let fall due must fall due again when judged again.
    """

    def __init__(self, writer: Writer, key: int, recipe_sha: str, rules: int) -> None:
        self.key = key
        self.error: CoachError | None = None
        self.samples = 0
        self.durable_us = -1
        self.promised_us: int | None = None
        self._writer = writer
        self._recipe_sha = recipe_sha
        self._rules = rules
        self._builder = BlockBuilder()
        self._numbers: dict[str, int] = {}
        self._known = 0
        self._sequence = {"blocks": 0, "marks": 0, "events": 0, "clock_jumps": 0}

    def samples_at(self, t_us: int, values: Mapping[str, float], flags: int = 0, uncertainty_us: int = 0) -> bool:
        """Adds the samples of one time; a full block goes to the writer. Says whether they opened a new one."""
        if not self._builder.fits(t_us):
            self.flush()
        opened = not self._builder
        add = self._builder.add
        numbers = self._numbers
        for name, value in values.items():
            number = numbers.get(name)
            if number is None:
                number = numbers[name] = len(numbers)
            add(t_us, number, value, flags, uncertainty_us)
        self.samples += len(values)
        return opened

    @property
    def pending(self) -> int:
        """Samples of the block that is still open."""
        return len(self._builder)

    def flush(self, done: Callable[[CoachError | None], None] | None = None) -> None:
        """Hands the open block to the writer; `done` is called when all that was handed in is durable, or failed."""
        block = self._builder.cut()
        if block is None:
            if done is not None:
                self._post(_nothing, done)
            return
        sequence = self._next("blocks")
        promised = self.promised_us
        fresh = list(self._numbers.items())[self._known :]
        self._known = len(self._numbers)

        def work(db: sqlite3.Connection) -> None:
            for name, number in fresh:
                db.execute("INSERT OR IGNORE INTO signals VALUES (?, ?, ?)", (self.key, number, name))
            _insert_block(db, self.key, sequence, block)
            _progress(db, self.key, block.last_us, block.samples, promised)

        def stored(error: CoachError | None) -> None:
            if error is None:
                self.durable_us = max(self.durable_us, block.last_us)
            if done is not None:
                done(error)

        self._post(work, stored)

    def mark(self, mark: Mark) -> None:
        """Stores something a person said, and before it the samples that it follows."""
        self.flush()
        row = (self.key, self._next("marks"), mark.t_us, mark.kind, mark.capture, mark.text)
        self._post(lambda db: db.execute("INSERT INTO marks VALUES (?, ?, ?, ?, ?, ?)", row))

    def event(self, event: Event) -> None:
        """Stores an event of the judge, and the attempt that it ends, and before it the samples that it rests on."""
        self.flush()
        row = (self.key, self._next("events"), event.t_us, type_name(event), dump_event(event))
        attempt = event.attempt if isinstance(event, Ended) else None
        promised = self.promised_us

        def work(db: sqlite3.Connection) -> None:
            db.execute("INSERT INTO events VALUES (?, ?, ?, ?, ?)", row)
            _progress(db, self.key, 0, 0, promised)
            if attempt is not None:
                insert_attempt(db, self.key, self._recipe_sha, self._rules, attempt)

        self._post(work)

    def anchor(self, wall_us: int) -> None:
        """Stores the wall clock at t=0."""
        self._post(lambda db: db.execute("UPDATE drives SET anchor_wall_us=? WHERE key=?", (wall_us, self.key)))

    def phase(self, phase: Phase) -> None:
        """Stores the drive's phase."""
        self._post(lambda db: db.execute("UPDATE drives SET phase=? WHERE key=?", (phase, self.key)))

    def clock_jumped(self, t_us: int, jump_us: int) -> None:
        """Stores that the system's clock was set by `jump_us` at `t_us`; no time of the drive changes by it."""
        row = (self.key, self._next("clock_jumps"), t_us, jump_us)
        self._post(lambda db: db.execute("INSERT INTO clock_jumps VALUES (?, ?, ?, ?)", row))

    def window(self, row: WindowRow, done: Callable[[CoachError | None], None] | None = None) -> None:
        """Stores that a window's file is durable."""
        self._post(lambda db: insert_window(db, self.key, row), done)

    def end(
        self, wall_us: int, done: Callable[[CoachError | None], None] | None = None, *, error: str | None = None
    ) -> None:
        """Closes the drive; no sample may follow. `error` is the sentence why it ended early."""
        self.flush()
        promised = self.promised_us

        def work(db: sqlite3.Connection) -> None:
            # Asked only now: what was handed in before may have failed since.
            why = error if self.error is None else self.error.message
            db.execute(
                "UPDATE drives SET phase='ended', ended_wall_us=?, error=coalesce(?, error) WHERE key=?",
                (wall_us, why, self.key),
            )
            _progress(db, self.key, 0, 0, promised)

        # Also after a failure: when there is room again for so little, the drive is closed and says why.
        self._writer.post(work, done, wait=False)

    def settle(self, done: Callable[[CoachError | None], None]) -> None:
        """Calls `done` once the writer has come past everything that was handed to it, also after a failure."""
        self._writer.post(_nothing, done, wait=False)

    def behind_us(self) -> int:
        """How far the writer is behind."""
        return self._writer.behind_us()

    def _next(self, table: str) -> int:
        number = self._sequence[table]
        self._sequence[table] = number + 1
        return number

    def _post(self, work: Work, done: Callable[[CoachError | None], None] | None = None) -> None:
        def guarded(db: sqlite3.Connection) -> None:
            if self.error is not None:
                raise self.error
            work(db)

        def told(error: CoachError | None) -> None:
            if error is not None and self.error is None:
                self.error = error
            if done is not None:
                done(error)

        if self.error is not None:
            if done is not None:
                done(self.error)
            return
        self._writer.post(guarded, told)


def _nothing(_: sqlite3.Connection) -> None:
    """A place in the queue, to learn that all before it is durable."""


def _insert_block(db: sqlite3.Connection, key: int, sequence: int, block: Block) -> None:
    db.execute(
        "INSERT INTO blocks VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
        (key, sequence, block.first_us, block.last_us, block.samples, block.format, block.checksum, block.data),
    )


def _progress(db: sqlite3.Connection, key: int, last_us: int, samples: int, promised_us: int | None) -> None:
    # A row of its own: the drive's row carries the recipe and the plan, and would be rewritten with every block.
    db.execute(
        "INSERT INTO progress VALUES (?, ?, ?, ?) ON CONFLICT (drive) DO UPDATE SET last_us = max(last_us,"
        " excluded.last_us), samples = samples + excluded.samples, promised_us = coalesce(excluded.promised_us,"
        " promised_us)",
        (key, last_us, samples, promised_us),
    )


def insert_attempt(db: sqlite3.Connection, key: int, recipe_sha: str, rules: int, attempt: Attempt) -> None:
    """Puts an attempt into the cache, over the one that is there."""
    row = (key, recipe_sha, rules, attempt.capture, attempt.number, dump_attempt(attempt))
    db.execute("INSERT OR REPLACE INTO attempts VALUES (?, ?, ?, ?, ?, ?)", row)


def insert_window(db: sqlite3.Connection, key: int, row: WindowRow) -> None:
    """Records a window's file, over the one that is there."""
    db.execute(
        "INSERT OR REPLACE INTO windows VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
        (key, row.capture, row.number, row.whole, row.path, row.sha256, row.size, row.saved_wall_us),
    )
