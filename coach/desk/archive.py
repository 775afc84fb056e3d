"""Judges a folder of bundles and recorded drives, and keeps what came of each.

Resumable: every file's result is a line of a journal as soon as it is there. One bad file never stops the rest.
"""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from typing import Any, Protocol

from coach.core.spec import RULES
from coach.errors import BadInput, StoreError

ENDINGS = (".zip", ".parquet", ".csv", ".csv.gz")
"""What is judged: bundles, and drives as tables."""
JOURNAL = "results.jsonl"
PARQUET = "results.parquet"
SUMMARY = "summary.json"


@dataclass(frozen=True, slots=True)
class Task:
    """One file to be judged; goes to another process or machine, which sees it under the same path.

    Attributes:
        path: the file, absolute.
        stamp: size and time of change, so that a changed file is judged again.
        recipe: bytes of the recipe; None judges each drive of a bundle by its own.
        vehicle: bytes of the vehicle file for drives that carry none, or None.
    """

    path: str
    stamp: str
    recipe: bytes | None
    vehicle: bytes | None

    @property
    def key(self) -> str:
        """What a kept result must have been made from: file, state of the file, recipe, vehicle and rules."""
        parts = [self.path, self.stamp, str(RULES)]
        parts += ["-" if part is None else sha256(part).hexdigest() for part in (self.recipe, self.vehicle)]
        return sha256("\n".join(parts).encode()).hexdigest()


class Runner(Protocol):
    """Runs tasks somewhere, in any order, with a bounded number under way."""

    def run(self, tasks: Iterable[Task]) -> Iterator[tuple[Task, dict[str, Any]]]:
        """Each task with its result."""
        ...


def find_tasks(folder: Path, recipe: bytes | None, vehicle: bytes | None) -> list[Task]:
    """What is to be judged below `folder`, by path. Raises BadInput when there is nothing."""
    if not folder.is_dir():
        raise BadInput("there is no such folder", where=str(folder))
    found = []
    for root, folders, names in os.walk(folder):
        folders.sort()
        for name in sorted(names):
            path = Path(root, name)
            if name.lower().endswith(ENDINGS) and not name.startswith(".") and name != PARQUET:
                about = path.stat()
                found.append(Task(str(path.absolute()), f"{about.st_size}-{about.st_mtime_ns}", recipe, vehicle))
    if not found:
        raise BadInput(f"there is no file of {', '.join(ENDINGS)} in it", where=str(folder))
    return found


def judge_archive(
    tasks: Iterable[Task], out: Path, runner: Runner, progress: Callable[[int, bool], None] = lambda _n, _bad: None
) -> dict[str, Any]:
    """Judges what has no result yet, and writes results and summary.

    Args:
        tasks: from `find_tasks`.
        out: a folder for journal, Parquet (where DuckDB is) and summary; made if it is not there.
        runner: where they run.
        progress: called after each file with how many files are done now, and whether it was a bad one.

    Returns:
        The summary, as it stands in `summary.json`.

    Raises:
        StoreError: results cannot be written.
    """
    tasks = list(tasks)
    try:
        out.mkdir(parents=True, exist_ok=True)
        done = _kept(out / JOURNAL)
        left = [t for t in tasks if t.key not in done]
        count = len(tasks) - len(left)
        progress(count, False)
        with (out / JOURNAL).open("ab") as journal:
            for task, result in runner.run(left):
                done[task.key] = result
                journal.write(json.dumps({"key": task.key, "result": result}, separators=(",", ":")).encode() + b"\n")
                journal.flush()
                count += 1
                progress(count, result["error"] is not None)
            os.fsync(journal.fileno())
        results = [done[t.key] for t in tasks if t.key in done]
        summary = summarise(results)
        (out / SUMMARY).write_text(json.dumps(summary, indent=1) + "\n", "utf-8")
        write_results(results, out / PARQUET)
    except OSError as error:
        if isinstance(error, StoreError):
            raise
        raise StoreError(f"results cannot be written: {error.strerror}", where=str(out)) from error
    return summary


def kept_results(out: Path, tasks: Iterable[Task]) -> list[dict[str, Any]]:
    """What is kept of these tasks, in their order; those without a result are left out."""
    kept = _kept(out / JOURNAL)
    return [kept[task.key] for task in tasks if task.key in kept]


