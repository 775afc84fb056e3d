"""The child process that reads a table, so that the server never imports pandas. Not a command for people.

It takes a pickled request from its parent on stdin, tells its progress and its end in lines of JSON on stdout, and
leaves the samples in the file that the request names.
"""

from __future__ import annotations

import json
import os
import pickle
import sys
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from coach.errors import BadInput
from coach.recording import Note, Recording, Series


def save(recording: Recording, path: Path) -> None:
    """Writes a recording without marks to an uncompressed npz file. Arrays of times that are one stay one."""
    arrays: dict[str, NDArray[Any]] = {}
    places: dict[int, str] = {}
    series = []
    for i, (name, one) in enumerate(recording.series.items()):
        key = places.setdefault(id(one.t_us), f"t{i}")
        arrays[key] = one.t_us
        arrays[f"v{i}"] = one.value
        series.append([name, key, f"v{i}"])
    head = {
        "series": series,
        "wall_us": recording.wall_us,
        "notes": [[n.code, n.text, n.signal, n.count] for n in recording.notes],
        "meta": dict(recording.meta),
    }
    arrays["head"] = np.frombuffer(json.dumps(head).encode(), dtype=np.uint8)
    with path.open("wb") as file:
        np.savez(file, allow_pickle=False, **arrays)


def load(path: Path) -> Recording:
    """Reads what `save` wrote."""
    with np.load(path, allow_pickle=False) as arrays:
        head = json.loads(arrays["head"].tobytes())
        times = {key: arrays[key] for _, key, _ in head["series"]}
        series = {name: Series(times[t], arrays[v]) for name, t, v in head["series"]}
    notes = tuple(Note(*note) for note in head["notes"])
    return Recording(series, wall_us=head["wall_us"], notes=notes, meta=head["meta"])


def _say(**what: Any) -> None:
    sys.stdout.write(json.dumps(what) + "\n")
    sys.stdout.flush()


def main() -> int:
    """Reads one table. Exit status 0 also for bad input, which is told on stdout."""
    from coach.sources.table import read_table

    if hasattr(os, "nice"):
        os.nice(10)  # a drive may be recording in the parent
    request = pickle.load(sys.stdin.buffer)  # noqa: S301 - it comes from our own parent process
    try:
        recording = read_table(
            request["path"], request["catalogue"], columns=request["columns"], most_samples=request["most_samples"],
            progress=lambda done, whole: _say(progress=[done, whole]),
        )  # fmt: skip
    except BadInput as bad:
        _say(error=[type(bad).__name__, bad.message, bad.where])
        return 0
    except MemoryError:
        _say(error=["TableError", "the table does not fit into memory; cut it into drives", Path(request["path"]).name])
        return 0
    save(recording, request["out"])
    _say(done=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
