"""An archive: everything judged, nothing twice, one bad file never stops the rest, the same on every runner."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from coach.catalogue import default_catalogue
from coach.core.spec import RULES
from coach.csvout import table_chunks
from coach.desk.archive import JOURNAL, PARQUET, SUMMARY, Task, find_tasks, flat, judge_archive, summarise
from coach.desk.judge_file import judge_file
from coach.desk.runners import KILLED, Cluster, Here, Pool
from coach.errors import BadInput
from coach.recording import US, from_pairs
from tests.desk import killers

RECIPE = b"""
format = 1
title = "Steady"
[record]
road_speed = "1 Hz"
[[capture]]
id = "steady"
hold = "20 s"
keep = { road_speed = { min = "70 km/h", max = "90 km/h" } }
[[capture]]
id = "pieces"
collect = "30 s"
keep = { road_speed = { min = "70 km/h", max = "90 km/h" } }
"""


def write_drive(path: Path, speeds) -> None:
    recording = from_pairs([(i * US, "road_speed", float(v)) for i, v in enumerate(speeds)])
    path.write_bytes(b"".join(table_chunks(recording, default_catalogue(), form="wide")))


@pytest.fixture
def folder(tmp_path):
    made = tmp_path / "drives"
    (made / "deeper").mkdir(parents=True)
    write_drive(made / "good.csv", [80] * 40)
    write_drive(made / "short.csv", [80] * 10 + [50] + [80] * 10)
    write_drive(made / "deeper" / "slow.csv", [30] * 40)
    (made / "broken.csv").write_bytes(b"\x00\x01\x02")
    (made / "broken.zip").write_bytes(b"PK nothing")
    (made / "notes.txt").write_text("not a drive")
    return made


def test_everything_is_found_in_order(folder):
    """Drives and bundles at every depth, by path; other files are passed over."""
    names = [Path(t.path).name for t in find_tasks(folder, RECIPE, None)]
    assert names == ["broken.csv", "broken.zip", "good.csv", "short.csv", "slow.csv"]


def test_an_empty_folder_is_a_sentence(tmp_path):
    """And so is one that is not there."""
    with pytest.raises(BadInput, match="there is no file of"):
        find_tasks(tmp_path, RECIPE, None)
    with pytest.raises(BadInput, match="there is no such folder"):
        find_tasks(tmp_path / "nowhere", RECIPE, None)


def test_what_came_of_it_is_summed_up(folder, tmp_path):
    """Two bad files, one complete drive, and why the others fell short."""
    seen = []
    summary = judge_archive(
        find_tasks(folder, RECIPE, None), tmp_path / "out", Here(), lambda n, bad: seen.append((n, bad))
    )
    assert (summary["files"], summary["bad_files"], summary["drives"], summary["complete"]) == (5, 2, 3, 1)
    assert summary["captures"]["steady"] == {"drives": 3, "qualified": 1, "reasons": {"low": 1, "no_attempt": 1}}
    assert summary["captures"]["pieces"]["qualified"] == 1
    assert summary["rules"] == RULES
    assert seen == [(0, False), (1, True), (2, True), (3, False), (4, False), (5, False)]
    assert json.loads((tmp_path / "out" / SUMMARY).read_text()) == summary


def test_results_are_parquet_that_duckdb_reads(folder, tmp_path):
    """A row a capture; a bad file has its sentence and no capture."""
    duckdb = pytest.importorskip("duckdb")
    out = tmp_path / "out"
    judge_archive(find_tasks(folder, RECIPE, None), out, Here())
    rows = duckdb.sql(
        f"SELECT parse_filename(file), capture, qualified, reason, error FROM '{out / PARQUET}' ORDER BY 1, 2"
    ).fetchall()
    assert len(rows) == 8
    assert rows[0][:2] == ("broken.csv", None)
    assert rows[0][4]
    assert ("good.csv", "pieces", 1, None, None) in rows
    assert ("short.csv", "steady", 0, "low", None) in rows


def test_nothing_is_judged_twice(folder, tmp_path):
    """A second run judges nothing; a changed file, another recipe or a new file is judged again."""
    out = tmp_path / "out"

    class Counting(Here):
        def __init__(self):
            self.names = []

        def run(self, tasks):
            for task, result in super().run(tasks):
                self.names.append(Path(task.path).name)
                yield task, result

    def names(recipe=RECIPE):
        runner = Counting()
        judge_archive(find_tasks(folder, recipe, None), out, runner)
        return runner.names

    assert len(names()) == 5
    assert names() == []
    write_drive(folder / "good.csv", [80] * 41)
    assert names() == ["good.csv"]
    assert len(names(RECIPE.replace(b"20 s", b"21 s"))) == 5


def test_a_run_that_was_cut_off_goes_on(folder, tmp_path):
    """The last line of the journal is torn: only that file and those after it are judged."""
    out = tmp_path / "out"
    whole = judge_archive(find_tasks(folder, RECIPE, None), out, Here())
    journal = out / JOURNAL
    lines = journal.read_bytes().splitlines(keepends=True)
    journal.write_bytes(b"".join(lines[:2]) + lines[2][:30])
    assert judge_archive(find_tasks(folder, RECIPE, None), out, Here()) == whole
    assert len(journal.read_bytes().splitlines()) == 5


def test_a_pool_says_the_same(folder, tmp_path):
    """Processes of their own, the same results in the same order of files."""
    tasks = find_tasks(folder, RECIPE, None)
    here = judge_archive(tasks, tmp_path / "here", Here())
    assert judge_archive(tasks, tmp_path / "pool", Pool(2)) == here


def test_a_file_that_kills_its_process_is_named_and_the_rest_goes_on():
    """Two of twelve end their process; all have a result, each once."""
    names = [f"{'killer' if i in (3, 8) else 'fine'}{i}.zip" for i in range(12)]
    tasks = [Task(f"/x/{name}", "1-1", None, None) for name in names]
    results = list(Pool(2, killers.judge).run(tasks))
    assert sorted(t.path for t, _ in results) == sorted(t.path for t in tasks)
    assert {Path(t.path).name for t, r in results if r["error"] == KILLED} == {"killer3.zip", "killer8.zip"}


def test_a_real_cluster_says_the_same(folder, tmp_path):
    """A Dask scheduler and a worker on this machine, over TCP."""
    distributed = pytest.importorskip("distributed")
    tasks = find_tasks(folder, RECIPE, None)
    here = judge_archive(tasks, tmp_path / "here", Here())
    with distributed.LocalCluster(
        n_workers=1, threads_per_worker=1, dashboard_address=None, host="127.0.0.1", processes=True
    ) as cluster:
        assert judge_archive(tasks, tmp_path / "cluster", Cluster(cluster.scheduler_address)) == here


def test_no_scheduler_is_a_sentence():
    """An address where nobody listens."""
    pytest.importorskip("distributed")
    with pytest.raises(BadInput, match="no scheduler answers there"):
        list(Cluster("tcp://nowhere").run([Task("/x", "1-1", None, None)]))


def test_a_table_needs_a_recipe(folder):
    """It carries none of its own."""
    task = find_tasks(folder, None, None)[2]
    assert "carries no recipe" in judge_file(task)["error"]


def test_judging_loads_no_python_obd(folder):
    """What a scheduler's worker loads is free of it (docs/decisions/licence.md)."""
    code = (
        "import sys; from coach.desk.judge_file import judge_file; from coach.desk.archive import find_tasks; "
        "from pathlib import Path; "
        f"r = [judge_file(t) for t in find_tasks(Path({str(folder)!r}), {RECIPE!r}, None)]; "
        "assert len(r) == 5; print(sorted(m for m in sys.modules if m == 'obd' or m.startswith('obd.')))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_rows_and_sums_of_nothing():
    """An empty archive has neither."""
    assert list(flat([])) == []
    assert summarise([])["files"] == 0
