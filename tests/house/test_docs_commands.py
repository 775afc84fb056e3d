"""What the documents tell people to type does what they say: every line of every page is run, in a folder of its own.

Each page's lines run in their order, over one folder with the files that the pages name. Servers are started, asked
something and ended with Ctrl-C. What cannot run here stands in NOT_RUN, with the reason.
"""

from __future__ import annotations

import gzip
import os
import re
import shlex
import shutil
import signal
import socket
import sys
import threading
import urllib.request
from contextlib import closing
from hashlib import sha256
from pathlib import Path

import pytest
from click.testing import CliRunner

from coach.assets import traces_root
from coach.cli import cmd_adapter, cmd_serve, main
from coach.clock import US, Clock, HandClock

ROOT = Path(__file__).parents[2]
REFERENCE = ROOT / "docs/reference/cli.md"
WRITES = ROOT / "docs/tutorial/first-recipe.md"
"""Its reader writes the files: tests/cli/test_tutorial_recipe.py does so, and runs it line by line."""
PAGES = [
    p
    for p in [*map(ROOT.joinpath, ("README.md", "DEVELOPERS.md")), *sorted((ROOT / "docs").rglob("*.md"))]
    if p != WRITES
]
FENCE = re.compile(r"^ *```.*?^ *```", re.MULTILINE | re.DOTALL)
COMMAND = re.compile(
    r"^ *(?:\$ |ExecStart=|ExecStop=)?"
    r"((?:coach|python3|py|sudo|nc|rfcomm|pip|[^\s=]*[/\\](?:pip|coach|rfcomm|python)(?:\.exe)?)(?: .*)?)$",
    re.MULTILINE,
)
NEWEST, EARLIER, SECOND = "20260504-093000", "20260427-101500", "20260504-151200"

NOT_RUN = {
    "python3 run.py": "installs, tests or measures; tests/house/test_run.py runs it with stand-ins",
    "coach bench": "measures for minutes; tests/bench runs all of it over few samples",
    "coach archive judge bundles/ -o judged/ --scheduler tcp://10.0.0.5:8786": (
        "needs a cluster; tests/desk/test_archive.py makes one on this machine"
    ),
    "coach devices invite": "needs a terminal; tests/cli/test_devices.py stands in for one",
    "coach serve --lan --recipe request.toml --link /dev/rfcomm0": (
        "lets the network in; tests/server and tests/browser/test_joining.py do it on this machine alone"
    ),
}
"""Command line, or what several begin with: why it is not run."""

ELSEWHERE = ("sudo ", "/usr/", "python3 -m ", "py -", "nc ")
"""How lines begin that are another program's: they install or look, and are not ours to run."""
INSTALLS = re.compile(r"[/\\](?:pip|python)(?:\.exe)? ")
"""And those of an environment that the reader has just made."""


def left_out(line: str) -> str | None:
    """The entry of NOT_RUN that a line comes under."""
    return next((key for key in NOT_RUN if line == key or line.startswith(f"{key} ")), None)


def lines_of(page: Path) -> list[str]:
    """The command lines of a page, in their order, each once."""
    blocks = "\n".join(FENCE.findall(page.read_text("utf-8")))
    return list(dict.fromkeys(line.split("  # ")[0].rstrip() for line in COMMAND.findall(blocks)))


ELSEWHERE_LINES = {line for page in PAGES if page != REFERENCE for line in lines_of(page)}
FIRST = {REFERENCE: ['coach key pin customer.pem --name "Red hatchback"']}
"""What its reader has done before, where a page's own order cannot say it."""
QUIET = re.compile("coach drives (rename|note|weather) ")
"""Commands that say nothing when they did what they were told."""
TO_RUN = {
    page: [
        line
        for line in lines_of(page)
        if not left_out(line)
        and not line.startswith(ELSEWHERE)
        and not INSTALLS.search(line)
        and (page != REFERENCE or line not in ELSEWHERE_LINES)
    ]
    for page in PAGES
}


