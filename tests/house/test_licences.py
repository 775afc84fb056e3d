"""The whole ships under GPL-2.0-or-later: every distribution needed at run time must allow that.

Held not to fit: Apache-2.0 alone and LGPL-3.0 alone (the Free Software Foundation's list of licences calls the first
incompatible with GPL version 2; the second is version 3 with permissions added).
"""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Iterator
from email.message import Message
from importlib import metadata
from pathlib import Path

import pytest
from packaging.markers import default_environment
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).parents[2]
OURS = "log-capture-coach"

FITS = {
    "0BSD",
    "BSD-2-Clause",
    "BSD-3-Clause",
    "CC0-1.0",
    "MIT-0",
    "GPL-2.0-only",
    "GPL-2.0-or-later",
    "ISC",
    "LGPL-2.1-or-later",
    "MIT",
    "MPL-2.0",
    "PSF-2.0",
    "Zlib",
}

WORDS = {
    "BSD": "BSD-3-Clause",
    "BSD License": "BSD-3-Clause",
    "MIT License": "MIT",
    "Apache Software License": "Apache-2.0",
    "Apache 2.0": "Apache-2.0",
    "Mozilla Public License 2.0 (MPL 2.0)": "MPL-2.0",
    "Python Software Foundation License": "PSF-2.0",
}
"""What older metadata say, and the SPDX name for it."""

READ_BY_HAND = {
    # Its LICENSE: everything since 1 December 2017 under either of the two, everything before under BSD-3-Clause.
    "python-dateutil": "Apache-2.0 OR BSD-3-Clause",
}

PLATFORMS = {
    "Linux": {"sys_platform": "linux", "platform_system": "Linux", "os_name": "posix"},
    "macOS": {"sys_platform": "darwin", "platform_system": "Darwin", "os_name": "posix"},
    "Windows": {"sys_platform": "win32", "platform_system": "Windows", "os_name": "nt"},
}


def licence_of(about: metadata.PackageMetadata | Message) -> str:
    """An SPDX expression for a distribution's metadata; words that nobody has read yet come back as they are."""
    by_hand = READ_BY_HAND.get(canonicalize_name(about["Name"]))
    if by_hand:
        return by_hand
    if about.get("License-Expression"):
        return about.get("License-Expression")
    classifiers = [c.split(" :: ")[-1] for c in about.get_all("Classifier") or [] if c.startswith("License :: ")]
    said = [c for c in classifiers if c != "OSI Approved"] or [about.get("License") or "nothing"]
    return " AND ".join(WORDS.get(word, word) for word in said)


def fits(expression: str) -> bool:
    """Whether an SPDX expression of names, AND, OR and brackets leaves a way to combine it with GPL-2.0."""
    pieces = [piece.strip() for piece in re.split(r"(\(|\)| AND | OR )", expression) if piece.strip()]
    words = {"AND": "and", "OR": "or", "(": "(", ")": ")"}
    return bool(eval(" ".join(words.get(piece, str(piece in FITS)) for piece in pieces)))


def needed(requirements: list[str], environment: dict[str, str], extras: frozenset[str]) -> Iterator[Requirement]:
    """Those of `requirements` that hold in `environment`, with each of `extras` asked for."""
    for text in requirements:
        requirement = Requirement(text)
        choices = extras or frozenset({""})
        if requirement.marker is None or any(requirement.marker.evaluate({**environment, "extra": e}) for e in choices):
            yield requirement


def reached(platform: str) -> dict[str, str]:
    """Every distribution that running the project needs, all its extras included: name to licence."""
    environment = {**default_environment(), **PLATFORMS[platform]}
    ours = metadata.distribution(OURS)
    extras = frozenset(ours.metadata.get_all("Provides-Extra") or []) - CHOSEN_BY_THE_OWNER
    todo = list(needed(ours.requires or [], environment, extras))
    found: dict[str, str] = {}
    while todo:
        requirement = todo.pop()
        name = canonicalize_name(requirement.name)
        if name in found:
            continue
        try:
            there = metadata.distribution(name)
        except metadata.PackageNotFoundError:
            found[name] = READ_ELSEWHERE[name]
            continue
        found[name] = licence_of(there.metadata)
        todo += needed(there.requires or [], environment, frozenset(requirement.extras))
    return found


CHOSEN_BY_THE_OWNER = frozenset({"cluster"})
"""Extras whose packages do not all fit: no wheel carries them, and the program that loads them loads no python-obd
(docs/decisions/licence.md)."""

