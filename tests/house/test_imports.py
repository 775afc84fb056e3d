"""No module needs itself to be loaded, and what is imported is declared: nothing more, nothing less."""

from __future__ import annotations

import sys
import tomllib
from functools import cache
from graphlib import CycleError, TopologicalSorter
from importlib import metadata
from pathlib import Path

import grimp
import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).parents[2]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))

ON_DEMAND = ("coach", "coach.api")
"""`import coach; coach.judge(...)`: loaded when it is asked for, and not by anything below."""
NOT_IMPORTED = {
    "python-dateutil": "only pandas imports it; it is pinned for its licence",
    "dask": "coach/desk/runners.py talks to it through distributed",
}
"""Declared all the same."""
ONLY_MEASURING = {"coach.bench.page": {"playwright"}}
"""The benchmark goes on without, and says so."""


@cache
def graph() -> grimp.ImportGraph:
    """Every import of the package, wherever in a module it stands, but those for type checkers alone."""
    return grimp.build_graph(
        "coach", include_external_packages=True, exclude_type_checking_imports=True, cache_dir=None
    )  # fmt: skip


def circle(edges: dict[str, set[str]]) -> list[str]:
    """Modules that import each other in a ring, or nothing."""
    try:
        TopologicalSorter(edges).prepare()
    except CycleError as error:
        return list(error.args[1])
    return []


def with_folders(module: str, imported: set[str]) -> set[str]:
    """What loading a module loads: `a.b.c` loads `a` and `a.b` first, unless the module itself stands in them."""
    folders = {name.rsplit(".", n)[0] for name in imported for n in range(1, name.count(".") + 1)}
    return imported | {folder for folder in folders if not f"{module}.".startswith(f"{folder}.")}


def own_imports() -> dict[str, set[str]]:
    """Each module of the package with those that loading it, or calling into it, loads."""
    ours = {name for name in graph().modules if name.split(".")[0] == "coach"}
    edges = {name: with_folders(name, graph().find_modules_directly_imported_by(name) & ours) for name in ours}
    edges[ON_DEMAND[0]].discard(ON_DEMAND[1])
    return edges


def test_no_module_imports_itself_through_others() -> None:
    """Each can be imported first, and alone; also what a function imports when it runs goes one way only."""
    edges = own_imports()
    assert len(edges) > 300
    assert circle(edges) == []


def test_the_check_of_circles_bites() -> None:
    """A ring of three is found, also one that goes through a folder's own file."""
    assert set(circle({"a": {"b"}, "b": {"c"}, "c": {"a"}})) == {"a", "b", "c"}
    assert with_folders("x.one", {"y.two.three"}) == {"y.two.three", "y.two", "y"}
    assert with_folders("y.one", {"y.two.three"}) == {"y.two.three", "y.two"}


def names(lines: list[str]) -> set[str]:
    """The distributions that lines of pyproject.toml name."""
    return {canonicalize_name(Requirement(line).name) for line in lines}


def declared() -> set[str]:
    """What running asks for, with every extra."""
    extras = PROJECT["project"]["optional-dependencies"].values()
    return names(PROJECT["project"]["dependencies"]).union(*map(names, extras))


def imported() -> dict[str, set[str]]:
    """Each distribution with the modules that import from it."""
    of = metadata.packages_distributions()
    found: dict[str, set[str]] = {}
    for name in graph().modules:
        head = name.split(".")[0]
        if head == "coach" or head in sys.stdlib_module_names:
            continue
        for distribution in map(canonicalize_name, of.get(head, [head])):
            found.setdefault(distribution, set()).update(graph().find_modules_that_directly_import(name))
    return found


def test_what_is_imported_is_declared() -> None:
    """Also what comes anyway with something else: that may stop to need it."""
    assert {
        name: sorted(left)
        for name, where in imported().items()
        if name not in declared() and (left := {m for m in where if name not in ONLY_MEASURING.get(m, ())})
    } == {}


def test_what_is_declared_is_imported() -> None:
    """A dependency that nobody needs any more goes; one that is kept all the same says why."""
    assert declared() - set(imported()) == set(NOT_IMPORTED)


@pytest.mark.parametrize("name", ["flask", "numpy", "pyserial", "duckdb"])
def test_the_check_of_imports_sees_them(name: str) -> None:
    """At the top of a module or in a function, under the module's name or another."""
    assert imported()[name]