def put_files(folder: Path) -> None:
    """The files that the pages name, with what their names promise."""
    traces = traces_root()
    shutil.copytree(traces, folder / "replay_traces", ignore=shutil.ignore_patterns("*.json"))
    second = (traces / "demo-recipe.toml").read_text("utf-8")
    third = second.replace("revision = 2", "revision = 3").replace('min = "90 %"', 'min = "95 %"')
    for name, text in (("request", second), ("second-revision", second), ("third-revision", third)):
        (folder / f"{name}.toml").write_text(text, "utf-8")
    first = second.replace("revision = 2", "revision = 1").replace("Second revision", "First revision")
    (folder / "first-revision.toml").write_text(first, "utf-8")
    shutil.copyfile(traces / "demo-vehicle.toml", folder / "car.toml")
    for name in ("drive", "last", "monday"):
        shutil.copyfile(traces / "everything-qualifies.csv", folder / f"{name}.csv")
    shutil.copyfile(traces / "speed-lost.csv", folder / "tuesday.csv")
    (folder / "drive.csv.gz").write_bytes(gzip.compress((folder / "drive.csv").read_bytes(), 1))
    (folder / "my-recorder.toml").write_text('format = 1\nignore = ["Engine speed 2 [rpm]"]\n', "utf-8")


def put_six_gears(path: Path) -> None:
    """A drive through all gears of the demo's car, twelve seconds in each, as its reader has recorded one."""
    rows, t_s = ["time [s],Engine speed [rpm],Road speed [km/h]"], 0.0
    for rpm_per_kmh in (118.0, 62.0, 41.5, 31.0, 24.9, 20.5):
        for step in range(120):
            rpm = 1_800 + 8 * step
            rows.append(f"{t_s:.1f},{rpm},{rpm / rpm_per_kmh:.2f}")
            t_s += 0.1
    path.write_text("\n".join(rows) + "\n", "utf-8")


def put_drives(folder: Path, data: Path) -> None:
    """Three stored drives under the ids that the pages name: one of the first revision, two of the second."""
    from coach.drive.tasks import InPlace
    from coach.server import Services
    from coach.server.models import StartDrive
    from coach.server.starting import Given
    from coach.sources.table import read_table
    from coach.store import Store

    clock = HandClock()
    store = Store(data, clock)
    given = Given(recipes=(folder / "first-revision.toml", folder / "request.toml"))
    services = Services.make(store, InPlace(data), Clock(), read_table, given)
    first, second = (sha256((folder / f"{n}.toml").read_bytes()).hexdigest() for n in ("first-revision", "request"))
    for name, recipe in ((EARLIER, first), (NEWEST, second), (SECOND, second)):
        clock.wall_base_us = stamp_us(name) - clock.now_us
        source = "speed-lost" if name == SECOND else "everything-qualifies"
        asked = StartDrive(recipe=recipe, source=f"replay:{source}", speed=None, role="passenger")
        assert services.start(asked).wait(60)
    services.close()


def stamp_us(name: str) -> int:
    """The wall clock of a drive's id, in microseconds."""
    from datetime import UTC, datetime

    return int(datetime.strptime(name, "%Y%m%d-%H%M%S").replace(tzinfo=UTC).timestamp()) * US


def put_bundles(folder: Path, data: Path) -> None:
    """Bundles of these drives, as owners sent them, and their key."""
    for name, drive in (("first-revision", EARLIER), ("second-revision", NEWEST), ("third-revision", NEWEST)):
        coach(f"coach bundle make {drive} -o {name}.zip --data {shlex.quote(str(data))}")
    shutil.copyfile("second-revision.zip", folder / "returned.zip")
    coach(f"coach key export -o customer.pem --data {shlex.quote(str(data))}")
    (folder / "bundles").mkdir()
    shutil.copyfile("second-revision.zip", folder / "bundles/second-revision.zip")


def put_device(data: Path) -> str:
    """A phone that joined, and the addresses of a server that lets phones in; gives the phone's id."""
    from coach.server.devices import Devices

    with Devices(data, Clock()) as devices:
        token = devices.redeem(devices.invite("operator", "page"), "Ann's phone")
        assert token
        devices.fact("address", "https://coach-k7d2.local:8766/")
        devices.fact("number_address", "https://192.168.0.20:8766/")
        return str(devices.list()[0].id)


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    """The folder that every page begins with, and the id of the phone that joined."""
    folder = tmp_path_factory.mktemp("typed")
    data = folder / "home/log-capture-coach"
    before = Path.cwd()
    os.chdir(folder)
    try:
        put_files(folder)
        put_drives(folder, data)
        put_bundles(folder, data)
    finally:
        os.chdir(before)
    phone = put_device(data)
    shutil.copytree(data, folder / "drives")
    return folder, phone


