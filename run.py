#!/usr/bin/env python3
"""Makes .venv, installs the project into it, and runs it: with nothing but Python 3.11 or newer.

python3 run.py [--speed 8 ...]   install if needed, then replay a bundled drive (options go to `coach demo`)
python3 run.py test [...]        lint, types, layers, all tests, coverage; with arguments: only pytest, with these
python3 run.py bench [...]       figures of speed and memory (options go to `coach bench`)
python3 run.py soak [--quick]    kill it, cut its power, feed it nonsense; prints what came of it (also --json)
python3 run.py install           install afresh, also when nothing seems to have changed
python3 run.py coach ...         any other command of `coach`
"""

import contextlib
import hashlib
import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parent
VENV = ROOT / ".venv"
BIN = VENV / ("Scripts" if os.name == "nt" else "bin")
PYTHON = BIN / ("python.exe" if os.name == "nt" else "python")
STAMP = VENV / "coach-installed.json"
DECIDES = (
    "pyproject.toml",
    "constraints.txt",
    "hashes/run.txt",
    "hashes/test.txt",
    "hatch_build.py",
    "web/package-lock.json",
)
"""Files whose change calls for another install."""

WITHOUT_HASHES = os.environ.get("COACH_HASHES") == "none"
"""For a machine whose packages were built elsewhere than on the index (a 32-bit Pi): exact versions, no checksums."""

NO_VENDOR = ROOT / "web/.vendor-failed"
"""Where the build hook leaves the reason why web/vendor could not be made: pip shows nothing of what it says."""

NOTES = ROOT / ".pytest_cache/whole"
"""Where pytest notes which tests failed when all of them ran."""

AGAIN = 3
"""So many tests at most are looked at a second time: more of them are no chance."""

REAL_TIME = tuple(f"tests/{part}/" for part in ("adapter", "browser", "cli", "drive", "link", "server"))
"""Tests that start browsers, servers, links and programs, and so share the clock with whatever else runs."""

GRACE_S = 1.7
"""How long a program may take to end after Ctrl-C before it is killed: all in all less than 2 s."""

if sys.version_info < (3, 11):  # noqa: UP036 - an older Python meets this file first, so it stays readable to one
    sys.exit(f"This needs Python 3.11 or newer, and this is {sys.version.split()[0]}.")


class StepError(Exception):
    """Something that must be done first did not work; the message is for the person at the keyboard."""


class Stopped(Exception):
    """Somebody pressed Ctrl-C."""


def say(text: str) -> None:
    """One line of progress, seen at once also through a pipe."""
    print(text, flush=True)


# ---- running programs -----------------------------------------------------------------------------------------------


class Child:
    """One program at a time in a group of its own, so that a signal reaches it exactly once, and all it started."""

    def __init__(self) -> None:
        self.process: subprocess.Popen[bytes] | None = None
        self.starting = False
        self.asked = 0
        self.kill_at = float("inf")

    def listen(self) -> None:
        """Takes Ctrl-C, and the polite ways to end a program, over for the child."""
        names = ("SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK")
        for number in {getattr(signal, name) for name in names if hasattr(signal, name)}:
            signal.signal(number, self._stop)

    def _stop(self, number: int, _frame: object) -> None:
        if self.process is None and not self.starting:
            raise Stopped
        if self.asked:  # a second time: no more patience
            self.kill_at = 0.0
            return
        self.asked = number
        self.kill_at = time.monotonic() + GRACE_S
        self._signal(number)

    def _signal(self, number: int) -> None:
        if self.process is None or os.name == "nt":  # there the console tells the child itself
            return
        with contextlib.suppress(ProcessLookupError):
            os.killpg(self.process.pid, number)

    def run(self, command: list[str]) -> int:
        """Runs `command` in the project's folder to its end. Raises Stopped when it was ended before it was done."""
        self.asked, self.kill_at, self.starting = 0, float("inf"), True
        try:
            process = self.process = subprocess.Popen(command, cwd=ROOT, start_new_session=os.name != "nt")
        except OSError as error:
            raise StepError(f"{command[0]} does not start: {error.strerror}") from error
        finally:
            self.starting = False
        if self.asked:  # while it was starting
            self._signal(self.asked)
        try:
            status = self._wait(process)
        finally:
            self.process = None
        if self.asked and status:
            raise Stopped
        return status

    def _wait(self, process: subprocess.Popen[bytes]) -> int:
        while True:
            try:
                return process.wait(timeout=0.1)
            except subprocess.TimeoutExpired:
                if time.monotonic() >= self.kill_at:
                    self._signal(getattr(signal, "SIGKILL", signal.SIGTERM))
                    process.kill()


