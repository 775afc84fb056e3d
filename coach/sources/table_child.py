"""Reads a table in a process of its own: no pandas, and no seconds of a busy interpreter, beside a running drive."""

from __future__ import annotations

import json
import os
import pickle
import subprocess
import sys
import tempfile
from pathlib import Path

import coach
from coach import errors
from coach.errors import BadInput, TableError
from coach.recording import Recording
from coach.signals import Catalogue
from coach.sources.columns import Columns
from coach.sources.table_bytes import Progress
from coach.sources.table_worker import load

MOST_SAMPLES = 50_000_000
"""As in `table.py`."""


def read_table_in_child(
    path: Path,
    catalogue: Catalogue,
    *,
    columns: Columns | None = None,
    most_samples: int = MOST_SAMPLES,
    progress: Progress | None = None,
) -> Recording:
    """`read_table` in a child process, which ends with this call whatever happens.

    Args:
        path: see `read_table`, as for all others.
        catalogue: the signals that columns may carry.
        columns: what a person says about the columns.
        most_samples: a table with more is refused.
        progress: called in this process; what it raises ends the child.

    Raises:
        TableError: the table cannot be read, or the child was ended from outside (out of memory).
        ColumnsError: the columns file does not fit.
    """
    root = str(Path(coach.__file__).parents[1])
    paths = [root, *filter(None, [os.environ.get("PYTHONPATH")])]
    command = [sys.executable, "-P", "-m", "coach.sources.table_worker"]
    with tempfile.TemporaryDirectory(prefix="coach-table-") as folder:
        out = Path(folder) / "recording.npz"
        request = {
            "path": Path(path).absolute(), "catalogue": catalogue, "columns": columns, "most_samples": most_samples,
            "out": out,
        }  # fmt: skip
        with (Path(folder) / "errors").open("w+b") as complaints:
            child = subprocess.Popen(  # noqa: S603 - our own interpreter and module
                command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=complaints,
                env={**os.environ, "PYTHONPATH": os.pathsep.join(paths)},
            )  # fmt: skip
            with child:
                try:
                    if _talk(child, request, progress):
                        return load(out)
                    child.wait()
                except BaseException:
                    child.kill()
                    raise
            complaints.seek(0)
            last = complaints.read().decode("utf-8", "replace").strip().rpartition("\n")[2]
        message = f"the reader failed: {last[:200]}"
        if not last:
            message = "the reader was ended from outside, most likely for want of memory; cut the table into drives"
        raise TableError(message, where=Path(path).name)


def _talk(child: subprocess.Popen[bytes], request: object, progress: Progress | None) -> bool:
    """Sends the request and follows the answers; says whether the child came to its end."""
    assert child.stdin is not None
    assert child.stdout is not None
    try:
        child.stdin.write(pickle.dumps(request))
        child.stdin.close()
    except BrokenPipeError:
        return False
    for line in child.stdout:
        said = json.loads(line)
        if "error" in said:
            child.wait()
            name, message, where = said["error"]
            kind = getattr(errors, name, BadInput)
            raise kind(message, where=where)
        if "done" in said:
            child.wait()
            return True
        if progress is not None:
            progress(*said["progress"])
    return False