def _kept(journal: Path) -> dict[str, dict[str, Any]]:
    """Results of earlier runs; a torn last line is one that was not finished."""
    kept: dict[str, dict[str, Any]] = {}
    if not journal.exists():
        return kept
    lines = journal.read_bytes().split(b"\n")
    whole = lines[:-1]
    if lines[-1]:
        journal.write_bytes(b"".join(line + b"\n" for line in whole))
    for line in whole:
        try:
            row = json.loads(line)
            kept[row["key"]] = row["result"]
        except (ValueError, KeyError, TypeError):
            continue
    return kept


def summarise(results: Iterable[Mapping[str, Any]]) -> dict[str, Any]:
    """Files, drives, and by capture how many drives qualified; by reason why the best attempt of the others ended."""
    files = bad = drives = complete = 0
    captures: dict[str, dict[str, Any]] = {}
    errors: dict[str, int] = {}
    for result in results:
        files += 1
        if result["error"] is not None:
            bad += 1
            errors[result["error"]] = errors.get(result["error"], 0) + 1
        for drive in result["drives"]:
            drives += 1
            complete += all(c["qualified"] >= c["asked"] for c in drive["captures"])
            for c in drive["captures"]:
                row = captures.setdefault(c["id"], {"drives": 0, "qualified": 0, "reasons": {}})
                row["drives"] += 1
                if c["qualified"] >= c["asked"]:
                    row["qualified"] += 1
                else:
                    why = c["reason"] or "no_attempt"
                    row["reasons"][why] = row["reasons"].get(why, 0) + 1
    common = dict(sorted(errors.items(), key=lambda item: (-item[1], item[0]))[:20])
    return {
        "files": files, "bad_files": bad, "drives": drives, "complete": complete, "rules": RULES,
        "captures": captures, "errors": common,
    }  # fmt: skip


def write_results(results: Iterable[Mapping[str, Any]], out: Path) -> bool:
    """One row for each capture of each drive, as Parquet; says whether DuckDB was there to write it."""
    try:
        import duckdb
    except ImportError:
        return False
    import numpy as np

    rows = list(flat(results))
    names = list(Row.__dataclass_fields__)
    kinds = {"asked": np.int64, "qualified": np.int64, "attempts": np.int64, "duration_s": np.float64,
             "samples": np.int64, "best_progress": np.float64}  # fmt: skip
    columns = {n: np.array([getattr(r, n) for r in rows], dtype=kinds.get(n, object)) for n in names}
    own = out.with_name(out.name + ".part")
    with duckdb.connect(config={"threads": 1}) as db:
        db.register("columns", columns)
        target = "'" + str(own).replace("'", "''") + "'"
        chosen = ", ".join(f"NULLIF({n}, '') AS {n}" if n not in kinds else n for n in names)
        db.execute(f"COPY (SELECT {chosen} FROM columns) TO {target} (FORMAT parquet, COMPRESSION zstd)")  # noqa: S608 - quoted
    own.replace(out)
    return True


@dataclass(frozen=True, slots=True)
class Row:
    """A capture of a drive, or a file that could not be judged (`error`); empty texts are null in the file."""

    file: str
    error: str
    drive: str
    vehicle: str
    recipe: str
    revision: str
    duration_s: float
    samples: int
    capture: str
    asked: int
    qualified: int
    attempts: int
    outcome: str
    reason: str
    reason_signal: str
    best_progress: float


def flat(results: Iterable[Mapping[str, Any]]) -> Iterator[Row]:
    """The rows of a table."""
    for result in results:
        if result["error"] is not None:
            yield Row(result["file"], result["error"], "", "", "", "", 0.0, 0, "", 0, 0, 0, "", "", "", 0.0)
        for d in result["drives"]:
            for c in d["captures"]:
                yield Row(
                    result["file"], "", d["id"], d["vehicle"], d["recipe"], str(d["revision"]), d["duration_s"],
                    d["samples"], c["id"], c["asked"], c["qualified"], c["attempts"], c["outcome"] or "",
                    c["reason"] or "", c["reason_signal"] or "", c["best_progress"],
                )  # fmt: skip
