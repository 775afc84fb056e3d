"""`run.py`: what it installs and when, what it starts, how it ends. The programs it starts are small stand-ins here."""

from __future__ import annotations

import ast
import json
import os
import shutil
import signal
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
FILES = (
    "run.py", "pyproject.toml", "constraints.txt", "hashes/run.txt", "hashes/test.txt", "hatch_build.py",
    "web/package-lock.json",
)  # fmt: skip

pytestmark = pytest.mark.skipif(os.name == "nt", reason="the stand-ins are shell scripts")


class Checkout:
    """A copy of what `run.py` reads, with a `.venv` whose programs write down how they were called."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        for name in FILES:
            (folder / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(ROOT / name, folder / name)
        for name in ("python", "coach", "ruff", "mypy", "lint-imports"):
            self.program(name, "exit 0")

    def program(self, name: str, body: str) -> None:
        """Puts a shell script into `.venv/bin` that notes its arguments, then does `body`."""
        path = self.folder / ".venv/bin" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(f'#!/bin/sh\necho "{name} $*" >> "{self.folder}/calls"\n{body}\n', "utf-8")
        path.chmod(0o755)

    def start(self, *arguments: str, **more: str) -> subprocess.Popen[str]:
        """Starts `run.py`; its output, both kinds, comes on stdout."""
        return subprocess.Popen(
            [sys.executable, "run.py", *arguments],
            cwd=self.folder,
            env={name: value for name, value in os.environ.items() if not name.startswith("CO")} | more,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
        )

    def run(self, *arguments: str, **more: str) -> tuple[int, str]:
        """Status and output of `run.py`, with `more` in its environment."""
        process = self.start(*arguments, **more)
        said, _ = process.communicate(timeout=60)
        return process.returncode, said

    def calls(self) -> list[str]:
        """What was called since the last look."""
        path = self.folder / "calls"
        lines = path.read_text("utf-8").splitlines() if path.exists() else []
        path.unlink(missing_ok=True)
        return lines


@pytest.fixture
def checkout(tmp_path: Path) -> Checkout:
    """A checkout with nothing installed yet."""
    return Checkout(tmp_path)


@pytest.fixture
def ready(checkout: Checkout) -> Checkout:
    """A checkout in which everything is installed."""
    assert checkout.run("test", "--version")[0] == 0
    checkout.calls()
    return checkout


EVERY = "--dist loadfile --no-loadscope-reorder --cache-clear -o cache_dir=.pytest_cache/whole"
PIP = "python -m pip --disable-pip-version-check install --constraint constraints.txt "
LISTED = "python -m pip --disable-pip-version-check install --require-hashes --no-deps --requirement hashes/"
ITSELF = PIP + "--editable . --no-deps"


def test_first_run_installs_then_runs_the_demo(checkout: Checkout) -> None:
    """The project itself, editable, with the constraints; then `coach demo` with the options passed on."""
    status, said = checkout.run("--speed", "8")
    assert status == 0
    assert checkout.calls() == ["python -m pip --version", f"{LISTED}run.txt", ITSELF, "coach demo --speed 8"]
    assert "Installing the project" in said
    assert "without plots" in said


def test_second_run_starts_at_once(ready: Checkout) -> None:
    """Nothing is installed when nothing has changed."""
    assert ready.run() == (0, "")
    assert ready.calls() == ["coach demo"]


@pytest.mark.parametrize("name", FILES[1:])
def test_a_changed_list_is_installed_again(ready: Checkout, name: str) -> None:
    with (ready.folder / name).open("a", encoding="utf-8") as file:
        file.write("\n")
    assert ready.run()[0] == 0
    assert ready.calls()[1:] == [f"{LISTED}run.txt", ITSELF, "coach demo"]


def test_install_is_done_again_on_demand(ready: Checkout) -> None:
    """It says nothing of plots where they are there."""
    (ready.folder / "web/vendor").mkdir()
    (ready.folder / "web/vendor/vendor.json").write_text("{}", "utf-8")
    status, said = ready.run("install")
    assert status == 0
    assert ready.calls()[1:] == [f"{LISTED}run.txt", ITSELF]
    assert "plots" not in said


def test_failed_install_says_so_and_is_not_remembered(checkout: Checkout) -> None:
    checkout.program("python", 'case "$*" in *install*) exit 1;; esac')
    for _ in range(2):
        status, said = checkout.run()
        assert status == 1
        assert said.splitlines()[-1].startswith("pip could not install everything")
        assert any(call.startswith(LISTED) for call in checkout.calls())


def test_a_torn_stamp_counts_as_nothing_installed(ready: Checkout) -> None:
    (ready.folder / ".venv/coach-installed.json").write_text('{"run": ', "utf-8")
    assert ready.run()[0] == 0
    assert ITSELF in ready.calls()


def test_test_runs_every_check(ready: Checkout) -> None:
    """Lint, format, types, layers, tests with coverage, and the two floors; then a summary."""
    status, said = ready.run("test")
    assert status == 0
    cores = os.cpu_count() or 1
    assert ready.calls() == [
        "python -m coverage erase",
        "ruff check .",
        "ruff format --check .",
        "mypy --strict coach run.py hatch_build.py",
        "lint-imports ",
        f"python -m coverage run -m pytest -n {cores + (cores + 1) // 2} {EVERY}",
        "python -m coverage combine --quiet",
        "python -m coverage report",
        "python -m coverage report --include=coach/core/* --fail-under=100",
    ]
    assert said.splitlines()[-1] == "All passed."


@pytest.mark.parametrize("name", ["ruff", "mypy", "lint-imports", "python"])
def test_one_failure_fails_the_whole_and_the_rest_still_runs(ready: Checkout, name: str) -> None:
    ready.program(name, "exit 3")
    status, said = ready.run("test")
    assert status == 1
    assert len(ready.calls()) == 9
    assert "FAILED (3)" in said
    assert said.splitlines()[-1].startswith("Failed: ")


FAILS = """case "$*" in
*"pytest -n"*) mkdir -p .pytest_cache/whole/v/cache
  echo '{failed}' > .pytest_cache/whole/v/cache/lastfailed
  exit {status};;
