"""A child process for what would hold up the live loop. It ends when its parent does, however that dies.

Requests and answers are lines of JSON over its standard input and output; the end of its input ends it.
"""

from __future__ import annotations

import contextlib
import json
import os
import signal
import subprocess
import sys
import threading
from concurrent.futures import Future
from pathlib import Path
from typing import IO, Any

from coach import errors
from coach.drive.tasks import Ask, fault, run_task
from coach.errors import CoachError, StoreError


class ChildWorker:
    """Does tasks in one child process, which is started with the first and again if it dies.

    Args:
        folder: the data folder.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._lock = threading.Lock()
        self._waiting: dict[int, Future[Any]] = {}
        self._number = 0
        self._child: subprocess.Popen[bytes] | None = None
        self._closed = False

    def submit(self, task: str, ask: Ask) -> Future[Any]:
        """Sends `task` to the child. Raises StoreError after `close`."""
        result: Future[Any] = Future()
        with self._lock:
            if self._closed:
                raise StoreError("the program is stopping")
            if self._child is None:
                self._child = self._start()
            self._number += 1
            self._waiting[self._number] = result
            line = json.dumps({"number": self._number, "task": task, "ask": ask}).encode() + b"\n"
            assert self._child.stdin is not None
            # A child that has just died is noticed by its reader, which fails what waits.
            with contextlib.suppress(OSError):
                self._child.stdin.write(line)
                self._child.stdin.flush()
        return result

    def close(self, seconds: float = 1.0) -> None:
        """Lets the child end what it is doing for `seconds`, then kills it."""
        with self._lock:
            self._closed = True
            child = self._child
        if child is None:
            return
        assert child.stdin is not None
        with contextlib.suppress(OSError):
            child.stdin.close()
        try:
            child.wait(seconds)
        except subprocess.TimeoutExpired:
            child.kill()
            child.wait()

    def _start(self) -> subprocess.Popen[bytes]:
        # A session of its own, so that Ctrl-C in the terminal reaches the parent alone.
        child = subprocess.Popen(  # noqa: S603 - our own module, our own interpreter
            [sys.executable, "-c", "from coach.drive.worker import main; main()", str(self._folder)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            start_new_session=True,
            env={**os.environ, "PYTHONPATH": os.pathsep.join(p for p in sys.path if p)},
        )
        threading.Thread(target=self._listen, args=(child,), name="worker-answers", daemon=True).start()
        return child

    def _listen(self, child: subprocess.Popen[bytes]) -> None:
        assert child.stdin is not None
        assert child.stdout is not None
        for line in child.stdout:
            answer = json.loads(line)
            with self._lock:
                result = self._waiting.pop(answer["number"], None)
            if result is not None:
                _settle(result, answer)
        with self._lock:
            if self._child is child:
                self._child = None
            lost = list(self._waiting.values())
            self._waiting.clear()
        child.wait()
        for pipe in (child.stdin, child.stdout):
            with contextlib.suppress(OSError):  # what could not be written to a dead child is lost with it
                pipe.close()
        for result in lost:
            result.set_exception(StoreError("the helper process ended before it was done; try again"))


def _settle(result: Future[Any], answer: dict[str, Any]) -> None:
    error = answer.get("error")
    if error is None:
        result.set_result(answer["result"])
    else:
        kind = getattr(errors, error["kind"], StoreError)
        result.set_exception(kind(error["message"], where=error["where"]))


def serve(folder: Path, requests: IO[bytes], answers: IO[bytes]) -> None:
    """Answers requests until there are no more."""
    for line in requests:
        request = json.loads(line)
        answer: dict[str, Any] = {"number": request["number"]}
        try:
            answer["result"] = run_task(folder, request["task"], request["ask"])
        except CoachError as error:
            answer["error"] = {"kind": type(error).__name__, "message": error.message, "where": error.where}
        except Exception as error:  # noqa: BLE001 - one task's fault must not end the worker for the others
            answer["error"] = {"kind": "StoreError", "message": fault(request["task"], error).message, "where": None}
        try:
            answers.write(json.dumps(answer).encode() + b"\n")
            answers.flush()
        except BrokenPipeError:
            return  # The parent is gone: there is nobody to answer, and nothing to say about it.


def main() -> None:
    """The child: nothing but answers goes to the real standard output."""
    if hasattr(signal, "SIGINT"):
        signal.signal(signal.SIGINT, signal.SIG_IGN)
    if hasattr(os, "nice"):
        os.nice(5)  # the parent records a drive, and comes first; somebody waits for the answer, too
    answers = os.fdopen(os.dup(1), "wb", buffering=0)
    os.dup2(2, 1)
    serve(Path(sys.argv[1]), sys.stdin.buffer, answers)