NOT_OURS_TO_CHOOSE = {
    # Only pandas asks for it, only on Windows: the time-zone tables of IANA (public domain) in a package whose
    # few lines are Apache-2.0. Nothing of this project imports it, and no wheel of this project carries it.
    ("Windows", "tzdata"),
}
"""What does not fit and comes nevertheless: system and name. On the system where this is developed: nothing."""

READ_ELSEWHERE = {
    "colorama": "BSD-3-Clause",
    "tzdata": "Apache-2.0",
}
"""Distributions that are installed on other systems only, as their metadata in the package index say."""


@pytest.mark.parametrize("platform", PLATFORMS)
def test_everything_needed_at_run_time_combines_with_gpl_2(platform: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Prints the table of licences and finds none that does not fit."""
    table = reached(platform)
    with capsys.disabled():
        print(f"\nneeded at run time on {platform}:")
        for name, licence in sorted(table.items()):
            print(f"  {name:<20} {licence}")
    assert {"flask", "numpy", "pint", "werkzeug"} <= set(table)
    assert {(platform, name) for name, licence in table.items() if not fits(licence)} <= NOT_OURS_TO_CHOOSE
    assert not any(system == "Linux" for system, _ in NOT_OURS_TO_CHOOSE)


@pytest.mark.parametrize(
    ("expression", "verdict"),
    [
        ("MIT", True),
        ("Apache-2.0", False),
        ("LGPL-3.0-only", False),
        ("LGPL-3.0-or-later", False),
        ("nothing", False),
        ("Some Licence Of Its Own", False),
        ("Apache-2.0 OR BSD-2-Clause", True),
        ("MIT AND Apache-2.0", False),
        ("MIT AND (Apache-2.0 OR MPL-2.0)", True),
        ("(MIT AND Apache-2.0) OR GPL-2.0-only", True),
    ],
)
def test_an_expression_fits_when_one_way_through_it_does(expression: str, verdict: bool) -> None:
    assert fits(expression) is verdict


def test_older_metadata_are_understood() -> None:
    """Classifiers where there is no SPDX expression, and what nobody has read yet does not pass."""
    message = Message()
    message["Name"] = "something"
    message["Classifier"] = "License :: OSI Approved :: Apache Software License"
    message["Classifier"] = "License :: OSI Approved"
    assert licence_of(message) == "Apache-2.0"
    message["Classifier"] = "License :: OSI Approved :: MIT License"
    assert not fits(licence_of(message))


def test_what_the_page_borrows_may_be_shipped_along() -> None:
    """The plots are MIT; the font is under the SIL Open Font License, which allows bundling with any software."""
    lock = json.loads((ROOT / "web/package-lock.json").read_text("utf-8"))
    licences = {path: entry["license"] for path, entry in lock["packages"].items() if path}
    assert licences
    assert set(licences.values()) <= FITS | {"OFL-1.1"}
    assert licences.pop("node_modules/@fontsource/b612") == "OFL-1.1"
    assert "OFL-1.1" not in licences.values()


def constraints() -> dict[str, str]:
    """constraints.txt: name to exact version."""
    lines = (ROOT / "constraints.txt").read_text("utf-8").splitlines()
    pairs = [line.split("==") for line in lines if line and not line.startswith("#")]
    return {canonicalize_name(name): version for name, version in pairs}


def test_every_version_is_pinned_and_installed() -> None:
    """Also what is needed only through others, and what the tests need; pyproject.toml names the same versions."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))
    extras = [line for lines in project["project"].get("optional-dependencies", {}).values() for line in lines]
    direct = project["project"]["dependencies"] + extras + project["dependency-groups"]["test"]
    pinned = constraints()
    assert {line for line in direct if not re.fullmatch(r"[\w.-]+==[\w.]+(; .*)?", line)} == set()
    named = {canonicalize_name(r.name): str(r.specifier).removeprefix("==") for r in map(Requirement, direct)}
    assert {name: pinned.get(name) for name in named} == named
    todo, seen = list(named), set()
    environment = {k: str(v) for k, v in default_environment().items()}
    while todo:
        name = todo.pop()
        if name not in seen:
            seen.add(name)
            there = metadata.distribution(name)
            assert there.version == pinned.get(name), f"{name} is installed as {there.version}"
            more = needed(there.requires or [], environment, frozenset())
            todo += [canonicalize_name(r.name) for r in more]
    assert set(pinned) - seen <= {"colorama"}, "constraints.txt pins what nothing needs"
