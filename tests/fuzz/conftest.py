"""Counts what the parsers were fed, for `run.py soak`."""

import json
import os
from pathlib import Path

from tests.fuzz.feeding import tried

COUNTS = "COACH_FUZZ_COUNTS"


def pytest_sessionfinish() -> None:
    """Writes the numbers where the environment says."""
    target = os.environ.get(COUNTS)
    if target:
        Path(target).write_text(json.dumps(tried), "utf-8")
