"""`coach archive judge`, as typed."""

from __future__ import annotations

import json

import pytest
from click.testing import CliRunner

from coach.cli import main
from tests.desk.test_archive import RECIPE, write_drive


def coach(*words):
    return CliRunner().invoke(main, [str(w) for w in words], prog_name="coach", catch_exceptions=True)


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "drives").mkdir()
    write_drive(tmp_path / "drives" / "good.csv", [80] * 40)
    write_drive(tmp_path / "drives" / "slow.csv", [30] * 40)
    (tmp_path / "drives" / "broken.zip").write_bytes(b"nothing")
    (tmp_path / "request.toml").write_bytes(RECIPE)
    return tmp_path


def test_a_folder_is_judged_and_told(folder):
    """A line for all, one for each capture, one for each kind of error."""
    words = ["archive", "judge", folder / "drives", "--recipe", folder / "request.toml", "-o", folder / "out"]
    result = coach(*words, "--processes", "1")
    assert result.exit_code == 0, result.output
    assert "3 files, 1 of them could not be judged." in result.stdout
    assert "2 drives, 1 of them with everything that was asked for." in result.stdout
    assert "steady: qualified in 1 of 2; else 1 no_attempt" in result.stdout
    assert json.loads(coach(*words, "--json").stdout)["drives"] == 2


def test_bad_input_is_a_sentence(folder):
    """No such folder, a recipe that is none, a scheduler that is none."""
    for words in (
        ["archive", "judge", folder / "nowhere", "-o", folder / "out"],
        ["archive", "judge", folder / "drives", "--recipe", folder / "drives" / "broken.zip", "-o", folder / "out"],
        ["archive", "judge", folder / "drives", "-o", folder / "out", "--scheduler", "nonsense"],
    ):
        result = coach(*words)
        assert result.exit_code != 0, words
        assert "Traceback" not in result.output
