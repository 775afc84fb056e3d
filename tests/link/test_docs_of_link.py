"""What is written about the link names what the program has."""

from __future__ import annotations

import configparser
import re
import shutil
import subprocess
from pathlib import Path

import pytest
from click.testing import CliRunner

from coach.cli import main
from coach.sources.link.decode import OTHER_WAYS
from coach.sources.link.port import BAUDS
from coach.sources.link.trouble import SENTENCES
from coach.sources.link.wire import MODES

DOCS = Path(__file__).parents[2] / "docs"
LINK = (DOCS / "explanation/link.md").read_text("utf-8")


def test_every_reason_is_in_the_table_and_none_that_is_gone() -> None:
    table = LINK.partition("## Reasons")[2].partition("## ")[0]
    assert set(re.findall(r"`(\w+)`", table)) == set(SENTENCES)


def test_modes_speeds_and_unchecked_parameters_are_named() -> None:
    modes = LINK.partition("## Read only")[2].partition("in one frame")[0]
    assert {int(m, 16) for m in re.findall(r"\b(\d[\dA-F])\b", modes)} == MODES
    how = (DOCS / "how-to/connect-an-adapter.md").read_text("utf-8")
    assert all(f"{baud:,}" in how for baud in BAUDS)
    unchecked = LINK.partition("## What could not be checked")[2]
    assert all(f"{way.reading.pid:02X}" in unchecked for way in OTHER_WAYS)


HOW = (DOCS / "how-to/raspberry-pi.md").read_text("utf-8")


def units() -> dict[str, str]:
    """The systemd units of the how-to, by the name that it saves them under."""
    names = re.findall(r"/etc/systemd/system/([a-z-]+\.service)", HOW)
    blocks = [re.sub(r"(?m)^ {3}", "", b) for b in re.findall(r"```\n( {3}\[Unit\].*?)```", HOW, re.DOTALL)]
    return dict(zip(names, blocks, strict=True))


def test_the_units_for_a_raspberry_pi_are_whole_and_start_what_there_is() -> None:
    """Two units; each option that `coach serve` is started with exists, and it is stopped as Ctrl-C stops it."""
    found = units()
    assert set(found) == {"coach-adapter.service", "coach.service"}
    parser = configparser.ConfigParser(interpolation=None)
    parser.optionxform = str  # type: ignore[assignment,method-assign]
    parser.read_string(found["coach.service"])
    words = parser["Service"]["ExecStart"].split()
    assert words[:2] == ["/opt/coach/.venv/bin/coach", "serve"]
    help_text = CliRunner().invoke(main, ["serve", "--help"]).output
    assert all(word in help_text for word in words if word.startswith("--"))
    assert parser["Service"]["KillSignal"] == "SIGINT"
    assert parser["Unit"]["After"] == "coach-adapter.service"


@pytest.mark.skipif(shutil.which("systemd-analyze") is None, reason="this machine has no systemd-analyze")
def test_systemd_finds_nothing_wrong_with_the_units(tmp_path: Path) -> None:
    """But for the programs, which are not installed here."""
    for name, text in units().items():
        (tmp_path / name).write_text(re.sub(r"=/(usr/bin/rfcomm|opt/coach/\.venv/bin/coach)", "=/bin/true", text))
    files = [str(tmp_path / name) for name in units()]
    done = subprocess.run(
        ["systemd-analyze", "verify", *files], capture_output=True, text=True, timeout=60, check=False
    )
    assert not [line for line in done.stderr.splitlines() if "coach" in line]


def test_what_is_in_the_car_is_described_code_for_code() -> None:
    from coach.review import identity

    source = Path(identity.__file__).read_text("utf-8")
    table = LINK.partition("## What is in the car")[2].partition("## ")[0]
    assert set(re.findall(r"`([a-z]+_[a-z]+)`", table)) == set(re.findall(r'Warned\(\s*"(\w+)"', source))
