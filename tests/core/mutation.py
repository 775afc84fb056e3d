"""Mutates the judge and says how many mutants the tests of the core tell from it; not part of a test run.

Works on a copy, with mutmut from an environment of its own: DEVELOPERS.md has the commands. Draws a sample by module.
"""

from __future__ import annotations

import argparse
import ast
import json
import math
import random
import shutil
import subprocess
import sys
from collections import Counter
from pathlib import Path

ROOT = Path(__file__).parents[2]
CORE = Path("coach/core")
SKIPPED = shutil.ignore_patterns(".git", ".venv", ".hypothesis", "__pycache__", "node_modules", "mutants")
SETTINGS = """
[tool.mutmut]
source_paths = ["coach"]
only_mutate = ["coach/core/*.py"]
also_copy = ["web", "replay_traces"]
timeout_multiplier = 3.0
timeout_constant = 60.0
pytest_add_cli_args = ["-p", "no:cacheprovider", "--hypothesis-profile=mutants"]
pytest_add_cli_args_test_selection = ["tests/core", "tests/signals/test_pointwise.py"]
"""
PROFILE = """
from hypothesis import Phase

settings.register_profile(
    "mutants", max_examples={examples}, deadline=None, derandomize=True, database=None,
    phases=[Phase.explicit, Phase.generate],
)
"""
FIRST = "coach.core.gates.*open*"
"""A few mutants to begin with: the tool makes all of them before it tries the first."""
OUTCOMES = {0: "survived", 1: "killed", 3: "killed", 5: "untested", 33: "untested", 24: "timeout", 36: "timeout"}


def copy_to(folder: Path, examples: int) -> None:
    """The project in `folder`, ready to be mutated."""
    shutil.copytree(ROOT, folder, ignore=SKIPPED)
    for path in sorted((folder / CORE).glob("*.py")):
        path.write_text(without_decorators(path.read_text("utf-8")), "utf-8")
    for name, more in (("pyproject.toml", SETTINGS), ("tests/conftest.py", PROFILE.format(examples=examples))):
        with (folder / name).open("a", encoding="utf-8") as file:
            file.write(more)


def without_decorators(text: str) -> str:
    """The tool leaves decorated functions alone: `name = property(name)` after the function says the same."""
    lines = text.splitlines(keepends=True)
    found = [
        (f.decorator_list[0].lineno, f.end_lineno or 0, f.name, f.col_offset)
        for f in ast.walk(ast.parse(text))
        if isinstance(f, ast.FunctionDef) and [ast.unparse(d) for d in f.decorator_list] == ["property"]
    ]
    for first, last, name, indent in sorted(found, reverse=True):
        lines.insert(last, f"{' ' * indent}{name} = property({name})\n")
        lines[first - 1] = "\n"
    return "".join(lines)


def mutmut(folder: Path, names: list[str], workers: int) -> None:
    subprocess.run(
        [sys.executable, "-m", "mutmut", "run", "--max-children", str(workers), *names], cwd=folder, check=True
    )


def results(folder: Path) -> dict[str, dict[str, int | None]]:
    """By module, how the tests ended with each mutant; None where it was not tried."""
    files = sorted((folder / "mutants" / CORE).glob("*.meta"))
    return {p.name.removesuffix(".py.meta"): json.loads(p.read_text("utf-8"))["exit_code_by_key"] for p in files}


def draw(folder: Path, share: float, seed: int) -> list[str]:
    """The same share of each module's mutants."""
    dice = random.Random(seed)
    return [name for of in results(folder).values() for name in dice.sample(sorted(of), round(len(of) * share))]


def wilson(killed: int, tried: int) -> tuple[float, float]:
    """95 % interval of a proportion (Wilson 1927, score interval)."""
    z, p = 1.96, killed / tried
    middle = (p + z * z / 2 / tried) / (1 + z * z / tried)
    reach = z * math.sqrt(p * (1 - p) / tried + (z / 2 / tried) ** 2) / (1 + z * z / tried)
    return middle - reach, middle + reach


def report(folder: Path, names: list[str]) -> None:
    """The score by module, and the names of those that were not told apart, or not in time."""
    chosen, total, left = set(names), Counter[str](), []
    for module, codes in results(folder).items():
        counts = Counter[str]()
        for name in sorted(chosen & set(codes)):
            code = codes[name]
            outcome = "open" if code is None else OUTCOMES.get(code, "timeout" if code < 0 or code > 128 else "killed")
            counts[outcome] += 1
            if outcome not in ("killed", "open"):
                left.append(f"{outcome} {name}")
        if counts:
            print(f"{module:14}", dict(counts))
        total += counts
    tried = sum(total.values()) - total["open"]
    # On a busy machine what merely takes long runs out of time as well: so both, and the names to be looked at.
    for of, killed in (
        ("killed", total["killed"]),
        ("killed or out of time", total["killed"] + total["timeout"]),
    ):
        low, high = wilson(killed, tried)
        print(f"{of}: {killed} of {tried}, {killed / tried:.1%}, 95 % interval {low:.1%} to {high:.1%}")
    print("\n".join(left))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path, help="where the copy goes; must not exist, unless for --report")
    parser.add_argument("--share", type=float, default=0.15, help="which share of each module's mutants is tried")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--examples", type=int, default=60, help="of Hypothesis, a test")
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--report", action="store_true", help="only say how far it has come")
    given = parser.parse_args()
    if not given.report:
        copy_to(given.folder, given.examples)
        mutmut(given.folder, [FIRST], given.workers)
    names = draw(given.folder, given.share, given.seed)
    if not given.report:
        mutmut(given.folder, names, given.workers)
    report(given.folder, names)


if __name__ == "__main__":
    main()