CHILD = Child()

# ---- installing -----------------------------------------------------------------------------------------------------


def fingerprint() -> str:
    """What the installed state depends on."""
    digest = hashlib.sha256(sys.version.encode())
    for name in DECIDES:
        digest.update((ROOT / name).read_bytes())
    return digest.hexdigest()


def installed() -> dict[str, str]:
    """Which parts (`run`, `test`) are installed, and from which state of the files."""
    try:
        state = json.loads(STAMP.read_text("utf-8"))
    except (OSError, ValueError):
        return {}
    return state if isinstance(state, dict) and PYTHON.exists() else {}


def make_venv() -> None:
    """Makes .venv where there is none that runs."""
    if PYTHON.exists():
        asked = subprocess.run([str(PYTHON), "-m", "pip", "--version"], capture_output=True, check=False)
        if asked.returncode == 0:
            return
    say(f"Making .venv with Python {sys.version.split()[0]} ...")
    if CHILD.run([sys.executable, "-m", "venv", "--clear", str(VENV)]):
        raise StepError("Python could not make .venv; on Debian install python3-venv, then run this again")


def pip(*arguments: str) -> None:
    """Runs pip in .venv with this project's constraints, its progress in plain view."""
    base = [str(PYTHON), "-m", "pip", "--disable-pip-version-check", "install", "--constraint", "constraints.txt"]
    if CHILD.run([*base, *arguments]):
        raise StepError("pip could not install everything (see above); with the network back, run this again")


def listed(part: str) -> None:
    """Installs what hashes/PART.txt lists: these files and no others, to the byte. Raises StepError."""
    if WITHOUT_HASHES:
        return
    base = [str(PYTHON), "-m", "pip", "--disable-pip-version-check", "install", "--require-hashes", "--no-deps"]
    if CHILD.run([*base, "--requirement", f"hashes/{part}.txt"]):
        raise StepError(
            "pip could not install everything (see above); with the network back, run this again. Packages that were"
            " built on this machine have other checksums: COACH_HASHES=none goes by their versions alone"
        )


def test_tools() -> list[str]:
    """The requirements of the group `test` in pyproject.toml."""
    import tomllib

    with (ROOT / "pyproject.toml").open("rb") as file:
        groups = tomllib.load(file)["dependency-groups"]
    return [str(line) for line in groups["test"]]


def say_without_plots() -> None:
    """Says that web/vendor is not there, and why."""
    try:
        reason = NO_VENDOR.read_text("utf-8").strip()
    except OSError:
        reason = "npm could not be reached, or COACH_NODE is none"
    say(f"The page starts without plots and with the system's font: {reason}.")
    say("Once that is mended, `python3 run.py install` adds them.")


def install(*parts: str, afresh: bool = False) -> None:
    """Installs those of `parts` (`run`, `test`) that are missing or out of date. Raises StepError."""
    now, began = fingerprint(), time.monotonic()
    state = {} if afresh else installed()
    missing = [part for part in parts if state.get(part) != now]
    if not missing:
        return
    make_venv()
    STAMP.unlink(missing_ok=True)
    if "run" in missing:
        say("Installing the project and what it needs; the first time this takes about a minute ...")
        listed("run")
        # The project itself has no checksum to hold it to; what it needs is there already.
        pip("--editable", ".", *([] if WITHOUT_HASHES else ["--no-deps"]))
        if not (ROOT / "web/vendor/vendor.json").exists():
            say_without_plots()
    if "test" in missing:
        say("Installing what the tests need ...")
        listed("test")
        if WITHOUT_HASHES:
            pip(*test_tools())
    state = {part: text for part, text in state.items() if text == now} | dict.fromkeys(missing, now)
    STAMP.write_text(json.dumps(state) + "\n", "utf-8")
    say(f"Installed in {time.monotonic() - began:.0f} s.")


# ---- what it can do -------------------------------------------------------------------------------------------------


def tool(name: str, *arguments: str) -> list[str]:
    """The command line of a program of .venv."""
    return [str(BIN / name), *arguments]


def pytest(*arguments: str) -> list[str]:
    """The command line of pytest with coverage measured."""
    return [str(PYTHON), "-m", "coverage", "run", "-m", "pytest", *arguments]