*"pytest tests/"*) exit {again};;
esac"""
"""A pytest that notes what failed as pytest does, and what comes of those once more."""
PAGE = [f"tests/browser/test_page.py::test_it[{n}]" for n in range(4)]


def fails(checkout: Checkout, failed: list[str], again: int = 0, status: int = 1) -> tuple[int, list[str], list[str]]:
    """Status, output and calls of pytest in a run in which these failed."""
    noted = json.dumps(dict.fromkeys(failed, True))
    checkout.program("python", FAILS.format(failed=noted, again=again, status=status))
    got, said = checkout.run("test")
    return got, said.splitlines(), [call for call in checkout.calls() if "pytest" in call]


def test_a_few_tests_of_the_page_are_looked_at_once_more_alone(ready: Checkout) -> None:
    """Exactly those, with coverage, one after the other; passing so they are named aloud, and the run is good."""
    status, said, calls = fails(ready, [PAGE[1], PAGE[0], PAGE[2]])
    assert status == 0
    assert calls[1:] == [f"python -m coverage run -m pytest {PAGE[0]} {PAGE[1]} {PAGE[2]}"]
    assert next(line for line in said if line.startswith("tests ")).split()[1] == "ok"
    assert said[-1] == "All passed, 3 of them only alone."
    assert [line.split()[3] for line in said if line.startswith("PASSED ONLY ALONE: ")] == PAGE[:3]


@pytest.mark.parametrize("part", ["adapter", "cli", "drive", "link", "server"])
def test_so_are_those_of_other_parts_that_run_by_the_real_clock(ready: Checkout, part: str) -> None:
    """A server or a program that was started has to share the machine as a browser has."""
    one = f"tests/{part}/test_it.py::test_that"
    status, said, calls = fails(ready, [one])
    assert (status, len(calls)) == (0, 2)
    assert calls[1] == f"python -m coverage run -m pytest {one}"
    assert any(line.startswith(f"PASSED ONLY ALONE: {one} ") for line in said)


def test_failing_alone_too_is_failing(ready: Checkout) -> None:
    """Nothing is said to have passed, and the data of coverage is still put together."""
    status, said, calls = fails(ready, [PAGE[0]], again=1)
    assert (status, len(calls)) == (1, 2)
    assert said[-1] == "Failed: tests."
    assert not [line for line in said if line.startswith("PASSED")]
    assert any(line.startswith("coverage data   ok") for line in said)


@pytest.mark.parametrize(
    ("failed", "status"),
    [
        (PAGE, 1),
        (["tests/core/test_judge.py::test_it"], 1),
        ([PAGE[0], "tests/core/test_judge.py::test_it"], 1),
        (["tests/browser/test_page.py"], 1),
        ([PAGE[0]], 2),
        ([], 1),
    ],
    ids=["too many", "of the core", "one of the core", "a file that cannot be read", "broken off", "none noted"],
)
def test_nothing_else_gets_a_second_look(ready: Checkout, failed: list[str], status: int) -> None:
    """Not the core, not many, not what was broken off: such a failure is no chance."""
    got, said, calls = fails(ready, failed, status=status)
    assert (got, len(calls)) == (1, 1)
    assert said[-1] == "Failed: tests."


def test_an_older_note_is_no_note(ready: Checkout) -> None:
    """Where pytest notes nothing there is nothing to look at: it clears the notes of the run before."""
    note = ready.folder / ".pytest_cache/whole/v/cache/lastfailed"
    note.parent.mkdir(parents=True)
    note.write_text('["odd"', "utf-8")
    ready.program("python", 'case "$*" in *"pytest -n"*) exit 1;; esac')
    assert ready.run("test")[0] == 1
    calls = [call for call in ready.calls() if "pytest" in call]
    assert len(calls) == 1
    assert "--cache-clear" in calls[0]


def test_test_installs_the_tools_of_its_group(checkout: Checkout) -> None:
    """To the byte, by the checksums in hashes/."""
    assert checkout.run("test", "tests/house")[0] == 0
    rest = [f"{LISTED}run.txt", ITSELF, f"{LISTED}test.txt", "python -m pytest tests/house"]
    assert checkout.calls()[1:] == rest


def test_a_machine_with_packages_of_its_own_making_goes_by_versions(checkout: Checkout) -> None:
    """Only when it is asked to; the tools then come from pyproject.toml, by exact version."""
    assert checkout.run("test", "tests/house", COACH_HASHES="none")[0] == 0
    calls = checkout.calls()
    assert calls[1] == PIP + "--editable ."
    assert "pytest==" in calls[2]
    assert "playwright==" in calls[2]
    assert calls[3:] == ["python -m pytest tests/house"]


def test_why_there_are_no_plots_is_said(checkout: Checkout) -> None:
    """The build hook leaves its reason in a file, since pip shows nothing of what a hook says."""
    (checkout.folder / "web/.vendor-failed").write_text("npm failed: no network\n", "utf-8")
    assert "without plots and with the system's font: npm failed: no network.\n" in checkout.run()[1]


@pytest.mark.parametrize("arguments", [[], ["--quick", "--json"]])
def test_soak_is_a_command(ready: Checkout, arguments: list[str]) -> None:
    assert ready.run("soak", *arguments)[0] == 0
    assert ready.calls() == [" ".join(["python -m coach.soak", *arguments])]


@pytest.mark.parametrize(
    ("arguments", "call"),
    [(["bench", "--json"], "coach bench --json"), (["coach", "judge", "x.csv"], "coach judge x.csv")],
)
def test_other_commands_are_passed_on(ready: Checkout, arguments: list[str], call: str) -> None:
    assert ready.run(*arguments)[0] == 0
    assert ready.calls() == [call]


def test_the_status_of_the_program_is_the_status(ready: Checkout) -> None:
    ready.program("coach", "exit 2")
    assert ready.run("coach", "judge")[0] == 2


def test_unknown_command_is_one_sentence(ready: Checkout) -> None:
    status, said = ready.run("lift-off")
    assert (status, said) == (
        2,
        "run.py has no command 'lift-off'; it has demo, test, bench, soak, install and coach.\n",
    )


def test_help_names_every_command(ready: Checkout) -> None:
    status, said = ready.run("--help")
    assert status == 0
    assert ready.calls() == []
    assert all(f"run.py {name}" in said for name in ("test", "bench", "soak", "install", "coach"))


def wait_for(process: subprocess.Popen[str], line: str) -> None:
    """Reads output until `line` comes."""
    assert process.stdout is not None
    for said in process.stdout:
        if said.strip() == line:
            return
    pytest.fail(f"{line!r} never came")


WAITS = """exec {python} - <<'P'
import signal
signal.pthread_sigmask(signal.SIG_BLOCK, [{number}])
print("up", flush=True)
signal.sigwait([{number}])
print("closed,", len(signal.sigpending()), "more")
P"""


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_ctrl_c_reaches_the_program_once(ready: Checkout, number: signal.Signals) -> None:
    """It ends in its own way, and its status is the status."""
    ready.program("coach", WAITS.format(python=sys.executable, number=int(number)))
    process = ready.start()
    wait_for(process, "up")
    process.send_signal(number)
    said, _ = process.communicate(timeout=30)
    assert (process.returncode, said) == (0, "closed, 0 more\n")


def test_a_program_that_will_not_end_is_killed(ready: Checkout) -> None:
    """With all that it started, or its output would not end here; the status says interrupted; no traceback."""
    ready.program("coach", "trap '' INT\nsleep 600 & echo up\nwait\nwait")
    process = ready.start()
    wait_for(process, "up")
    process.send_signal(signal.SIGINT)
    said, _ = process.communicate(timeout=30)
    assert (process.returncode, said.strip()) == (130, "Stopped.")


def test_patience_is_under_two_seconds() -> None:
    """The promise is that Ctrl-C stops everything within 2 s; it waits less than that before it kills."""
    line = next(line for line in (ROOT / "run.py").read_text("utf-8").splitlines() if line.startswith("GRACE_S"))
    assert float(line.split("=")[1]) < 2


def test_ctrl_c_while_installing(checkout: Checkout) -> None:
    """Stops pip too, and the next run installs again."""
    checkout.program("python", 'case "$*" in *install*) echo up; exec sleep 600;; esac')
    process = checkout.start()
    wait_for(process, "up")
    process.send_signal(signal.SIGINT)
    said, _ = process.communicate(timeout=30)
    assert (process.returncode, said.strip()) == (130, "Stopped.")
    assert not (checkout.folder / ".venv/coach-installed.json").exists()


def test_an_old_python_gets_a_sentence() -> None:
    """The file is readable to Python 3.7, and looks at the version before it uses anything newer."""
    text = (ROOT / "run.py").read_text("utf-8")
    ast.parse(text, feature_version=(3, 7))
    assert "This needs Python 3.11 or newer" in text.split("class ")[0]
    assert "from __future__" not in text
    assert "import tomllib" not in text.split("def test_tools")[0]


def test_the_longest_files_come_first(tmp_path: Path) -> None:
    """In the order of the list, each with its tests together; then whichever has most tests. None on it is gone."""
    from tests.conftest import LONGEST

    assert [name for name in LONGEST if not (ROOT / "tests" / name).is_file()] == []
    shutil.copyfile(ROOT / "tests/conftest.py", tmp_path / "conftest.py")
    files = {"a/test_one.py": 1, "a/test_two.py": 2, LONGEST[1]: 1, LONGEST[0]: 2}
    for name, tests in files.items():
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_text("".join(f"def test_{n}():\n    pass\n" for n in range(tests)), "utf-8")
    collect = [sys.executable, "-m", "pytest", "-p", "no:cacheprovider", "--collect-only", "-q", "."]
    said = subprocess.run(collect, cwd=tmp_path, capture_output=True, text=True, check=True).stdout
    found = [line.partition("::")[0] for line in said.splitlines() if "::" in line]
    assert found == [LONGEST[0]] * 2 + [LONGEST[1]] + ["a/test_two.py"] * 2 + ["a/test_one.py"]


def test_ci_calls_the_same_command() -> None:
    """One command at the desk and in CI."""
    path = ROOT / ".ci/run"
    if (ROOT / "PKG-INFO").exists():
        pytest.skip("a source archive leaves out what only CI starts")
    assert path.read_text("utf-8").splitlines()[-1] == "exec python3 run.py test"
    assert os.access(path, os.X_OK)
    subprocess.run(["bash", "-n", str(path)], check=True)


def test_stamp_remembers_both_parts(ready: Checkout) -> None:
    """What is installed is written down as one fingerprint for each part."""
    state = json.loads((ready.folder / ".venv/coach-installed.json").read_text("utf-8"))
    assert set(state) == {"run", "test"}
    assert len(set(state.values())) == 1
