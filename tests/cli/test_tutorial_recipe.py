"""The calibrator's tutorial from end to end: its files are saved, its commands run, its output compared."""

from __future__ import annotations

import os
import re
import shlex
import shutil
import signal
import threading
import urllib.request
from hashlib import sha256
from pathlib import Path

import pytest
from click.testing import CliRunner

from coach.assets import traces_root
from coach.cli import cmd_serve, main
from coach.clock import Clock
from coach.drive.tasks import InPlace
from coach.server import Services
from coach.server.models import StartDrive
from coach.server.starting import Given
from coach.sources.table import read_table
from coach.store import Store

TEXT = (Path(__file__).parents[2] / "docs/tutorial/first-recipe.md").read_text("utf-8")
BLOCKS = re.findall(r"^```(\w*)\n(.*?)^```$", TEXT, re.MULTILINE | re.DOTALL)
RECIPE = Path("cruise.toml")


@pytest.fixture
def desk(tmp_path, monkeypatch):
    """An empty folder with the bundled drives; the user's own data folder is in it."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "home"))
    monkeypatch.setattr(cmd_serve, "has_screen", lambda: False)
    shutil.copytree(traces_root(), "replay_traces")


def save(block):
    """The whole recipe the first time; later each line in place of the first of its key and kind."""
    if not RECIPE.exists():
        RECIPE.write_text(block, "utf-8")
        return
    text = RECIPE.read_text("utf-8")
    for line in block.splitlines():
        start = re.match(r"\w+ = [{\"]?", line)[0]
        text, count = re.subn(rf"^{re.escape(start)}.*$", line, text, count=1, flags=re.MULTILINE)
        assert count == 1, line
    RECIPE.write_text(text, "utf-8")


def type_in(line):
    result = CliRunner().invoke(main, shlex.split(line)[1:], prog_name="coach")
    assert result.exit_code == 0, (line, result.output)
    return result.stdout


def same(text):
    """Without the numbers that everybody has of their own: a key's and a drive's."""
    return re.sub(r"\b\d{8}-\d{6}\b", "DRIVE", re.sub(r"\b(?:[0-9a-f]{4} ){4}[0-9a-f]{4}\b", "KEY", text))


def serve(line, monkeypatch):
    """Starts the server, looks whether the recipe is on offer, and ends it with Ctrl-C."""
    seen = []

    def look(address):
        try:
            with urllib.request.urlopen(address + "api/recipes", timeout=10) as answer:
                seen.append(answer.read().decode())
        finally:
            os.kill(os.getpid(), signal.SIGINT)

    def say(text):
        threading.Thread(target=look, args=(re.search(r"http://\S+/", text)[0],), daemon=True).start()

    with monkeypatch.context() as patch:
        patch.setattr(cmd_serve, "say", say)
        type_in(f"{line} --port 0")
    assert "Steady cruise and a warm idle" in seen[0]


def drive_as_the_page_does():
    """What the owner presses: this recipe, that recorded drive; flat out."""
    store = Store(Path("owner"), Clock())
    vehicle = Path("replay_traces/demo-vehicle.toml").read_bytes()
    services = Services.make(store, InPlace(Path("owner")), Clock(), read_table, Given((RECIPE,), vehicle=vehicle))
    try:
        asked = StartDrive(
            recipe=sha256(RECIPE.read_bytes()).hexdigest(), source="replay:everything-qualifies", speed=None,
            role="passenger",
        )  # fmt: skip
        assert services.start(asked).wait(60)
    finally:
        services.close()


@pytest.mark.slow
def test_the_tutorial_says_what_happens(desk, monkeypatch):
    """Refused, mended, proved, relaxed, driven, sent, judged: in this order and with these words."""
    said, compared = "", 0
    for kind, block in BLOCKS:
        if kind == "toml":
            save(block)
        elif kind == "text":
            assert same(said) == same(block)
            compared += 1
        elif block.startswith("coach serve"):
            serve(block.strip(), monkeypatch)
            drive_as_the_page_does()
        else:
            said = type_in(block.strip())
    assert compared == 5
    assert Path("report.html").read_text("utf-8").startswith("<!doctype html>")


def test_it_begins_with_a_recipe_and_a_mistake():
    """The order of its blocks: a recipe, a command, what it says."""
    assert [kind for kind, _ in BLOCKS[:4]] == ["toml", "", "text", "toml"]