@pytest.fixture
def desk(made: tuple[Path, str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    """A copy of that folder, worked in; the user's own data folder is inside, and there is no screen."""
    folder, phone = made
    shutil.copytree(folder, tmp_path / "desk")
    monkeypatch.chdir(tmp_path / "desk")
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "desk/home"))
    monkeypatch.setattr(cmd_serve, "has_screen", lambda: False)
    return phone


def coach(line: str) -> str:
    """Runs a line as typed and gives what was printed; `> FILE` is done as a shell does it."""
    line, _, target = line.partition(" > ")
    result = CliRunner().invoke(main, shlex.split(line)[1:], prog_name="coach", input="y\n")
    # With --require the status is the verdict.
    assert result.exit_code in ({0, 1} if "--require" in line else {0}), f"{line}\n{result.output}"
    assert result.exception is None or isinstance(result.exception, SystemExit), repr(result.exception)
    if target:
        Path(target).write_text(result.stdout, "utf-8")
        assert result.stdout
    return result.stdout


@pytest.fixture
def car():
    """Where an adapter would be: a virtual one that answers at once."""
    from coach.catalogue import default_catalogue
    from coach.sources.adapter import AdapterServer, SimulatedCar
    from coach.sources.simulator.scenarios import scenario

    simulated = SimulatedCar(scenario("everything-qualifies"), default_catalogue(), Clock())
    with AdapterServer(simulated, latency_s=0.0, jitter_s=0.0) as server:
        yield server.url


def served(line: str, monkeypatch: pytest.MonkeyPatch, ask) -> str:
    """Runs a line that stays; once it says where it is, it is asked something and ended with Ctrl-C."""
    said, problems = [], []

    def visit(text: str) -> None:
        try:
            ask(text)
        except Exception as error:  # noqa: BLE001 - told by the test, from the main thread
            problems.append(repr(error))
        finally:
            os.kill(os.getpid(), signal.SIGINT)

    def say(text: str) -> None:
        said.append(text)
        if len(said) == 1:
            threading.Thread(target=visit, args=(text,), daemon=True).start()

    monkeypatch.setattr(cmd_serve, "say", say)
    monkeypatch.setattr(cmd_adapter, "say", say)
    interval = sys.getswitchinterval()
    try:
        coach(line)
    finally:
        sys.setswitchinterval(interval)
    assert problems == [], line
    assert said, line
    return said[0]


def look_at_page(text: str) -> None:
    """The page that was announced is there."""
    address = re.search(r"http://[^#\s]+", text)
    assert address, text
    with urllib.request.urlopen(address[0], timeout=10) as answer:
        assert b"<title>" in answer.read()


def talk(place: str, lines: list[str], *, end: str, until: str = "\n") -> list[str]:
    """Types lines into a TCP port, one after the other; gives what came back for each."""
    host, port = re.fullmatch(r"\w+://([\d.]+):(\d+)", place).groups()
    with closing(socket.create_connection((host, int(port)), timeout=5)) as wire:
        answers = []
        for line in lines:
            wire.sendall((line + end).encode())
            got = b""
            while not got.endswith(until.encode()):
                more = wire.recv(4096)
                assert more, (line, got)
                got += more
            answers.append(got.decode().strip())
        return answers


def look_at_adapter(text: str) -> None:
    """An adapter that was announced answers; a serial port is there to be opened."""
    place = re.search(r"The adapter is at (\S+)", text)
    assert place, text
    if place[1].startswith("socket:"):
        assert talk(place[1], ["ATE0"], end="\r", until=">")[0].endswith("OK\r\r>")
    else:
        assert Path(place[1]).exists()


def changed(line: str, phone: str, car: str) -> str:
    """The line with what only its reader has: free ports, an adapter, the id of a phone; one process is enough."""
    line = re.sub(r"^\S*[/\\]coach(?:\.exe)? ", "coach ", line).replace("/opt/coach/", "")
    line = re.sub(r"/dev/rfcomm0|socket://192\.168\.0\.10:35000", car, line).replace("7f3a90c2", phone)
    if line.startswith("coach archive judge"):
        line = re.sub(r" --processes \d+", "", line) + " --processes 1"
    if line.startswith(("coach serve", "coach demo", "coach adapter")):
        line = re.sub(r"(--port|--control) \d+", r"\1 0", line)
        if "--port" not in line and "--pty" not in line:
            line += " --port 0"
    return line


