"""coach drives and coach report, as a person runs them on a data folder."""

from __future__ import annotations

import json

import pytest
from click.testing import CliRunner

from coach.assets import traces_root
from coach.bundle.make import make_bundle
from coach.bundle.wanted import Wanted
from coach.cli import main
from coach.clock import Clock, HandClock
from coach.drive.tasks import InPlace
from coach.server import Services
from coach.server.models import StartDrive
from coach.sources.table import read_table
from coach.store import Store

TRACES = traces_root()


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """Two drives: one in which everything qualified, one stopped at a limit."""
    data = tmp_path_factory.mktemp("data") / "drives"
    store = Store(data, HandClock())
    services = Services.make(store, InPlace(data), Clock(), read_table)
    for source in ("everything-qualifies", "limit-passed"):
        asked = StartDrive(recipe=services.shelf.bundled[0], source=f"replay:{source}", speed=None, role="passenger")
        assert services.start(asked).wait(60)
    services.close()
    return data


@pytest.fixture
def run(folder):
    def call(*words, status=0):
        found = CliRunner().invoke(main, [*words, "--data", str(folder)], standalone_mode=False)
        if status == 0:
            assert found.exception is None, found.exception
        else:
            assert found.exception is not None
        return found.output if status == 0 else str(found.exception)

    return call


@pytest.fixture
def drives(run):
    """Ids, the newest first."""
    return [d["id"] for d in json.loads(run("drives", "list", "--json"))["drives"]]


def test_list_and_filters(run, drives):
    """One line a drive; filters; a sentence where none fits."""
    text = run("drives", "list")
    assert text.count("revision 2") == 2
    assert [line.split()[0] for line in text.splitlines()] == drives
    assert drives[1] in run("drives", "list", "--complete")
    assert [x.split()[0] for x in run("drives", "list", "--incomplete").splitlines()] == drives[:1]
    assert run("drives", "list", "--text", "nothing like it") == "No drive fits.\n"
    assert "write it as 2026-05-04" in run("drives", "list", "--since", "soon", status=2)


def test_show(run, drives):
    """Verdict first, then what it rests on, then each capture with what to send or to do."""
    text = run("drives", "show", drives[1])
    assert text.startswith("Everything qualified\nNothing is left to record. Send it.\n")
    assert "+ Full pedal in third (roll-on): Two attempts, the best swept in" in text
    assert "Car: Demo hatchback" in text
    assert json.loads(run("drives", "show", drives[0], "--json"))["headline"] == "Nothing qualified yet"
    assert "there is no such drive" in run("drives", "show", "none", status=2)


@pytest.mark.parametrize("figure", ["nan", "inf", "44", "x"])
def test_weather_that_is_none_is_refused(drives, folder, figure):
    """A number that is none is in no range."""
    done = CliRunner().invoke(main, ["drives", "weather", drives[0], "--pressure", figure, "--data", str(folder)])
    assert done.exit_code == 2
    assert "--pressure" in done.stderr


def test_rename_note_weather(run, drives):
    """They are kept with the drive, shown, and found."""
    run("drives", "rename", drives[0], "Evening")
    run("drives", "note", drives[0], "Wet road")
    run("drives", "weather", drives[0], "--pressure", "98", "--temperature", "12", "--humidity", "60")
    text = run("drives", "show", drives[0])
    assert "Wet road" in text
    assert "98.0 kPa, 12 °C, humidity 60 %" in text
    assert "Evening" in run("drives", "list", "--text", "wet")
    run("drives", "weather", drives[0])
    assert "humidity 60 %" not in run("drives", "show", drives[0])
    assert "there is no such drive" in run("drives", "note", "none", "x", status=2)


def test_compare(run, drives):
    """Two drives, or the earlier revision by itself where there is one."""
    text = run("drives", "compare", drives[1], "--capture", "roll-on", "--with", drives[1])
    assert "nothing changed by more" in text
    assert "Peak at the wheels" in text
    assert json.loads(run("drives", "compare", drives[1], "--capture", "roll-on", "--with", drives[1], "--json"))[
        "spans"
    ]
    assert "earlier revision" in run("drives", "compare", drives[1], "--capture", "roll-on", status=2)


def test_report_of_a_stored_drive_and_of_a_table(run, drives, tmp_path):
    """The same page from both; without the typeface it is smaller."""
    stored, table = tmp_path / "stored.html", tmp_path / "table.html"
    assert "kB" in run("report", drives[1], "-o", str(stored))
    run("report", str(TRACES / "everything-qualifies.csv"), "--recipe", str(TRACES / "demo-recipe.toml"), "--vehicle",
        str(TRACES / "demo-vehicle.toml"), "-o", str(table), "--plain")  # fmt: skip
    for file in (stored, table):
        assert "Held 1:57, asked 1:30." in file.read_text(encoding="utf-8")
    assert "font-face" not in table.read_text(encoding="utf-8")


def test_report_of_a_bundle(run, drives, folder, tmp_path):
    """The same verdict and figures as from the store; a bundle of two drives is one sentence."""
    made, two = tmp_path / "one.zip", tmp_path / "two.zip"
    run("drives", "note", drives[1], "Headwind")
    run("drives", "weather", drives[1], "--pressure", "97.5", "--temperature", "11")
    make_bundle(folder, [drives[1]], made, Wanted())
    run("report", str(made), "-o", str(tmp_path / "bundle.html"))
    run("report", drives[1], "-o", str(tmp_path / "stored.html"))
    one, other = ((tmp_path / n).read_text(encoding="utf-8") for n in ("bundle.html", "stored.html"))
    for words in ("Everything qualified", "Held 1:57, asked 1:30.", "Two attempts, the best swept in", "Headwind",
                  "97.5 kPa, 11 °C"):  # fmt: skip
        assert words in one
        assert words in other
    make_bundle(folder, drives, two, Wanted())
    assert "holds 2 drives" in run("report", str(two), "-o", str(tmp_path / "x.html"), status=2)
    gone, ask, out = (str(p) for p in (tmp_path / "no.csv", TRACES / "demo-recipe.toml", tmp_path / "x.html"))
    assert "there is no such file" in run("report", gone, "--recipe", ask, "-o", out, status=2)


def test_what_cannot_be_reported_is_one_sentence(run, drives, tmp_path, folder):
    """And no half-written file."""
    out = str(tmp_path / "x.html")
    assert "--recipe" in run("report", str(TRACES / "dropout.csv"), "-o", out, status=2)
    assert "there is no such drive" in run("report", "none", "-o", out, status=2)
    assert "cannot be written" in run("report", drives[0], "-o", str(tmp_path / "no" / "x.html"), status=2)
    assert not (tmp_path / "x.html").exists()
    found = CliRunner().invoke(
        main, ["drives", "rename", "a", "b", "--data", str(tmp_path / "new")], standalone_mode=False
    )
    assert "there is no data here yet" in str(found.exception)
    assert not (tmp_path / "new").exists()
