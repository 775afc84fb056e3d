"""What stands in for a judge in tests of the pool: module-level, so that another process can be handed it."""

from __future__ import annotations

import os
from pathlib import Path

from coach.desk.archive import Task


def judge(task: Task) -> dict:
    """Ends its process for a file whose name says so."""
    name = Path(task.path).name
    if name.startswith("killer"):
        os._exit(9)
    return {"file": task.path, "error": None, "drives": []}
