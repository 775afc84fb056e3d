"""Makes hashes/run.txt and hashes/test.txt of a list of pins with checksums, as pip-compile writes it.

In an environment of their own:  pip-compile --generate-hashes --no-annotate --no-header --strip-extras --allow-unsafe
--no-emit-index-url --no-emit-find-links -o all.txt all.in, where all.in holds constraints.txt and the line `tzdata`.
Then, in .venv:  python hashes/split.py all.txt
"""  # noqa: INP001 - a tool, no package

from __future__ import annotations

import re
import sys
import tomllib
from importlib import metadata
from itertools import product
from pathlib import Path

from packaging.markers import default_environment
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

HERE = Path(__file__).resolve().parent
SYSTEMS = (("linux", "Linux", "posix"), ("darwin", "Darwin", "posix"), ("win32", "Windows", "nt"))
PYTHONS = ("3.11", "3.12", "3.13", "3.14")
HEAD = """\
# What {what}, with the SHA-256 of every file of it: `python3 run.py` installs these files and no others.
# Made from constraints.txt by hashes/split.py; tests/house/test_hashes.py holds the two together.
"""


def environments() -> list[dict[str, str]]:
    """The systems and Pythons for which markers are looked at."""
    base = {name: str(value) for name, value in default_environment().items()}
    return [
        base | {"sys_platform": s, "platform_system": p, "os_name": o, "python_version": v,
                "python_full_version": f"{v}.0", "platform_machine": "x86_64"}
        for (s, p, o), v in product(SYSTEMS, PYTHONS)
    ]  # fmt: skip


def reached(roots: list[str], environment: dict[str, str]) -> set[str]:
    """Names of all that `roots` need there."""
    todo = [Requirement(r) for r in roots]
    found: dict[str, frozenset[str]] = {}
    while todo:
        asked = todo.pop()
        name = canonicalize_name(asked.name)
        extras = found.get(name, frozenset()) | asked.extras
        if found.get(name) == extras:
            continue
        found[name] = extras
        try:
            requires = metadata.distribution(name).requires or []
        except metadata.PackageNotFoundError:
            continue  # only needed elsewhere, and needs nothing itself
        todo += (other for other in map(Requirement, requires) if holds(other, extras or frozenset({""}), environment))
    return set(found)


def holds(requirement: Requirement, extras: frozenset[str], environment: dict[str, str]) -> bool:
    """Whether a requirement is one there, with any of `extras`."""
    mark = requirement.marker
    return mark is None or any(mark.evaluate(environment | {"extra": extra}) for extra in extras)


def marker(name: str, where: list[tuple[dict[str, str], set[str]]]) -> str:
    """The marker that says on which of the systems and Pythons `name` is needed; empty for all."""
    have = [environment for environment, names in where if name in names]
    systems = {e["sys_platform"] for e in have}
    pythons = [v for v in PYTHONS if v in {e["python_version"] for e in have}]
    parts = []
    if len(systems) < len(SYSTEMS):
        parts.append(" or ".join(f"sys_platform == '{s}'" for s in sorted(systems)))
    if len(pythons) < len(PYTHONS):
        parts.append(f"python_version < '{PYTHONS[PYTHONS.index(pythons[-1]) + 1]}'")
    return " ; " + " and ".join(parts) if parts else ""


def main(source: Path) -> None:
    """Writes both lists."""
    project = tomllib.loads((HERE.parent / "pyproject.toml").read_text("utf-8"))
    run, test = project["project"]["dependencies"], project["dependency-groups"]["test"]
    entries = re.split(r"\n(?=[a-z])", source.read_text("utf-8").strip())
    pins = {canonicalize_name(e.split("==")[0]): e.strip().split(" \\\n", 1) for e in entries}
    done: set[str] = set()
    for file, roots, what in (
        ("run.txt", run, "running the project needs"), ("test.txt", run + test, "only the tests and the extras need"),
    ):  # fmt: skip
        where = [(environment, reached(roots, environment)) for environment in environments()]
        names = set().union(*(found for _, found in where)) - done
        done |= names
        lines = [f"{pins[n][0]}{marker(n, where)} \\\n{pins[n][1]}\n" for n in sorted(names)]
        (HERE / file).write_text(HEAD.format(what=what) + "".join(lines), "utf-8")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
