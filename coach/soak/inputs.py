"""Bad inputs: runs the fuzzing tests of a checkout with many examples and counts what every parser was fed."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
from dataclasses import dataclass, field
from pathlib import Path

ROOT = Path(__file__).parents[2]
TESTS = ROOT / "tests/fuzz"
COUNTS = "COACH_FUZZ_COUNTS"
"""Names the file to which the fuzzing tests write how often each parser was called."""


@dataclass
class Inputs:
    """How many inputs each parser was fed, and what the tests said if one was not refused with a sentence."""

    tried: dict[str, int] = field(default_factory=dict)
    failed: str = ""


def there() -> bool:
    """Whether this is a checkout, with its tests."""
    return TESTS.is_dir()


def feed(*, quick: bool) -> Inputs:
    """Runs the fuzzing tests, with 2,000 examples each, or few if `quick`."""
    with tempfile.TemporaryDirectory() as folder:
        counts = Path(folder) / "counts.json"
        profile = "quick" if quick else "deep"
        done = subprocess.run(  # noqa: S603 - our own tests, our own interpreter
            [
                sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", f"--hypothesis-profile={profile}",
                str(TESTS),
            ],
            cwd=ROOT, env={**os.environ, COUNTS: str(counts)}, capture_output=True, text=True, check=False,
        )  # fmt: skip
        tried = json.loads(counts.read_text("utf-8")) if counts.is_file() else {}
    return Inputs(tried, "" if done.returncode == 0 else done.stdout[-4000:])
