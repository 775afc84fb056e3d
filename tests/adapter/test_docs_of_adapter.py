from __future__ import annotations

import re
from pathlib import Path

import pytest

from coach.sources.adapter import KINDS
from coach.sources.adapter.control import WORDS
from coach.sources.adapter.dialect import Dialect
from coach.sources.adapter.services import READ_MODES

PAGE = (Path(__file__).parents[2] / "docs/reference/adapter.md").read_text("utf-8")


def section(title):
    return PAGE.split(f"\n## {title}\n")[1].split("\n## ")[0]


def test_every_fault_is_described_where_it_happens():
    """And none that is gone; times as they are."""
    rows = dict(re.findall(r"^\| `([a-z-]+)` \| (\w+) \|", section("Faults"), re.MULTILINE))
    assert rows == {kind: one.level.replace("line", "adapter") for kind, one in KINDS.items()}
    assert "0.3 s later" in PAGE
    assert (KINDS["pending"].seconds, KINDS["late"].seconds, KINDS["split"].seconds) == (0.3, 1.5, 0.01)


def test_every_word_of_the_control_line_is_described():
    rows = re.findall(r"^\| (`.*?) \|", section("The control line"), re.MULTILINE)
    assert {word for row in rows for word in re.findall(r"`(\w+)", row)} == set(WORDS)


@pytest.mark.parametrize("command", sorted(set(re.findall(r"`AT(@?[A-Z]+(?:[01](?=`))?)", section("Lines")))))
def test_every_command_described_exists(command):
    """With one of the endings that the page gives; the one it names as refused is refused."""
    endings = ("", "0", "1", "6", "7E8", "7E0", "10", "300000")
    if command == "@":
        command = "@1"
    known = any(Dialect(lambda: None).command(command + ending) != "?" for ending in endings)
    assert known == (command != "MA")


def test_the_modes_are_named():
    """The page names those that are answered."""
    named = re.search(r"Modes ([0-9A-F, and]+) are answered", PAGE)[1]
    assert {int(mode, 16) for mode in re.findall(r"[0-9A-F]{2}", named)} == READ_MODES
