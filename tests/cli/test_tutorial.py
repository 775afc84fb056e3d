"""The tutorial and the how-tos say what really happens: their commands are run and their output compared."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest
from click.testing import CliRunner

from coach.cli import main

ROOT = Path(__file__).parents[2]
TUTORIAL = ROOT / "docs/tutorial/first-verdict.md"
BLOCKS = re.findall(
    r"^```\n(coach .+?)\n```\n\n(?:```text\n(.*?)```\n)?", TUTORIAL.read_text("utf-8"), re.MULTILINE | re.DOTALL
)


def test_tutorial_runs_the_demo_and_reads_its_verdict():
    commands = [command for command, _ in BLOCKS]
    assert any(command.startswith("coach demo") for command in commands)
    assert sum(command.startswith("coach judge") for command in commands) == 2


@pytest.mark.parametrize(("command", "output"), [b for b in BLOCKS if b[1]], ids=lambda text: text.split("\n")[0][:60])
def test_output_in_the_tutorial_is_the_real_one(command, output, monkeypatch):
    monkeypatch.chdir(ROOT)
    result = CliRunner().invoke(main, shlex.split(command)[1:], prog_name="coach")
    assert result.exit_code == 0, result.stderr
    assert result.stdout == output


def test_demo_of_the_tutorial_has_such_options():
    """It is started for real in test_demo.py; here its words are only understood."""
    command = next(c for c, _ in BLOCKS if c.startswith("coach demo"))
    name, *words = shlex.split(command)[1:]
    demo = main.commands[name]
    assert demo.make_context("coach demo", words).params["speed"] == 8.0


@pytest.mark.parametrize("page", sorted((ROOT / "docs/how-to").glob("*.md")), ids=lambda p: p.name)
def test_commands_of_the_how_tos_are_understood(page):
    """Every `coach` line parses; the files that it names are the reader's own."""
    lines = re.findall(r"^(coach .+)$", page.read_text("utf-8"), re.MULTILINE)
    for line in lines:
        command, words = main, shlex.split(line)[1:]
        while words and words[0] in getattr(command, "commands", {}):
            command, words = command.commands[words[0]], words[1:]
        command.make_context("coach", words)
