"""`coach demo` and `coach serve`: started as a person starts them, and ended with Ctrl-C."""

from __future__ import annotations

import json
import re
import time
import urllib.request
from pathlib import Path

import pytest
from click.testing import CliRunner

from coach.cli import cmd_serve as module
from coach.cli import main
from coach.cli.cmd_serve import has_screen
from tests.cli.programs import ended, serving

ROOT = Path(__file__).parents[2]


def get(address, path):
    with urllib.request.urlopen(address.split("#")[0] + path, timeout=10) as answer:
        return json.load(answer)


def test_demo_by_itself_comes_to_its_verdict(tmp_path):
    """Flat out and without a page: the drive is recorded, judged, and everything qualifies."""
    with serving("demo", "--auto", "--speed", "max", "--port", "0", "--no-open", "--data", tmp_path) as address:
        deadline = time.monotonic() + 60
        while True:
            drives = get(address, "api/drives")["drives"]
            state = get(address, "api/state")
            if state["drive"]["phase"] == "ended" or time.monotonic() > deadline:
                break
            time.sleep(0.1)
        verdict = get(address, f"api/drives/{drives[0]['id']}/attempts")
    assert [(c["asked"], c["qualified"]) for c in verdict["captures"]] == [(1, 1), (2, 2), (1, 1)]


def test_demo_waits_for_the_page():
    """The address leads to Ready with the drive, the recipe and the speed chosen."""
    with serving("demo", "--speed", "8", "--port", "0", "--no-open", "--drive", "limit-passed") as address:
        assert re.fullmatch(
            r"http://127\.0\.0\.1:\d+/#/ready\?recipe=[0-9a-f]{64}&source=replay:limit-passed&speed=8", address
        )
        assert get(address, "api/drives")["drives"] == []
        sha = re.search(r"recipe=(\w+)", address)[1]
        assert sha in json.dumps(get(address, "api/recipes"))


def test_serve_offers_what_it_is_given(tmp_path):
    recipe, drive = ROOT / "replay_traces/demo-recipe.toml", ROOT / "replay_traces/cold-engine.csv"
    car = ROOT / "replay_traces/demo-vehicle.toml"
    words = [
        "serve",
        "--recipe",
        recipe,
        "--drive",
        drive,
        "--vehicle",
        car,
        "--data",
        tmp_path,
        "--port",
        "0",
        "--no-open",
    ]
    with serving(*words) as address:
        assert "cold-engine.csv" in json.dumps(get(address, "api/sources"))


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["demo", "--drive", "none"], "there is no bundled drive 'none'; there are: "),
        (["demo", "--speed", "0"], "'0' is not a speed"),
        (["demo", "--speed", "quick"], "'quick' is not a speed"),
        (["demo", "--speed", "nan"], "'nan' is not a speed"),
        (["serve", "--drive", "none.csv"], "none.csv: there is no such file"),
        (["serve", "--recipe", "none.toml"], "none.toml: there is no such file"),
        (["serve", "--vehicle", "none.toml"], "none.toml"),
        (["serve", "--port", "70000"], "70000"),
    ],
)
def test_bad_input_is_one_sentence_and_2(words, sentence):
    result = CliRunner().invoke(main, words, prog_name="coach")
    assert result.exit_code == 2
    assert sentence in result.stderr
    assert result.stderr.count("\n") == 1


def test_port_in_use_and_folder_without_permission(tmp_path):
    """One sentence each; nothing is left behind."""
    with serving("demo", "--port", "0", "--no-open") as address:
        port = re.search(r":(\d+)/", address)[1]
        result = ended("demo", "--port", port, "--no-open")
        assert (result.returncode, result.stderr.count("\n")) == (2, 1)
        assert f"port {port} is in use" in result.stderr
    blocked = tmp_path / "file"
    blocked.write_text("", "utf-8")
    result = ended("serve", "--port", "0", "--no-open", "--data", blocked / "data")
    assert (result.returncode, result.stderr.count("\n")) == (2, 1), result.stderr


def test_browser_is_opened_only_where_there_is_a_screen(monkeypatch, capsys):
    opened = []
    monkeypatch.setattr("webbrowser.open", opened.append)

    class Now:
        def __init__(self, target, args, daemon):
            self.start = lambda: target(*args)

    monkeypatch.setattr(module.threading, "Thread", Now)
    monkeypatch.setattr(module, "has_screen", lambda: True)
    module._announce("#/drive", no_open=False)("http://x/")
    module._announce("", no_open=True)("http://y/")
    monkeypatch.setattr(module, "has_screen", lambda: False)
    module._announce("", no_open=False)("http://z/")
    assert opened == ["http://x/#/drive"]
    assert capsys.readouterr().out.count("The page is at http://") == 3


@pytest.mark.parametrize(
    ("platform", "environment", "there"),
    [
        ("win32", {}, True),
        ("darwin", {}, True),
        ("linux", {}, False),
        ("linux", {"DISPLAY": ":0"}, True),
        ("linux", {"WAYLAND_DISPLAY": "wayland-0"}, True),
    ],
)
def test_screen(monkeypatch, platform, environment, there):
    monkeypatch.setattr(module.sys, "platform", platform)
    for name in ("DISPLAY", "WAYLAND_DISPLAY"):
        monkeypatch.delenv(name, raising=False)
    for name, value in environment.items():
        monkeypatch.setenv(name, value)
    assert has_screen() is there
