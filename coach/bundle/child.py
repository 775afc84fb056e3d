"""Makes and checks bundles in a process of its own, with limits on time and memory.

Nothing in a bundle from outside can outgrow them, and nothing here holds up a drive that is being recorded.
"""

from __future__ import annotations

import contextlib
import json
import logging
import os
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

import coach
from coach import errors
from coach.bundle.keys import Pin
from coach.bundle.wanted import Wanted
from coach.errors import BundleError, CoachError

SECONDS = 300
"""A drive of eight hours takes a few."""
MEMORY = 3 * 2**30
MOST_ANSWER = 64 * 2**20


def check_in_child(
    path: Path | str, pins: Sequence[Pin] = (), *, signer: str | None = None, recipe: bytes | None = None,
    seconds: float = SECONDS, memory: int = MEMORY,
) -> dict[str, Any]:  # fmt: skip
    """`check_bundle` in a child process, which ends with this call whatever happens.

    Args:
        seconds: what the child may take, of the system's clock.
        memory: what it may take, in bytes, where the system can limit that.

    Raises:
        BundleError: it is no bundle, or it took too long or too much.
    """
    ask = {
        "do": "check", "path": str(Path(path).absolute()), "pins": [asdict(p) for p in pins], "signer": signer,
        "recipe": None if recipe is None else recipe.hex(),
    }  # fmt: skip
    return ask_child(ask, Path(path).name, seconds, memory)


def make_in_child(
    folder: Path, drives: Sequence[str], out: Path, wanted: Wanted, *, seconds: float = SECONDS, memory: int = MEMORY
) -> dict[str, Any]:
    """`make_bundle` in a child process: tables of hours must not hold up a drive that is being recorded.

    Raises:
        CoachError: as `make_bundle`.
    """
    ask = {"do": "make", "folder": str(folder), "drives": list(drives), "path": str(out), "wanted": asdict(wanted)}
    return ask_child(ask, out.name, seconds, memory)


def child_environment() -> dict[str, str]:
    """What a child process of this program is started with."""
    root = str(Path(coach.__file__).parents[1])
    paths = [root, *filter(None, [os.environ.get("PYTHONPATH")])]
    # One thread for numpy: each more reserves memory of its own.
    quiet = {"PYTHONPATH": os.pathsep.join(paths), "OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}
    return {**os.environ, **quiet}


def ask_child(
    ask: dict[str, Any], name: str, seconds: float = SECONDS, memory: int = MEMORY, *, module: str = __name__
) -> dict[str, Any]:
    """What `module`, run as a child process with limits, answers to one request.

    Args:
        name: what it is about, for sentences.

    Raises:
        CoachError: as the child says; BundleError where it took too long or too much.
    """
    module = "coach.bundle.child" if module == "__main__" else module
    request = json.dumps({**ask, "seconds": seconds, "memory": memory}).encode()
    try:
        done = subprocess.run(  # noqa: S603 - this interpreter, a module of our own
            [sys.executable, "-P", "-m", module], input=request, capture_output=True, timeout=seconds,
            check=False, env=child_environment(),
        )  # fmt: skip
    except subprocess.TimeoutExpired:
        raise BundleError("it takes longer than any drive needs, and was given up", where=name) from None
    try:
        answer: dict[str, Any] = json.loads(done.stdout[:MOST_ANSWER])
    except ValueError:
        _note(done)
        raise BundleError("it takes more memory or time than any drive needs, and was given up", where=name) from None
    if "error" in answer:
        kind = getattr(errors, answer["error"]["kind"], BundleError)
        raise kind(answer["error"]["message"], where=answer["error"]["where"])
    return answer


def _note(done: subprocess.CompletedProcess[bytes]) -> None:
    """What a child that died had to say, for the log."""
    said = done.stderr[-2_000:].decode("utf-8", "replace")
    logging.getLogger(__name__).warning("the child ended with %d: %s", done.returncode, said)


def limit(seconds: float, memory: int) -> None:
    """Holds this process to its limits, where the system can."""
    with contextlib.suppress(ImportError, ValueError, OSError):
        import resource

        cpu = max(1, int(seconds))
        resource.setrlimit(resource.RLIMIT_CPU, (cpu, cpu + 1))
        resource.setrlimit(resource.RLIMIT_AS, (memory, memory))
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


def main() -> None:
    """Answers one request on standard input."""
    ask = json.loads(sys.stdin.buffer.read())
    limit(ask["seconds"], ask["memory"])
    try:
        answer = _check(ask) if ask["do"] == "check" else _make(ask)
    except CoachError as error:
        answer = {"error": {"kind": type(error).__name__, "message": error.message, "where": error.where}}
    except MemoryError:
        message = "it takes more memory than any drive needs, and was given up"
        answer = {"error": {"kind": "BundleError", "message": message, "where": Path(ask["path"]).name}}
    sys.stdout.write(json.dumps(answer, allow_nan=False))


def _check(ask: dict[str, Any]) -> dict[str, Any]:
    from coach.bundle.check import check_bundle

    recipe = None if ask["recipe"] is None else bytes.fromhex(ask["recipe"])
    return check_bundle(ask["path"], [Pin(**one) for one in ask["pins"]], signer=ask["signer"], recipe=recipe)


def _make(ask: dict[str, Any]) -> dict[str, Any]:
    from coach.bundle.make import make_bundle

    return make_bundle(Path(ask["folder"]), ask["drives"], Path(ask["path"]), Wanted(**ask["wanted"]))


if __name__ == "__main__":
    if hasattr(os, "nice"):
        os.nice(10)  # a drive may be recording in the parent
    main()
