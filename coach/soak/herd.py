"""Servers to be killed: one process has everything loaded, and each server is a fork of it that records a drive.

Requests come as lines of JSON (`folder`, `speed`); the answer to each is the server's process and its port.
"""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import threading
from hashlib import sha256
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, Self

from coach.server.run import Demo, serve
from coach.server.starting import Given
from coach.soak.made import RECIPE

DRIVE = "simulator:everything-qualifies"


class Herd:
    """The process that forks servers. POSIX only."""

    def __enter__(self) -> Self:
        self._process = subprocess.Popen(
            [sys.executable, "-m", "coach.soak.herd"], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
            env={**os.environ, "PYTHONPATH": os.pathsep.join(p for p in sys.path if p)},
        )  # fmt: skip
        return self

    def __exit__(self, *_: object) -> None:
        self._process.communicate()

    def start(self, folder: Path, speed: float) -> tuple[int, int]:
        """A server that records on `folder`: its process and its port. Raises RuntimeError when it does not start."""
        stdin, stdout = self._process.stdin, self._process.stdout
        assert stdin is not None
        assert stdout is not None
        stdin.write(json.dumps({"folder": str(folder), "speed": speed}) + "\n")
        stdin.flush()
        answer = stdout.readline()
        if not answer:
            raise RuntimeError("the server did not start")
        made = json.loads(answer)
        return int(made["process"]), int(made["port"])


def main() -> None:
    """The process: loads everything, then forks for each request until there are no more."""
    with TemporaryDirectory() as folder:
        recipe = Path(folder) / "soak.toml"
        recipe.write_bytes(RECIPE)
        _once(Path(folder) / "data", recipe)
        _herd(recipe)


def _herd(recipe: Path) -> None:
    signal.signal(signal.SIGCHLD, signal.SIG_IGN)
    for line in sys.stdin:
        ask = json.loads(line)
        reading, writing = os.pipe()
        process = os.fork()
        if process == 0:
            os.close(reading)
            _serve(ask, recipe, writing)
        os.close(writing)
        with os.fdopen(reading) as ready:
            port = ready.read()
        print(json.dumps({"process": process, "port": int(port or 0)}), flush=True)  # noqa: T201 - the answer


def _demo(speed: float | None) -> Demo:
    return Demo(DRIVE, recipe=sha256(RECIPE).hexdigest(), speed=speed)


def _once(folder: Path, recipe: Path) -> None:
    """A server that records and ends: what it has loaded is there for all servers to come."""
    stop = threading.Event()
    given = Given(recipes=(recipe,))
    serve(port=0, data_dir=folder, demo=_demo(None), given=given, on_ready=lambda _: stop.set(), stop=stop)


def _serve(ask: dict[str, Any], recipe: Path, writing: int) -> None:
    """The fork: an ordinary server, in a group of its own with all that it starts."""
    signal.signal(signal.SIGCHLD, signal.SIG_DFL)
    os.setsid()
    os.dup2(os.open(os.devnull, os.O_RDONLY), 0)
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)

    def ready(address: str) -> None:
        os.write(writing, address.rstrip("/").rpartition(":")[2].encode())
        os.close(writing)

    try:
        given = Given(recipes=(recipe,))
        serve(port=0, data_dir=Path(ask["folder"]), demo=_demo(ask["speed"]), given=given, on_ready=ready)
    finally:
        os._exit(0)


if __name__ == "__main__":
    main()
