"""The page of figures: the machine, how each was measured, which promises are kept; a link between page and command."""

from __future__ import annotations

from pathlib import Path

import pytest

from coach.bench import figures as figures_module
from coach.bench.figures import Figure, machine
from coach.bench.written import HOW, page, write
from coach.errors import StoreError

FOUND = [
    Figure("Starting", "coach --help", 0.1, "s", "0.15", met=True),
    Figure("Starting", "coach serve", 3.0, "s", "1.0", met=False),
    Figure("Polling a car: the virtual adapter", "6 signals", 1234.0, "samples/s"),
]


def test_the_page_says_how_each_was_measured_and_what_is_not_kept() -> None:
    """A heading a group, its paragraph, a row a figure; what falls short is said at the top and in its row."""
    text = page({"processor": "Some processor", "load": "0.1"}, FOUND)
    assert "| processor | Some processor |" in text
    assert "1 of 2 promises are kept in this run." in text
    assert f"## Starting\n\n{HOW['Starting']}" in text
    assert f"## Polling a car: the virtual adapter\n\n{HOW['Polling a car']}" in text
    assert "| coach --help | 0.1 s | 0.15 | kept |" in text
    assert "| coach serve | 3 s | 1.0 | **not kept** |" in text
    assert "| 6 signals | 1,234 samples/s |  |  |" in text


def test_it_is_written_or_one_sentence_says_why_not(tmp_path: Path) -> None:
    """A folder that is not there is no traceback."""
    write(tmp_path / "page.md", {}, FOUND)
    assert (tmp_path / "page.md").read_text("utf-8") == page({}, FOUND)
    with pytest.raises(StoreError, match="the figures cannot be written"):
        write(tmp_path / "no" / "page.md", {}, FOUND)


@pytest.mark.parametrize(("load", "busy"), [(0.5, False), (9.0, True)])
def test_a_busy_machine_is_said(monkeypatch: pytest.MonkeyPatch, load: float, busy: bool) -> None:
    """By the processes that wanted to run before the benchmark began."""
    monkeypatch.setattr("os.getloadavg", lambda: (load, 0.0, 0.0))
    monkeypatch.setattr("os.cpu_count", lambda: 2)
    said = machine()["load"]
    assert said.startswith(f"{load:.1f} at the start")
    assert ("it was busy" in said) is busy


def test_what_a_system_does_not_say_is_not_made_up(monkeypatch: pytest.MonkeyPatch) -> None:
    """Windows has neither a load average nor these sizes."""
    monkeypatch.delattr("os.getloadavg")
    monkeypatch.delattr("os.sysconf")
    assert machine()["load"] == machine()["memory"] == "not said"
    assert figures_module.number(None) == "–"
