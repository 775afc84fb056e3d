"""`python3 run.py soak`: kills, power cuts, bad inputs and a drive of eight hours, and the figures of all that."""

from __future__ import annotations

import argparse
import json
import os
import sys
import tempfile
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

from coach.bench.figures import Figure, machine, table
from coach.soak import inputs
from coach.soak.sqlite import there as watched

KILLS = "Killed while recording (kill -9), then opened again"
POWER = "Power cut: a disk that forgets what was not synced"
INPUTS = "Bad inputs: each refused with a sentence, or taken"
LONG = "One long drive at 150 samples a second"

Broken = list[str]


def kills(work: Path, broken: Broken, *, quick: bool) -> Iterator[Figure]:
    """Kills at random moments."""
    from coach.soak.kills import kill

    made = kill(work, 20 if quick else 200)
    broken += made.broken
    yield Figure(KILLS, "kills at random moments", made.kills, "")
    yield Figure(KILLS, "survived with every promise kept", made.survived, "", "all", made.survived == made.kills)
    yield Figure(KILLS, "samples found again", made.samples, "")
    yield Figure(KILLS, "kills that lost a sample said to be stored", made.lost_samples, "", "0", not made.lost_samples)
    yield Figure(KILLS, "windows said to be saved before a kill, all intact", made.saved, "")
    yield Figure(KILLS, "longest time shown and not yet stored", made.worst_s, "s", "0.5", made.worst_s <= 0.5)


def power(work: Path, broken: Broken, *, quick: bool) -> Iterator[Figure]:
    """Power cuts, where SQLite can be watched."""
    from coach.soak.power import cut_power

    if not watched():
        return
    made = cut_power(work, 40 if quick else 400)
    broken += made.broken
    yield Figure(POWER, "places where something is written or synced", sum(made.sites.values()), "")
    yield Figure(POWER, "images of the disk opened", made.images, "")
    yield Figure(POWER, "promises broken", len(made.broken), "", "0", not made.broken)


def bad_inputs(_work: Path, broken: Broken, *, quick: bool) -> Iterator[Figure]:
    """The fuzzing tests, in a checkout."""
    if not inputs.there():
        return
    made = inputs.feed(quick=quick)
    if made.failed:
        broken.append(made.failed)
    for name, count in sorted(made.tried.items()):
        yield Figure(INPUTS, name, count, "")
    yield Figure(INPUTS, "all together", sum(made.tried.values()), "", "no traceback", not made.failed)


def long(work: Path, _broken: Broken, *, quick: bool) -> Iterator[Figure]:
    """Eight hours, or twelve minutes."""
    from coach.soak.long import apart

    made = apart(work / "data", 0.2 if quick else 8.0)
    grown = made.end_mb - made.early_mb
    yield Figure(LONG, "drive", made.hours, "h")
    yield Figure(LONG, "samples", made.samples, "")
    yield Figure(LONG, "memory after an eighth of it", made.early_mb, "MB")
    yield Figure(LONG, "memory at its end", made.end_mb, "MB", "150", made.most_mb < 150)
    yield Figure(LONG, "grown meanwhile", grown, "MB", "flat: under 10", grown < 10)
    yield Figure(LONG, "the data folder", made.file_mb, "MB")
    yield Figure(LONG, "to read the whole drive", made.open_s, "s", "1", made.open_s < 1)
    yield Figure(LONG, "recorded in", made.took_s, "s")


def main(arguments: Sequence[str] | None = None) -> int:
    """Runs all of it; status 1 when a promise was broken."""
    parser = argparse.ArgumentParser(prog="run.py soak", description="Find out what this program survives.")
    parser.add_argument("--json", action="store_true", help="print JSON")
    parser.add_argument("--quick", action="store_true", help="a tenth of it or less: under a minute and a half")
    chosen = parser.parse_args(arguments)
    parts: list[Callable[..., Iterator[Figure]]] = [power, bad_inputs, long]
    if hasattr(os, "fork"):
        parts.insert(0, kills)
    found: list[Figure] = []
    broken: Broken = []
    with tempfile.TemporaryDirectory(prefix="coach-soak-") as folder:
        for part in parts:
            work = Path(folder) / part.__name__
            work.mkdir()
            found += part(work, broken, quick=chosen.quick)
            if not chosen.json:
                sys.stderr.write(f"{part.__name__.replace('_', ' ')}: done\n")
    if chosen.json:
        answer = {"machine": machine(), "figures": [f.as_dict() for f in found], "broken": broken}
        sys.stdout.write(json.dumps(answer, indent=1) + "\n")
    else:
        where = "\n".join(f"{name:<10} {value}" for name, value in machine().items())
        sys.stdout.write(f"{where}\n\n{table(found)}\n")
        sys.stdout.write("".join(f"\n{text}\n" for text in broken))
    return 1 if broken or any(f.met is False and f.unit != "s" for f in found) else 0


if __name__ == "__main__":
    sys.exit(main())