@pytest.mark.slow
@pytest.mark.parametrize(
    "page", [p for p in PAGES if TO_RUN[p]], ids=lambda page: str(page.relative_to(ROOT).with_suffix(""))
)
def test_what_a_page_tells_people_to_type_works(
    page: Path, desk: str, car: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each line ends with status 0, or serves until Ctrl-C; the files that it writes are there."""
    if page.name == "learn-a-car.md":
        put_six_gears(Path("drive.csv"))
    for typed in FIRST.get(page, []) + TO_RUN[page]:
        line = changed(typed, desk, car)
        if line.startswith(("coach serve", "coach demo")):
            served(line, monkeypatch, look_at_page)
        elif line.startswith("coach adapter"):
            served(line, monkeypatch, look_at_adapter)
        else:
            out = re.search(r" (?:-o|--out|--output|--svg|--write) (\S+)", line)
            if out and line.startswith("coach recipe new"):  # never over a file that is there
                Path(out[1]).unlink(missing_ok=True)
            said = coach(line)
            assert Path(out[1]).exists() if out else said or QUIET.match(typed), typed


def typed_into(page: str, command: str) -> list[str]:
    """What a page types after `$ command`."""
    text = (ROOT / page).read_text("utf-8")
    return re.search(rf"^\$ {re.escape(command)}\n(.*?)```", text, re.MULTILINE | re.DOTALL)[1].splitlines()


def test_the_control_line_answers_as_the_page_shows(desk: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Faults late, unplugged, plugged in: the same words; only the port is another."""
    shown = typed_into("docs/how-to/try-without-a-car.md", "nc 127.0.0.1 35001")

    def ask(text: str) -> None:
        place = re.search(r"control line is at (\S+)", text)[1]
        answers = talk(place, shown[::2], end="\n")
        assert [re.sub(r":\d+$", "", a) for a in answers] == [re.sub(r":\d+$", "", a) for a in shown[1::2]]

    served("coach adapter --port 0 --control 0", monkeypatch, ask)


def test_the_adapter_can_be_asked_by_hand(desk: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """The last line of the page asks for engine speed and road speed in one request: both come."""
    shown = typed_into("docs/how-to/try-without-a-car.md", "nc -C 127.0.0.1 35000")

    def ask(text: str) -> None:
        answers = talk(re.search(r"The adapter is at (\S+)", text)[1], shown, end="\r\n", until=">")
        assert "4100" in answers[1].replace(" ", "")
        assert re.search(r"410C[0-9A-F]{4}0D[0-9A-F]{2}", re.sub(r"[\s>]", "", answers[2]))

    served("coach adapter --port 0", monkeypatch, ask)


def test_no_reason_is_given_for_a_line_that_nobody_is_told_to_type() -> None:
    """The list of what is not run holds nothing that is gone, and names tests that are there."""
    typed = {line for page in PAGES for line in lines_of(page)}
    assert {left_out(line) for line in typed} - {None} == set(NOT_RUN)
    for reason in NOT_RUN.values():
        for path in re.findall(r"tests/[\w/.]+", reason):
            assert (ROOT / path).exists(), reason


def test_a_line_that_does_not_work_is_found(desk: str) -> None:
    """The check bites: a file that is not there, an option that is not there, a status that is not 0."""
    for line in ("coach judge none.csv --recipe request.toml", "coach data show --loud", "coach data remove nothing"):
        with pytest.raises(AssertionError, match="coach"):
            coach(line)


def test_lines_are_found_in_every_kind_of_block() -> None:
    """Plain, marked with a kind, indented in a list, with a prompt; prose is no command."""
    text = "coach a\n```\ncoach b\n```\n\n   ```sh\n   coach c  # why\n   ```\n```\n$ nc 1\nok\n```\n"
    blocks = "\n".join(FENCE.findall(text))
    assert COMMAND.findall(blocks) == ["coach b", "coach c  # why", "nc 1"]
