"""What the desk keeps while the server runs: turns for heavy work, and the judging again of everything, if any."""

from __future__ import annotations

import contextlib
import json
import subprocess
import sys
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from threading import BoundedSemaphore, Lock, Thread
from typing import Any

from coach.bundle.child import MEMORY, child_environment
from coach.desk.child import MODULE
from coach.desk.inbox import Inbox
from coach.errors import Conflict

AGAIN = "again"
"""Folder of the results of judging again."""
AGAIN_S = 24 * 3600
IDLE: Mapping[str, Any] = {"state": "idle", "done": 0, "total": 0, "bad": 0, "error": None}


class Desk:
    """One for a server.

    Args:
        folder: the data folder.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._turns = BoundedSemaphore(2)
        self._lock = Lock()
        self._job: subprocess.Popen[bytes] | None = None
        self._thread: Thread | None = None
        self._again: dict[str, Any] = dict(IDLE)
        self._results: list[dict[str, Any]] = []
        self._before: dict[str, dict[str, Any]] = {}

    @contextlib.contextmanager
    def inbox(self) -> Iterator[Inbox]:
        """The inbox, opened for one request: SQLite lets threads share a file, not a connection. Raises StoreError."""
        inbox = Inbox(self.folder)
        try:
            yield inbox
        finally:
            inbox.close()

    @contextlib.contextmanager
    def turn(self) -> Iterator[None]:
        """One of the few child processes at a time. Raises Conflict."""
        if not self._turns.acquire(blocking=False):
            raise Conflict("the desk is at two things already; try again in a moment")
        try:
            yield
        finally:
            self._turns.release()

    def judge_again(self, recipe: str | None, paths: Sequence[Path], before: Mapping[str, dict[str, Any]]) -> None:
        """Begins to judge bundles again, in a child process.

        Args:
            recipe: text of the recipe; None: each drive by its own.
            before: what was found when each came, by the file's path.

        Raises:
            Conflict: it is being done already.
        """
        ask = {
            "do": "again", "recipe": recipe, "paths": [str(p.absolute()) for p in paths],
            "out": str((self.folder / AGAIN).absolute()), "seconds": AGAIN_S, "memory": MEMORY,
        }  # fmt: skip
        with self._lock:
            if self._again["state"] == "running":
                raise Conflict("everything is being judged again already; wait for it, or stop it first")
            self._again = {**IDLE, "state": "running", "total": len(paths)}
            self._results, self._before = [], dict(before)
            job = subprocess.Popen(  # noqa: S603 - this interpreter, a module of our own
                [sys.executable, "-P", "-m", MODULE], stdin=subprocess.PIPE, stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL, env=child_environment(),
            )  # fmt: skip
            self._job = job
            self._thread = Thread(target=self._follow, args=(job, json.dumps(ask).encode()), daemon=True)
            self._thread.start()

    def _follow(self, job: subprocess.Popen[bytes], ask: bytes) -> None:
        assert job.stdin is not None
        assert job.stdout is not None
        last: dict[str, Any] = {}
        with job, contextlib.suppress(OSError, ValueError):
            job.stdin.write(ask)
            job.stdin.close()
            for line in job.stdout:
                last = json.loads(line)
                if "done" in last:
                    with self._lock:
                        self._again |= {"done": last["done"], "bad": last["bad"]}
        with self._lock:
            if "results" in last:
                self._again |= {"state": "done", "done": self._again["total"], "summary": last["summary"]}
                self._results = last["results"]
            else:
                why = last.get("error", {}).get("message") or "it was stopped before everything was judged"
                self._again |= {"state": "failed", "error": why}
            self._job = None

    def again(self) -> tuple[dict[str, Any], list[dict[str, Any]], dict[str, dict[str, Any]]]:
        """How far it is, the results once it is done, and what had been found before by path."""
        with self._lock:
            return dict(self._again), self._results, self._before

    def stop_again(self) -> None:
        """Stops it; what is judged is kept, and is not judged again the next time."""
        with self._lock:
            job = self._job
        if job is not None:
            with contextlib.suppress(OSError):
                job.terminate()

    def close(self) -> None:
        """Ends what is under way."""
        self.stop_again()
        if self._thread is not None:
            self._thread.join(5)
