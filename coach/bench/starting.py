"""How soon the command answers and the server's first page stands, beside what the interpreter itself takes."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator

from coach.bench.client import Client
from coach.bench.figures import Figure, timed

STARTING = "Starting"
COACH = (sys.executable, "-c", "from coach.cli import main; main()")
HELP_S, SERVED_S = 0.15, 1.0


def starting(repeats: int) -> Iterator[Figure]:
    """The command's help, and the server until its first page is answered; the fastest of `repeats`."""
    empty_s = timed(lambda: _run(sys.executable, "-c", "pass"), repeats=repeats)
    help_s = timed(lambda: _run(*COACH, "--help"), repeats=repeats)
    pandas_s = timed(lambda: _run(sys.executable, "-c", "import pandas"), repeats=min(repeats, 3))
    served_s = timed(_served, repeats=min(repeats, 3))
    yield Figure(STARTING, "coach --help", help_s, "s", f"{HELP_S:g}", help_s <= HELP_S)
    yield Figure(STARTING, "beside Python that does nothing", help_s / empty_s, "times")
    yield Figure(STARTING, "coach serve, until its first page is answered", served_s, "s", f"{SERVED_S:.1f}",
                 served_s <= SERVED_S)  # fmt: skip
    yield Figure(STARTING, "beside a script that has only imported pandas", served_s / pandas_s, "times")


def _environment() -> dict[str, str]:
    return {**os.environ, "PYTHONPATH": os.pathsep.join(p for p in sys.path if p)}


def _run(*command: str) -> None:
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL, env=_environment())  # noqa: S603 - our own


def _served() -> None:
    with tempfile.TemporaryDirectory(prefix="coach-bench-") as folder:
        command = [*COACH, "serve", "--no-open", "--port", "0", "--data", folder]
        server = subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env=_environment())  # noqa: S603 - our own
        try:
            assert server.stdout is not None
            Client(server.stdout.readline().split()[-1]).page()
        finally:
            server.kill()
            server.communicate()
