"""Each setting bites: a known fault, in a copy of the project's settings, is found by the tool that should find it."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
SETTINGS = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["tool"]


@pytest.fixture
def project(tmp_path: Path) -> Path:
    """A folder with the project's settings and an empty package `coach`."""
    shutil.copyfile(ROOT / "pyproject.toml", tmp_path / "pyproject.toml")
    write(tmp_path / "coach/__init__.py", '"""A package."""\n')
    return tmp_path


def write(path: Path, text: str) -> None:
    """Writes `text`, making folders as needed."""
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text, "utf-8")


def run(folder: Path, *command: str, **env: str) -> tuple[int, str]:
    """Status and output of a tool of this environment, run in `folder` and nowhere else."""
    clean = {k: v for k, v in os.environ.items() if not k.startswith(("COV_", "COVERAGE_", "PYTEST_", "CI"))}
    done = subprocess.run(
        [sys.executable, *command],
        cwd=folder,
        env={**clean, "PYTHONPATH": str(folder), "PYTHONDONTWRITEBYTECODE": "1", **env},
        capture_output=True,
        text=True,
        check=False,
    )
    return done.returncode, done.stdout + done.stderr


@pytest.mark.parametrize(
    ("rule", "body"),
    [
        ("F401", "import os\n"),
        ("D103", "def double(value: int) -> int:\n    return value * 2\n"),
        ("ANN001", 'def double(value) -> int:\n    """Twice `value`."""\n    return int(value * 2)\n'),
        ("BLE001", "try:\n    LIMIT = 1\nexcept Exception:\n    LIMIT = 2\n"),
        ("E501", f"NAME = {'x' * 120!r}\n"),
        ("T201", 'print("no output from a library")\n'),
        ("DTZ005", "from datetime import datetime\n\nNOW = datetime.now()\n"),
        ("FIX002", "LIMIT = 1  # TO" + "DO raise it\n"),
    ],
)
def test_lint_finds(project: Path, rule: str, body: str) -> None:
    """The wide selection is in force."""
    write(project / "coach/module.py", f'"""A module."""\n\n{body}')
    status, said = run(project, "-m", "ruff", "check", "--no-cache", "--output-format=concise", "coach")
    assert status == 1, said
    assert rule in said


def test_lint_exceptions_have_their_reasons() -> None:
    """Every rule that is left out says why on its line, or belongs to the group above it that does."""
    lines = (ROOT / "pyproject.toml").read_text("utf-8").split("ignore = [\n")[1].split("\n]\n")[0].splitlines()
    bare = [line.strip().strip('",') for line in lines if "#" not in line]
    assert bare == ["D213", "PLR0911", "PLR0912", "PLR0913", "PLR0915", "PLR0917", "RUF002", "RUF003", "TC002", "TC003"]


FAULTS = {
    "no-untyped-def": "def double(value):\n    return value * 2\n",
    "type-arg": "def first(values: list) -> object:\n    return values[0]\n",
    "return-value": 'def name() -> int:\n    return "five"\n',
    "unreachable": "def sign(value: int) -> int:\n    if isinstance(value, str):\n        return 0\n    return 1\n",
    "ignore-without-code": 'LIMIT: int = "one"  # type: ignore\n',
}


@pytest.fixture(scope="module")
def type_report(tmp_path_factory: pytest.TempPathFactory) -> str:
    """What mypy says of all FAULTS, each in a module of its own, in one run."""
    folder = tmp_path_factory.mktemp("types")
    shutil.copyfile(ROOT / "pyproject.toml", folder / "pyproject.toml")
    for code, body in FAULTS.items():
        write(folder / f"coach/{code.replace('-', '_')}.py", body)
    return run(folder, "-m", "mypy", "--strict", "--cache-dir", os.devnull, "coach")[1]


@pytest.mark.parametrize("code", FAULTS)
def test_types_find(type_report: str, code: str) -> None:
    """Strict, and the extra codes."""
    found = [line for line in type_report.splitlines() if Path(line.split(":")[0]).stem == code.replace("-", "_")]
    assert any(f"[{code}]" in line for line in found), type_report


LAYERS = [line.replace("(", "").replace(")", "") for line in SETTINGS["importlinter"]["contracts"][0]["layers"]]
MODULES = [name.strip() for line in LAYERS for name in line.replace("|", ":").split(":")]


def lint_imports(project: Path, lines: dict[str, str]) -> tuple[int, str]:
    """What import-linter says of a package with a module for each layer, some of which hold a line."""
    for name in {*MODULES, *lines}:
        write(project / f"coach/{name}.py", lines.get(name, "") + "\n")
    return run(project, "-c", "from importlinter.cli import lint_imports_command as f; f(['--no-cache'])")


def test_imports_may_point_down(project: Path) -> None:
    """To any layer below, and about on the ground floor."""
    down = {"cli": "import coach.server", "server": "import coach.core", "core": "import coach.signals"}
    status, said = lint_imports(project, {**down, "units": "import coach.errors"})
    assert status == 0, said
    assert "1 kept, 0 broken" in said


