"""`run.py soak`: the figures of every part, and status 1 when a promise was broken."""

import json

import pytest

from coach.soak import __main__ as command
from coach.soak import inputs
from coach.soak.inputs import Inputs
from coach.soak.kills import Kills
from coach.soak.long import Long
from coach.soak.power import Cuts

GOOD = Long(8.0, 4_320_000, 160, 70.0, 74.0, 75.0, 76.0, 170.0, 0.8)


@pytest.fixture
def parts(monkeypatch):
    """Every part answers at once, and notes how much it was asked for."""
    asked = {}

    def kill(work, count):
        assert work.is_dir()
        asked["kills"] = count
        return Kills(count, count, samples=9, recording=count)

    def cut(work, count):
        asked["images"] = count
        return Cuts(images=count, sites={"write": 5, "sync": 2})

    def feed(*, quick):
        asked["inputs"] = quick
        return Inputs({"API": 7, "vehicle": 3})

    def apart(folder, hours):
        asked["hours"] = hours
        return GOOD

    monkeypatch.setattr("coach.soak.kills.kill", kill)
    monkeypatch.setattr("coach.soak.power.cut_power", cut)
    monkeypatch.setattr(inputs, "feed", feed)
    monkeypatch.setattr("coach.soak.long.apart", apart)
    return asked


def test_everything_is_asked_for_in_full(parts, capsys):
    assert command.main([]) == 0
    assert parts == {"kills": 200, "images": 400, "inputs": False, "hours": 8.0}
    said = capsys.readouterr().out
    for line in ("survived with every promise kept", "all together", "memory at its end", "images of the disk opened"):
        assert line in said
    assert "✗" not in said


def test_quick_is_a_tenth(parts, capsys):
    assert command.main(["--quick", "--json"]) == 0
    assert parts == {"kills": 20, "images": 40, "inputs": True, "hours": 0.2}
    told = json.loads(capsys.readouterr().out)
    figures = {f["what"]: f["value"] for f in told["figures"]}
    assert figures["kills at random moments"] == 20
    assert figures["all together"] == 10
    assert told["broken"] == []
    assert "processor" in told["machine"]


def test_a_broken_promise_is_printed_and_is_the_status(parts, capsys, monkeypatch):
    monkeypatch.setattr("coach.soak.kills.kill", lambda work, count: Kills(20, 19, 1, broken=["kill-3: samples lost"]))
    assert command.main(["--quick"]) == 1
    said = capsys.readouterr().out
    assert "kill-3: samples lost" in said
    assert "✗" in said


def test_inputs_that_were_not_refused_are_printed(parts, capsys, monkeypatch):
    monkeypatch.setattr(inputs, "feed", lambda *, quick: Inputs({"API": 1}, "AssertionError: Traceback"))
    assert command.main(["--quick"]) == 1
    assert "AssertionError" in capsys.readouterr().out


def test_without_a_checkout_and_a_watched_disk_the_rest_is_done(parts, capsys, monkeypatch):
    monkeypatch.setattr(inputs, "TESTS", inputs.TESTS / "nowhere")
    monkeypatch.setattr(command, "watched", lambda: False)
    assert command.main(["--quick"]) == 0
    assert set(parts) == {"kills", "hours"}


def test_the_fuzzing_tests_are_run_with_their_profile(tmp_path, monkeypatch):
    """And count what they fed; what they say when they fail is handed on."""
    test = tmp_path / "test_it.py"
    test.write_text(
        "import json, os, pathlib, hypothesis\n"
        "def test_it(request):\n"
        "    counts = {'examples': hypothesis.settings.default.max_examples}\n"
        "    pathlib.Path(os.environ['COACH_FUZZ_COUNTS']).write_text(json.dumps(counts))\n"
        "    assert counts['examples'] == 40, 'too many'\n"
    )
    (tmp_path / "conftest.py").write_text((inputs.ROOT / "tests/conftest.py").read_text())
    monkeypatch.setattr(inputs, "TESTS", test)
    assert inputs.feed(quick=True).tried["examples"] == 40
    deep = inputs.feed(quick=False)
    assert deep.tried["examples"] == 2_000
    assert "too many" in deep.failed