def steps() -> list[tuple[str, list[str]]]:
    """All that `run.py test` does, in order: name and command."""
    python = str(PYTHON)
    # Tests of servers and browsers wait half of their time: some more processes than cores keep all of them busy.
    cores = os.cpu_count() or 1
    processes = str(cores + (cores + 1) // 2)
    return [
        ("lint", tool("ruff", "check", ".")),
        ("format", tool("ruff", "format", "--check", ".")),
        ("types", tool("mypy", "--strict", "coach", "run.py", "hatch_build.py")),
        ("layers", tool("lint-imports")),
        # A file of tests stays together: its fixtures (a browser, a server) are made once. tests/conftest.py says which
        # file comes first.
        (
            "tests",
            [
                *pytest(),
                "-n",
                processes,
                "--dist",
                "loadfile",
                "--no-loadscope-reorder",
                "--cache-clear",
                "-o",
                f"cache_dir={NOTES.relative_to(ROOT).as_posix()}",
            ],
        ),
        ("coverage data", [python, "-m", "coverage", "combine", "--quiet"]),
        ("coverage, all", [python, "-m", "coverage", "report"]),
        ("coverage, core", [python, "-m", "coverage", "report", "--include=coach/core/*", "--fail-under=100"]),
    ]


def by_chance() -> list[str]:
    """Tests that deserve a second look: few failed, and all live by the real clock of a machine that was busy."""
    try:
        failed = json.loads((NOTES / "v/cache/lastfailed").read_text("utf-8"))
    except (OSError, ValueError):
        return []
    few = isinstance(failed, dict) and len(failed) <= AGAIN
    return sorted(failed) if few and all(one.startswith(REAL_TIME) and "::" in one for one in failed) else []


def second_look(status: int) -> tuple[int, list[str]]:
    """After tests that failed: those by the real clock once more, alone. The status then, and which passed only so."""
    # Only where all ran to the end: what was broken off has failed.
    again = by_chance() if status == 1 else []
    if not again:
        return status, []
    say(f"\n== tests, once more and alone: {', '.join(again)}")
    status = CHILD.run(pytest(*again))
    return status, [] if status else again


def test(arguments: list[str]) -> int:
    """Runs every check and says at the end how each went; status 1 when one failed."""
    install("run", "test")
    if arguments:
        return CHILD.run([str(PYTHON), "-m", "pytest", *arguments])
    results = []
    alone: list[str] = []
    CHILD.run([str(PYTHON), "-m", "coverage", "erase"])
    for name, command in steps():
        say(f"\n== {name}")
        began = time.monotonic()
        status = CHILD.run(command)
        if name == "tests":
            status, alone = second_look(status)
        results.append((name, status, time.monotonic() - began))
    say("\n== summary")
    for name, status, seconds in results:
        say(f"{name:<16}{'ok' if status == 0 else f'FAILED ({status})':<14}{seconds:6.1f} s")
    for one in alone:
        say(f"PASSED ONLY ALONE: {one} failed among the others and passed on a quiet machine. It waits for too little.")
    failed = [name for name, status, _ in results if status]
    good = f"All passed, {len(alone)} of them only alone." if alone else "All passed."
    say(good if not failed else f"Failed: {', '.join(failed)}.")
    return 1 if failed else 0


def main(arguments: list[str]) -> int:
    """Does what the command line asks; returns the exit status."""
    command = arguments[0] if arguments and not arguments[0].startswith("-") else "demo"
    rest = arguments[1:] if arguments and command == arguments[0] else arguments
    if arguments in (["--help"], ["-h"]):
        say((__doc__ or "").rstrip())
        return 0
    if command == "test":
        return test(rest)
    if command == "install":
        install("run", afresh=True)
        return 0
    if command == "bench":
        install("run", "test")
        return CHILD.run(tool("coach", "bench", *rest))
    if command == "soak":
        install("run", "test")
        return CHILD.run([str(PYTHON), "-m", "coach.soak", *rest])
    if command in ("demo", "coach"):
        install("run")
        return CHILD.run(tool("coach", *(["demo"] if command == "demo" else []), *rest))
    say(f"run.py has no command {command!r}; it has demo, test, bench, soak, install and coach.")
    return 2


if __name__ == "__main__":
    CHILD.listen()
    try:
        sys.exit(main(sys.argv[1:]))
    except StepError as problem:
        sys.exit(f"{problem}.")
    except Stopped:
        say("\nStopped.")
        sys.exit(130)
