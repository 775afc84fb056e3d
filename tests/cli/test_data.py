"""`coach data`: sizes, removal after a question, a check, a rescue; one sentence for what is wrong."""

import json

import pytest
from click.testing import CliRunner

from coach.cli import main
from coach.clock import HandClock
from coach.drive.drive import Drive
from coach.drive.ring import Ring
from coach.drive.tasks import InPlace
from coach.soak.made import Made, setup
from coach.store import Store


@pytest.fixture(scope="module")
def sound(tmp_path_factory):
    folder = tmp_path_factory.mktemp("cli") / "data"
    with Store(folder, HandClock()) as store:
        drive = Drive(setup(Made(40.0)), store, InPlace(folder), store.clock, Ring())
        drive.start()
        assert drive.wait(60)
    return folder, drive.id


@pytest.fixture
def folder(sound, tmp_path):
    """A copy of a folder with one drive."""
    import shutil

    shutil.copytree(sound[0], tmp_path / "data")
    return tmp_path / "data"


def run(*arguments, say=None):
    result = CliRunner().invoke(main, ["data", *map(str, arguments)], input=say)
    return result.exit_code, result.output


def test_show_says_what_is_taken(folder, sound):
    """For people, and as JSON."""
    status, said = run("show", "--data", folder)
    assert status == 0
    assert " MB taken, " in said.splitlines()[0]
    assert sound[1] in said
    assert "6,000 samples" in said
    told = json.loads(run("show", "--data", folder, "--json")[1])
    assert told["total_bytes"] == sum(p.stat().st_size for p in folder.rglob("*") if p.is_file())
    assert told["drives"][0]["samples_bytes"] == 6_000 * 16


def test_nothing_is_removed_without_a_yes(folder, sound):
    """The drives are named before the question; no answer is no."""
    status, said = run("remove", sound[1], "--data", folder, say="n\n")
    assert status == 130
    assert "6,000 samples" in said
    assert sound[1] in run("show", "--data", folder)[1]
    status, said = run("remove", sound[1], sound[1], "--data", folder, say="y\n")
    assert status == 0
    assert "given back" in said
    assert sound[1] not in run("show", "--data", folder)[1]
    assert run("remove", sound[1], "--yes", "--data", folder)[0] == 2


def test_one_that_is_not_there_removes_none(folder, sound):
    status, said = run("remove", sound[1], "20000101-000000", "--yes", "--data", folder)
    assert status == 2
    assert "no such drive" in said
    assert sound[1] in run("show", "--data", folder)[1]


def test_check_finds_a_changed_file(folder, sound):
    assert run("check", "--data", folder) == (0, "Everything is as it was saved.\n")
    path = next(folder.rglob("*.csv"))
    path.write_text("x")
    status, said = run("check", "--data", folder)
    assert status == 1
    assert said == f"{sound[1]}: the file {path.relative_to(folder).as_posix()} is not as it was saved\n"


def test_rescue_of_a_damaged_folder(folder, sound, tmp_path):
    """What is readable is there, what was lost is said, and the status says that something was."""
    data = bytearray((folder / "coach.db").read_bytes())
    middle = len(data) // 4096 // 3 * 4096
    data[middle : middle + 5 * 4096] = b"\xff" * 5 * 4096
    (folder / "coach.db").write_bytes(data)
    status, said = run("rescue", "--data", folder, "-o", tmp_path / "out")
    assert status == 1
    assert "lost" in said
    assert (tmp_path / "out" / f"{sound[1]}.csv").stat().st_size > 10_000
    status, said = run("rescue", "--data", folder, "-o", tmp_path / "out")
    assert status == 2
    assert "already" in said


@pytest.mark.parametrize("command", ["show", "check", "rescue -o x", "remove x --yes"])
def test_a_folder_without_data_gets_a_sentence(tmp_path, command):
    status, said = run(*command.split(), "--data", tmp_path)
    assert status == 2
    assert "there is no data here yet" in said
    assert list(tmp_path.iterdir()) == []
