"""`coach recipe new` and `coach recipe edit`, as typed."""

from __future__ import annotations

import tomllib

import pytest
from click.testing import CliRunner

from coach.cli import main
from coach.desk.starting import KINDS


def coach(*words):
    return CliRunner().invoke(main, [str(w) for w in words], prog_name="coach")


@pytest.fixture
def file(tmp_path):
    """A recipe of two starting points."""
    path = tmp_path / "r.toml"
    assert coach("recipe", "new", "idle", "steady", "--title", "For Anna", "-o", path).exit_code == 0
    return path


def read(path):
    return tomllib.loads(path.read_text("utf-8"))


def test_begun_it_passes_the_check(file):
    """Title, captures in order, nothing to object to."""
    assert (read(file)["title"], [c["id"] for c in read(file)["capture"]]) == ("For Anna", ["idle", "steady"])
    assert "Nothing to object to" in coach("recipe", "check", file).stdout


def test_printed_where_no_file_is_named():
    """For a pipe."""
    assert tomllib.loads(coach("recipe", "new", "free").stdout)["capture"][0]["id"] == "free"


def test_starting_points_are_listed():
    """Each with what it is."""
    out = coach("recipe", "new", "--list").stdout
    assert [line.split()[0] for line in out.splitlines()] == list(KINDS)


def test_nothing_is_overwritten(file):
    """A file that is there stays."""
    before = file.read_bytes()
    result = coach("recipe", "new", "free", "-o", file)
    assert (result.exit_code, file.read_bytes()) == (2, before)


def test_the_next_revision(file, tmp_path):
    """One number higher, everything else as it was; nothing else may be said with it."""
    out = tmp_path / "next.toml"
    assert coach("recipe", "new", "--from", file, "-o", out).exit_code == 0
    assert read(out) == read(file) | {"revision": 2}
    assert coach("recipe", "new", "idle", "--from", file).exit_code == 2


def test_edited_in_place(file):
    """Set by the capture's id, a number as a number, a list as a list; added and removed; comments stay."""
    file.write_text(file.read_text("utf-8") + "# mind the rest\n", "utf-8")
    result = coach(
        "recipe", "edit", file, "--set", "steady.hold=2 min", "--set", "revision=3", "--set", 'steady.needs=["idle"]',
        "--add", "voltage", "--remove", "steady.grace",
    )  # fmt: skip
    assert result.exit_code == 0, result.output
    data = read(file)
    steady = data["capture"][1]
    assert (data["revision"], steady["hold"], steady["needs"]) == (3, "2 min", ["idle"])
    assert "grace" not in steady
    assert data["capture"][2]["id"] == "voltage"
    assert "# mind the rest" in file.read_text("utf-8")
    assert coach("recipe", "edit", file, "--remove", "voltage").exit_code == 0
    assert [c["id"] for c in read(file)["capture"]] == ["idle", "steady"]


def test_a_signature_goes_with_the_text_that_it_was_for(file, tmp_path):
    """An edited recipe is unsigned."""
    assert coach("recipe", "sign", file, "--data", tmp_path / "data").exit_code == 0
    assert "# signed" in file.read_text("utf-8")
    assert coach("recipe", "edit", file, "--set", "note=Cold tyres").exit_code == 0
    assert "# signed" not in file.read_text("utf-8")


@pytest.mark.parametrize(
    "words",
    [
        (), ("--set", "revision"), ("--set", "..=1"), ("--remove", "nothing.there"), ("--add", "nonsense"),
        ("--remove", "steady", "--remove", "steady"),
    ],
)  # fmt: skip
def test_refused_in_a_sentence_and_nothing_is_written(file, words):
    """Exit 2, one line, the file as it was."""
    before = file.read_bytes()
    result = coach("recipe", "edit", file, *words)
    assert (result.exit_code, file.read_bytes()) == (2, before)
    assert result.stderr.startswith("coach: ")
    assert result.stderr.count("\n") == 1


def test_what_is_no_recipe_is_refused(tmp_path):
    """No TOML, no UTF-8, no starting point."""
    for body in (b"title = \n", b"\xff\xfe"):
        path = tmp_path / "x.toml"
        path.write_bytes(body)
        assert coach("recipe", "edit", path, "--set", "revision=2").exit_code == 2
    assert coach("recipe", "new").exit_code == 2