UPWARD = [
    ("core", "recipe", "import coach.recipe"),
    ("vehicle", "recipe", "def late():\n    import coach.recipe"),
    ("sources", "store", "import coach.store"),
    ("advice", "plan", "from coach import plan"),
    ("drive", "bundle", "from coach.bundle import write"),
    ("errors", "core", "import coach.core"),
    ("server", "cli", "import coach.cli"),
]


@pytest.fixture(scope="module")
def upward(tmp_path_factory: pytest.TempPathFactory) -> tuple[int, str]:
    """What import-linter says of all UPWARD at once."""
    folder = tmp_path_factory.mktemp("layers")
    shutil.copyfile(ROOT / "pyproject.toml", folder / "pyproject.toml")
    write(folder / "coach/__init__.py", "")
    return lint_imports(folder, {module: line for module, _, line in UPWARD})


@pytest.mark.parametrize(("module", "target", "line"), UPWARD)
def test_imports_never_point_up_or_aside(upward: tuple[int, str], module: str, target: str, line: str) -> None:
    """Also not inside a function."""
    status, said = upward
    assert status == 1
    assert f"coach.{module} is not allowed to import coach.{target}" in " ".join(said.split()), (line, said)


def test_a_module_without_a_layer_is_found(project: Path) -> None:
    """Whoever adds a module says where it belongs."""
    status, said = lint_imports(project, {"stray": ""})
    assert status == 1
    assert "- coach.stray" in said


STRICT = {
    "marker": ("import pytest\n\n@pytest.mark.unheard_of\ndef test_it():\n    assert True\n", "'unheard_of' not found"),
    "warning": ("import warnings\n\ndef test_it():\n    warnings.warn('old')\n", "UserWarning: old"),
    "xpass": ("import pytest\n\n@pytest.mark.xfail\ndef test_it():\n    assert True\n", "[XPASS(strict)]"),
}


CLEARING = """import warnings
import pytest

def test_it():
    warnings.warn(pytest.PytestWarning("(rm_rf) error removing an-old-folder"))
"""
"""Two runs that clear old folders away get into each other's way: pytest says so, and it is nobody's fault."""


def test_pytest_is_strict(project: Path) -> None:
    """Markers are declared, warnings are errors, an unexpected pass fails; what is right still passes."""
    for name, (body, _) in STRICT.items():
        write(project / f"tests/test_{name}.py", body)
    write(project / "tests/test_right.py", CLEARING)
    status, said = run(project, "-m", "pytest", "-p", "no:cacheprovider", "--continue-on-collection-errors")
    assert status == 1, said
    assert "2 failed, 1 passed, 1 error" in said
    assert all(finds in said for _, finds in STRICT.values()), said


BRANCHES = "def sign(value: int) -> int:\n    if value < 0:\n        value = -1\n    return value\n\n\nsign(1)\n"


@pytest.mark.parametrize(("lines", "passes"), [(60, True), (0, False)])
def test_coverage_has_a_floor(project: Path, lines: int, passes: bool) -> None:
    """Below 95 % of lines and branches the report fails; one branch missed in many is let pass."""
    write(project / "coach/a.py", BRANCHES + "LIMIT = 1\n" * lines)
    write(project / "go.py", "import coach.a\n")
    assert run(project, "-m", "coverage", "run", "go.py")[0] == 0
    assert run(project, "-m", "coverage", "combine")[0] == 0
    status, said = run(project, "-m", "coverage", "report")
    assert (status == 0) is passes, said
    assert "BrPart" in said or passes


NEEDS_BROWSER = "def test_page(browser_path):\n    assert browser_path\n"


@pytest.mark.parametrize(("ci", "outcome"), [("", "1 skipped"), ("true", "1 error")])
def test_without_a_browser(project: Path, ci: str, outcome: str) -> None:
    """Browser tests are skipped with a sentence, and fail instead when CI is set."""
    write(project / "tests/conftest.py", (ROOT / "tests/conftest.py").read_text("utf-8"))
    write(project / "tests/test_page.py", NEEDS_BROWSER)
    status, said = run(project, "-m", "pytest", "-p", "no:cacheprovider", COACH_BROWSER="/nowhere/browser", CI=ci)
    assert (status != 0) is bool(ci), said
    assert outcome in said
    assert "install chromium, or name one in COACH_BROWSER" in said
    assert bool(ci) or "1 browser tests were skipped" in said


@pytest.mark.parametrize(("ci", "profile"), [("", "quick"), ("1", "ci")])
def test_ci_searches_deeper_and_the_same_each_time(project: Path, ci: str, profile: str) -> None:
    """Hypothesis runs its quick profile at the desk and the derandomised one when CI is set."""
    body = "from hypothesis import settings\n\ndef test_it():\n    s = settings.default\n    assert "
    want = {
        "quick": "(s.max_examples, s.derandomize) == (40, False)",
        "ci": "(s.max_examples, s.derandomize) == (120, True)",
    }
    write(project / "tests/conftest.py", (ROOT / "tests/conftest.py").read_text("utf-8"))
    write(project / "tests/test_it.py", body + want[profile] + "\n")
    status, said = run(project, "-m", "pytest", "-p", "no:cacheprovider", **({"CI": ci} if ci else {}))
    assert status == 0, said
