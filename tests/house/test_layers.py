"""What import-linter cannot say: the core by its syntax tree, clocks, and what the server process may load."""

from __future__ import annotations

import ast
import os
import re
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[2] / "coach"
GROUND = {path.stem for path in PACKAGE.glob("*.py")} - {"__init__", "__main__", "cli"}

NOT_IN_CORE = {
    "asyncio", "concurrent", "ctypes", "datetime", "glob", "http", "io", "logging", "multiprocessing", "os", "pathlib",
    "queue", "random", "select", "secrets", "shutil", "signal", "socket", "sqlite3", "subprocess", "sys", "tempfile",
    "threading", "time", "urllib", "uuid", "warnings",
}  # fmt: skip
"""Standard modules by which a core could meet the world."""

CLOCKS = {
    "time": {"time", "time_ns", "monotonic", "monotonic_ns", "perf_counter", "perf_counter_ns", "process_time",
             "clock_gettime", "clock_gettime_ns", "localtime", "gmtime", "sleep"},
    "datetime": {"now", "utcnow", "today"},
}  # fmt: skip


def imports(tree: ast.AST) -> Iterator[tuple[int, str]]:
    """Every module that a module imports, wherever in it: line and full name."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from ((node.lineno, alias.name) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, "imports are absolute here"
            yield node.lineno, node.module or ""


def allowed_in_core(module: str) -> bool:
    """Whether the core may import `module`: the standard library's pure parts, numpy, itself, the ground floor."""
    head, *rest = module.split(".")
    if head == "coach":
        return bool(rest) and (rest[0] == "core" or rest[0] in GROUND)
    if head == "numpy":
        return True
    return head in sys.stdlib_module_names and head not in NOT_IN_CORE


def calls(tree: ast.AST) -> Iterator[tuple[int, str]]:
    """Names of plain functions that a module calls."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
            yield node.lineno, node.func.id


def clock_reads(tree: ast.AST) -> Iterator[int]:
    """Lines that read a clock or wait for one: `time.monotonic()`, `datetime.now()`, `from time import sleep`."""
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom) and node.module == "time":
            yield from (node.lineno for alias in node.names if alias.name in CLOCKS["time"])
        if isinstance(node, ast.Attribute):
            value = node.value
            owner = value.id if isinstance(value, ast.Name) else value.attr if isinstance(value, ast.Attribute) else ""
            module = "datetime" if owner in ("datetime", "date") else owner
            if node.attr in CLOCKS.get(module, ()):
                yield node.lineno


@pytest.mark.parametrize("path", sorted((PACKAGE / "core").rglob("*.py")), ids=lambda path: path.stem)
def test_the_core_imports_only_pure_parts(path: Path) -> None:
    """Standard library and numpy, no clock, no file, no thread, no log."""
    tree = ast.parse(path.read_text("utf-8"))
    assert [(line, name) for line, name in imports(tree) if not allowed_in_core(name)] == []
    assert [(line, name) for line, name in calls(tree) if name in ("open", "print", "input", "exec", "eval")] == []


@pytest.mark.parametrize(
    "source",
    ["import pandas", "from coach.recipe import load_recipe", "def f():\n    import time", "import numpy, os.path"],
)
def test_the_check_of_the_core_bites(source: str) -> None:
    assert [name for _, name in imports(ast.parse(source)) if not allowed_in_core(name)]


def test_only_the_clock_module_reads_a_clock() -> None:
    """Everything else takes a clock or a time as an argument."""
    found = [
        f"{path.relative_to(PACKAGE)}:{line}"
        for path in sorted(PACKAGE.rglob("*.py"))
        if path != PACKAGE / "clock.py"
        for line in clock_reads(ast.parse(path.read_text("utf-8")))
    ]
    assert found == []


@pytest.mark.parametrize(
    "source",
    ["import time\nt = time.monotonic()", "from time import sleep", "datetime.datetime.now()", "f = date.today"],
)
def test_the_check_of_clocks_bites(source: str) -> None:
    assert list(clock_reads(ast.parse(source)))


@pytest.mark.parametrize("module", ["coach.server", "coach.cli"])
def test_starting_loads_no_heavy_library(module: str) -> None:
    """pandas, pint, duckdb, scipy and plotting cost memory and time that a server at rest must not pay."""
    if not any((PACKAGE / name).exists() for name in (module.split(".")[1], f"{module.split('.')[1]}.py")):
        assert not os.environ.get("CI"), f"{module} is missing"
        pytest.skip(f"{module} is not written yet")
    heavy = ["pandas", "pint", "duckdb", "scipy", "matplotlib", "hypothesis", "pytest"]
    code = f"import sys, {module}; print(*[name for name in {heavy} if name in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.split() == []


def test_the_table_of_layers_is_that_of_the_contract() -> None:
    """Every folder of the package has its row in DEVELOPERS.md, in the contract's order from the top down."""
    settings = tomllib.loads((PACKAGE.parent / "pyproject.toml").read_text("utf-8"))
    layers = settings["tool"]["importlinter"]["contracts"][0]["layers"]
    contract = [name for layer in layers[:-1] for name in re.findall(r"\w+", layer)]
    table = (
        (PACKAGE.parent / "DEVELOPERS.md").read_text("utf-8").partition("## Layers")[2].partition("| ground floor")[0]
    )
    rows = [name for row in re.findall(r"^\| (`.*?) \|", table, re.MULTILINE) for name in re.findall(r"`(\w+)`", row)]
    assert rows == contract
    folders = {path.name for path in PACKAGE.iterdir() if (path / "__init__.py").is_file()}
    assert folders - {"words"} == set(contract)
