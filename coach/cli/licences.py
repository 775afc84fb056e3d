"""What this program needs at run time, as it is installed here, and under which licence each of it comes."""

from __future__ import annotations

import json
import os
import platform
import re
import sys
from dataclasses import dataclass
from importlib import metadata

from coach.assets import vendor_root

OURS = "log-capture-coach"
NAME = re.compile(r"^\s*([A-Za-z0-9][A-Za-z0-9._-]*)")
EXTRA = re.compile(r"extra\s*==\s*['\"]([^'\"]+)['\"]")
CLAUSE = re.compile(
    r"(python_version|python_full_version|sys_platform|platform_system|os_name)\s*([<>=!]=?)\s*['\"]([^'\"]+)['\"]"
)
NOT_SAID = "not said in its metadata"


@dataclass(frozen=True, slots=True, order=True)
class Part:
    """One package. `where` is `program`, the extra it belongs to, or `page` for what the browser loads."""

    where: str
    name: str
    version: str
    licence: str


def parts() -> list[Part]:
    """Every package that is installed here because this program, or one of its extras, needs it; and the page's."""
    found: dict[str, Part] = {}
    ours = metadata.distribution(OURS)
    todo = [(name, extra or "program") for name, extra in _needed(ours)]
    # The program's own come first: what it needs anyway belongs to no extra.
    todo.sort(key=lambda pair: pair[1] != "program")
    while todo:
        name, where = todo.pop(0)
        if _canonical(name) in found:
            continue
        try:
            there = metadata.distribution(name)
        except metadata.PackageNotFoundError:
            continue  # for another system, or an extra that is not installed
        found[_canonical(name)] = Part(where, there.metadata["Name"], there.version, licence_of(there))
        todo = [(other, where) for other, extra in _needed(there) if extra is None] + todo
    own = Part("program", OURS, ours.version, licence_of(ours))
    return [own, *sorted(found.values(), key=lambda p: (p.where != "program", p.where, p.name.lower())), *_page()]


def _needed(there: metadata.Distribution) -> list[tuple[str, str | None]]:
    """Names that a package asks for, each with the extra that it belongs to, if any."""
    found = []
    for line in there.requires or []:
        name, extra = NAME.match(line), EXTRA.search(line)
        assert name is not None
        if _here(line.partition(";")[2]):
            found.append((name[1], extra[1] if extra else None))
    return found


def _here(marker: str) -> bool:
    """Whether a marker holds on this Python and system; what it asks beyond that is taken to hold."""
    return any(
        all(_holds(clause) for clause in either.split(" and "))
        for either in marker.replace("(", "").replace(")", "").split(" or ")
    )


def _holds(clause: str) -> bool:
    found = CLAUSE.search(clause)
    if found is None:
        return True
    name, sign, value = found.groups()
    if name.startswith("python"):
        mine, asked = sys.version_info[:2], tuple(int(n) for n in value.split(".")[:2] if n.isdigit())
        order = {"<": mine < asked, "<=": mine <= asked, ">": mine > asked, ">=": mine >= asked, "==": mine == asked}
        return order.get(sign, True)
    given = {"sys_platform": sys.platform, "platform_system": platform.system(), "os_name": os.name}[name]
    return (given == value) == (sign == "==")


def licence_of(there: metadata.Distribution) -> str:
    """What a package's metadata say of its licence."""
    expression = _said(there, "License-Expression")
    if expression:
        return expression[0]
    classifiers = [c.split(" :: ")[-1] for c in _said(there, "Classifier") if c.startswith("License :: ")]
    said = [c for c in classifiers if c != "OSI Approved"] or _said(there, "License")
    return " and ".join(text for text in said if "\n" not in text) or NOT_SAID


def _said(there: metadata.Distribution, key: str) -> list[str]:
    return [str(text).strip() for text in there.metadata.get_all(key) or [] if str(text).strip()]


def _page() -> list[Part]:
    folder = vendor_root()
    if folder is None:
        return []
    packages = json.loads((folder / "vendor.json").read_text("utf-8"))["packages"]
    return [Part("page", name, about["version"], about["licence"]) for name, about in sorted(packages.items())]


def _canonical(name: str) -> str:
    return re.sub(r"[-_.]+", "-", name).lower()
