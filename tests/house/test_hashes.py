"""hashes/: every file that an install may bring has its checksum there, and constraints.txt says the same versions."""

from __future__ import annotations

import re
import tomllib
from importlib import metadata
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).parents[2]
PARTS = ("run", "test")
ONLY_ON_WINDOWS = {"tzdata"}
"""In no list of constraints: nothing here asks for it, pandas does, on Windows."""


def pins(part: str) -> dict[str, tuple[Requirement, int]]:
    """Name to pin and number of checksums."""
    text = (ROOT / f"hashes/{part}.txt").read_text("utf-8")
    found = {}
    for entry in re.sub(r"^#.*\n", "", text, flags=re.MULTILINE).replace("\\\n", " ").strip().splitlines():
        pin, *hashes = entry.split(" --hash=sha256:")
        assert all(re.fullmatch(r"[0-9a-f]{64}\s*", h) for h in hashes), entry
        requirement = Requirement(pin)
        found[canonicalize_name(requirement.name)] = requirement, len(hashes)
    return found


def constraints() -> dict[str, str]:
    """Name to version."""
    lines = (ROOT / "constraints.txt").read_text("utf-8").splitlines()
    pairs = [line.split("==") for line in lines if line and not line.startswith("#")]
    return {canonicalize_name(name): version for name, version in pairs}


def test_every_constraint_has_its_checksums_and_no_other() -> None:
    """One version of each, the same in both places; nothing in two lists."""
    run, test = pins("run"), pins("test")
    assert not set(run) & set(test)
    both = {name: str(pin.specifier).removeprefix("==") for name, (pin, _) in (run | test).items()}
    assert {n: v for n, v in both.items() if n not in ONLY_ON_WINDOWS} == constraints()
    assert all(count for _, count in (run | test).values())


@pytest.mark.parametrize("part", PARTS)
def test_the_lists_name_no_index(part: str) -> None:
    """Where packages come from is each machine's own setting."""
    text = (ROOT / f"hashes/{part}.txt").read_text("utf-8")
    assert "://" not in text
    assert not re.search(r"^\s*-(?!-hash)", text, flags=re.MULTILINE)


def reached(roots: list[str]) -> set[str]:
    """Names of all that `roots` need here."""
    todo, found = [Requirement(r) for r in roots], {}
    while todo:
        requirement = todo.pop()
        name = canonicalize_name(requirement.name)
        extras = found.get(name, frozenset()) | requirement.extras
        if name in found and extras == found[name]:
            continue
        found[name] = extras
        for text in metadata.distribution(name).requires or []:
            other = Requirement(text)
            if other.marker is None or any(other.marker.evaluate({"extra": e}) for e in extras or {""}):
                todo.append(other)
    return set(found)


def test_the_first_list_is_whole() -> None:
    """It is installed without looking for what each package needs: so all of it must be there, and no more."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))
    run = reached(project["project"]["dependencies"])
    here = {name for name, (pin, _) in pins("run").items() if pin.marker is None or pin.marker.evaluate()}
    assert run == here
    tools = reached(project["dependency-groups"]["test"])
    here |= {name for name, (pin, _) in pins("test").items() if pin.marker is None or pin.marker.evaluate()}
    assert run | tools == here
