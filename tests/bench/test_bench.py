"""The benchmark runs, compares like with like, and prints what it found. No test asserts a figure."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import numpy as np
import pytest

from coach.bench import main
from coach.bench.drives import MEANS, collecting, noisy_drive, plan, steady_drive
from coach.bench.figures import Figure, machine, table
from coach.bench.holds import duckdb_query, frame_of, with_pandas, with_pandas_and_silence
from coach.bench.opening import GROUP as OPENED
from coach.bench.opening import opening
from coach.bench.page import GROUP as PAGE
from coach.bench.page import page
from coach.bench.run import _same, figures
from coach.bench.written import HOW
from coach.core.afterwards import judge_instants, judge_recording
from coach.core.events import Outcome
from coach.recording import Recording, Series

GROUPS = {
    "Judging a stored drive", "Judging while it happens", "Reading a CSV drive", "Judging an archive", "Starting",
    "A drive of eight hours at 150 samples a second, recorded flat out by the server's own loop", "Polling a car",
    "While driving", "On a smaller machine", PAGE, OPENED,
}  # fmt: skip
MACHINE = {"system", "processor", "cores", "python", "numpy", "memory", "load"}


def test_the_command_prints_every_figure_with_its_machine(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """As JSON: a figure has a group, a number and a unit; the machine is named. The page has the same, explained."""
    assert main(["--quick", "--json", "--write", str(tmp_path / "page.md")]) == 0
    said = json.loads(capsys.readouterr().out)
    assert {f["group"].partition(":")[0] for f in said["figures"]} == GROUPS
    assert all(f["value"] >= 0 for f in said["figures"] if not f["what"].startswith("not measured"))
    assert set(said["machine"]) == MACHINE
    page_text = (tmp_path / "page.md").read_text("utf-8")
    assert all(f"## {group}" in page_text for group in GROUPS)
    assert all(any(group.startswith(start) for group in GROUPS) for start in HOW)
    assert len(HOW) == len(GROUPS)
    by = {f["what"]: f["value"] for f in said["figures"]}
    assert by["samples"] == 0.002 * 36_000 * 15
    assert by["samples recorded"] > 0
    assert by["samples in it"] == 0.01 * 3600 * 150
    assert by["memory of the server at rest"] > 10


@pytest.fixture
def no_polling(monkeypatch: pytest.MonkeyPatch) -> None:
    """What takes real seconds is done by one test."""
    for name in ("polling", "page", "driving", "starting", "archive", "long_drive", "opening"):
        monkeypatch.setattr(f"coach.bench.run.{name}", lambda *_, **__: iter(()))


@pytest.mark.usefixtures("no_polling")
def test_the_table_says_what_is_promised(capsys: pytest.CaptureFixture[str]) -> None:
    """As text: a tick or a cross beside what is promised, nothing beside what is not."""
    text = table([
        Figure("A", "kept", 2000.0, "samples/s", "1,000", met=True),
        Figure("A", "not kept", 0.5, "ms", "0.1", met=False),
        Figure("B", "only told", 12.34, "ms"),
    ])  # fmt: skip
    assert text.splitlines()[0] == "A"
    assert "✓ kept" in text
    assert "2,000 samples/s   (promised: 1,000)" in text
    assert "✗ not kept" in text
    assert "12.3 ms" in text
    assert "promised" not in text.splitlines()[-1]
    main(["--quick"])
    assert f"python     {sys.version.split()[0]}" in capsys.readouterr().out


def test_the_holds_by_query_are_the_judge_s() -> None:
    """pandas, DuckDB and the judge find the same windows, so that their times can be compared."""
    judged, drive = plan(), steady_drive(5_000, 2_000)
    attempts = judge_recording(judged, drive).attempts
    hold = judged.captures[0]
    mine = [(a.start_us, a.end_us) for a in attempts[hold.id] if a.outcome is Outcome.SECURED]
    frame = frame_of(drive)
    query = duckdb_query(frame)
    assert len(mine) > 3
    assert with_pandas(frame, hold) == with_pandas_and_silence(frame, hold) == mine
    assert query is not None
    assert query(hold) == mine


@pytest.mark.parametrize("signal", ["coolant_temp", "lambda_1"])
def test_the_query_that_looks_for_silence_is_the_judge_s(signal: str) -> None:
    """Where a signal of the bands or one that is recorded falls silent, it and the judge part the window alike."""
    judged, drive = plan(), steady_drive(5_000, 2_000)
    hold, series = judged.captures[0], drive.series[signal]
    kept = np.ones(len(series), dtype=bool)
    kept[1050:1080] = kept[1900:1904] = False  # three seconds, and less than half a one
    gappy = Recording({**drive.series, signal: Series(series.t_us[kept], series.value[kept])})
    attempts = judge_recording(judged, gappy).attempts
    mine = [(a.start_us, a.end_us) for a in attempts[hold.id] if a.outcome is Outcome.SECURED]
    frame = frame_of(drive)
    frame.loc[~kept, signal] = np.nan
    assert with_pandas_and_silence(frame, hold) == mine
    assert with_pandas(frame, hold) != mine


def test_the_noisy_drive_is_judged_alike_live_and_afterwards() -> None:
    """The drive with the most edges gives the same events both ways."""
    drive = noisy_drive(2_000)
    assert judge_instants(plan(1.0), drive).events == judge_recording(plan(1.0), drive).events


def test_collecting_is_judged_alike_live_and_afterwards() -> None:
    """The drive of the row with cells visits some of them, and gives the same events both ways."""
    drive = steady_drive(3_000, 1_000)
    verdict = judge_recording(collecting(), drive)
    assert judge_instants(collecting(), drive).events == verdict.events
    assert sum(a.outcome is Outcome.SECURED for a in verdict.attempts["cells"]) > 3


def test_a_disagreement_stops_the_benchmark() -> None:
    """Figures of two programs that do not compute the same are worth nothing."""
    _same("pandas", [[(0, 1)]], [[(0, 1)]])
    with pytest.raises(SystemExit, match="pandas and the judge disagree"):
        _same("pandas", [[(0, 1)]], [[(0, 2)]])


@pytest.mark.usefixtures("no_polling")
def test_without_duckdb_the_rest_is_measured(monkeypatch: pytest.MonkeyPatch) -> None:
    """DuckDB is no dependency: where it is not installed, its line is left out."""
    monkeypatch.setitem(sys.modules, "duckdb", None)
    found = figures(quick=True)
    assert not any("DuckDB" in f.what for f in found)
    assert any("pandas query" in f.what for f in found)


def test_the_drives_have_ten_signals() -> None:
    """As the promise says: ten signals, three captures."""
    assert len(MEANS) == 10
    assert steady_drive(10, 1000).samples == 100
    assert len(plan().captures) == 3
    assert machine()["cores"].isdigit()


def test_without_a_browser_the_row_says_so(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    """No Chromium, or no Playwright: a row without a number, and no failure; as text a dash."""
    monkeypatch.delenv("COACH_BROWSER", raising=False)
    monkeypatch.setattr("coach.bench.page.shutil.which", lambda _: None)
    (row,), (other,) = page(1, 0.1), opening(0.01, 1)
    assert other.what == row.what
    assert other.value is None
    assert (row.what, row.value, row.met) == (
        "not measured: there is no Chromium; COACH_BROWSER names one", None, None,
    )  # fmt: skip
    assert table([row]).rstrip().endswith("–")
    monkeypatch.setitem(sys.modules, "playwright.sync_api", None)
    (row,), (other,) = page(1, 0.1), opening(0.01, 1)
    assert other.what == row.what
    assert other.value is None
    assert row.what == "not measured: Playwright is not installed"
