"""Checks a bundle from outside in a process of its own, with limits on time and memory: nothing inside can outgrow them."""

from __future__ import annotations

import contextlib
import json
import os
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

import coach
from coach.bundle.keys import Pin
from coach.errors import BundleError

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
        seconds, memory: what the child may take, of the system's clock and in bytes; memory where the system can limit it.

    Raises:
        BundleError: it is no bundle, or it took too long or too much.
    """
    root = str(Path(coach.__file__).parents[1])
    paths = [root, *filter(None, [os.environ.get("PYTHONPATH")])]
    ask = {
        "path": str(Path(path).absolute()), "pins": [asdict(p) for p in pins], "signer": signer, "seconds": seconds,
        "recipe": None if recipe is None else recipe.hex(), "memory": memory,
    }  # fmt: skip
    name = Path(path).name
    # One thread for numpy: each more reserves memory of its own.
    quiet = {"PYTHONPATH": os.pathsep.join(paths), "OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}
    try:
        done = subprocess.run(
            [sys.executable, "-P", "-m", "coach.bundle.child"], input=json.dumps(ask).encode(), capture_output=True,
            timeout=seconds, check=False, env={**os.environ, **quiet},
        )  # fmt: skip
    except subprocess.TimeoutExpired:
        raise BundleError(
            "checking it takes too long; nobody makes a bundle like that from a drive", where=name
        ) from None
    try:
        answer: dict[str, Any] = json.loads(done.stdout[:MOST_ANSWER])
    except ValueError:
        raise BundleError("checking it takes more memory or time than any drive needs", where=name) from None
    if "error" in answer:
        raise BundleError(answer["error"]["message"], where=answer["error"]["where"])
    return answer


def _limit(seconds: float, memory: int) -> None:
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
    _limit(ask["seconds"], ask["memory"])
    from coach.bundle.check import check_bundle

    try:
        recipe = None if ask["recipe"] is None else bytes.fromhex(ask["recipe"])
        pins = [Pin(**one) for one in ask["pins"]]
        answer = check_bundle(ask["path"], pins, signer=ask["signer"], recipe=recipe)
    except BundleError as error:
        answer = {"error": {"message": error.message, "where": error.where}}
    except MemoryError:
        answer = {
            "error": {"message": "checking it takes more memory than any drive needs", "where": Path(ask["path"]).name}
        }
    sys.stdout.write(json.dumps(answer, allow_nan=False))


if __name__ == "__main__":
    main()
