"""What is done beside the live loop: window files and verdicts, in a child process for the server, in place else."""

from __future__ import annotations

import json
import logging
from collections.abc import Callable
from concurrent.futures import Future
from pathlib import Path
from typing import Any, Protocol

from coach.core.events import Attempt
from coach.csvout import table_chunks
from coach.drive.earlier import pulls
from coach.drive.reviews import REVIEWS
from coach.errors import BadInput, CoachError, StoreError
from coach.store.codec import dump_attempt, dump_event, type_name
from coach.store.files import write_durable
from coach.store.model import Around
from coach.store.planjson import load_catalogue
from coach.store.reading import Reader
from coach.store.store import DATABASE, window_path
from coach.words import load_words

Ask = dict[str, Any]
"""Arguments of a task, JSON-able."""


class Worker(Protocol):
    """Does tasks, in the order in which they are asked for."""

    def submit(self, task: str, ask: Ask) -> Future[Any]:
        """Starts `task`; the future has its JSON-able result, or a CoachError."""
        ...

    def close(self, seconds: float = 1.0) -> None:
        """Takes no more; what is not done after `seconds` fails."""
        ...


class InPlace:
    """A worker without a process: every task is done when `submit` returns."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def submit(self, task: str, ask: Ask) -> Future[Any]:
        """Does `task` now."""
        result: Future[Any] = Future()
        try:
            result.set_result(run_task(self._folder, task, ask))
        except CoachError as error:
            result.set_exception(error)
        except Exception as error:  # noqa: BLE001 - as in a child: it must not end the thread that asked
            result.set_exception(fault(task, error))
        return result

    def close(self, seconds: float = 1.0) -> None:
        """There is nothing to end."""


def fault(task: str, error: Exception) -> StoreError:
    """One sentence for a fault of our own in `task`."""
    logging.getLogger(__name__).error("task %s failed", task, exc_info=error)
    return StoreError(f"the task {task} failed ({type(error).__name__}: {error})")


def run_task(folder: Path, task: str, ask: Ask) -> Any:
    """Does one task on the data folder; reads the database and never writes it. Raises CoachError."""
    work = TASKS.get(task)
    if work is None:
        raise BadInput(f"there is no task {task!r}; there are: {', '.join(TASKS)}")
    return work(folder, ask)


def save_window(folder: Path, ask: Ask) -> dict[str, Any]:
    """Writes a window's file, durable, with what is around it: `drive`, `capture`, `number`, `start_us`, `end_us`."""
    reader = Reader(folder / DATABASE)
    row = reader.drive(ask["drive"])
    catalogue = load_catalogue(row.catalogue)
    around = row.around.get(ask["capture"], Around())
    part = reader.recording(ask["drive"], ask["start_us"] - around.before_us, ask["end_us"] + around.after_us)
    path = window_path(folder, ask["drive"], ask["capture"], ask["number"])

    def write(file: Any) -> None:
        for chunk in table_chunks(part, catalogue, form="wide"):
            file.write(chunk)

    sha256, size = write_durable(path, write)
    return {"path": path.relative_to(folder).as_posix(), "sha256": sha256, "size": size}


def judge(folder: Path, ask: Ask) -> dict[str, Any]:
    """Judges `drive` again: attempts and events as the store keeps them."""
    from coach.drive.verdict import judge_stored

    _, _, verdict = judge_stored(Reader(folder / DATABASE), ask["drive"])
    attempts: list[Attempt] = [a for some in verdict.attempts.values() for a in some]
    return {
        "attempts": [dump_attempt(a) for a in attempts],
        "events": [[e.t_us, type_name(e), dump_event(e)] for e in verdict.events],
    }


def verdict(folder: Path, ask: Ask) -> str:
    """The verdict on `drive` as JSON text."""
    from coach.drive.verdict import stored_verdict_json

    words = load_words(ask.get("language", "en"))
    return _text(stored_verdict_json(Reader(folder / DATABASE), ask["drive"], words))


def window(folder: Path, ask: Ask) -> str:
    """The signals of attempt `number` of `capture` in `drive` as JSON text."""
    from coach.drive.traces import window_json

    words = load_words(ask.get("language", "en"))
    return _text(window_json(Reader(folder / DATABASE), ask["drive"], ask["capture"], ask["number"], words))


def lane(folder: Path, ask: Ask) -> str:
    """The thread of an attempt in its lane as JSON text; `number` may be null."""
    from coach.drive.traces import lane_json

    return _text(lane_json(Reader(folder / DATABASE), ask["drive"], ask["capture"], ask["number"]))


def table(folder: Path, ask: Ask) -> str:
    """The samples around attempt `number` of `capture` in `drive` as CSV text."""
    from coach.drive.traces import Context

    c = Context(Reader(folder / DATABASE), ask["drive"])
    attempt = c.attempt(ask["capture"], ask["number"])
    around = c.row.around.get(ask["capture"], Around())
    first_us, last_us = attempt.start_us - around.before_us, attempt.end_us + around.after_us
    part = c.reader.recording(ask["drive"], first_us, last_us)
    return b"".join(table_chunks(part, c.catalogue, form=ask["form"])).decode()


def warm(_folder: Path, _ask: Ask) -> None:
    """Loads what the other tasks need, so that the first of them is quick."""
    import coach.drive.traces
    import coach.drive.verdict  # noqa: F401 - the import is the work


def _text(made: dict[str, Any]) -> str:
    return json.dumps(made, separators=(",", ":"), ensure_ascii=False, allow_nan=False)


TASKS: dict[str, Callable[[Path, Ask], Any]] = {
    "save_window": save_window, "judge": judge, "verdict": verdict, "window": window, "lane": lane, "table": table,
    "warm": warm, "pulls": pulls, **REVIEWS,
}  # fmt: skip
