"""Tables for other programs, read back by others: pandas, DuckDB, csv. Values, units and time base are equal."""

from __future__ import annotations

import csv
import json
import sys

import duckdb
import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner

from coach.bundle.export import stored_part, write_parquet
from coach.catalogue import default_catalogue
from coach.cli.cmd_export import export
from coach.errors import BadInput, CoachError, NotFound, StoreError
from coach.recording import Recording, Series
from coach.store.reading import Reader

ODD = Recording(
    {
        "road_speed": Series(np.array([0, 500_000, 1_000_001]), np.array([80.0, np.nan, 82.5])),
        "engine_speed": Series(np.array([0, 250_000]), np.array([1500.25, 1501.0])),
        "nobody_knows": Series(np.array([1_000_001]), np.array([-1e-9])),
    },
    wall_us=1_700_000_000_000_000,
)
"""A stamp off the millisecond, a sample that could not be read, a signal of no catalogue."""


def run(*words):
    return CliRunner().invoke(export, [str(w) for w in words])


@pytest.fixture
def reader(stored):
    return Reader(stored[0] / "coach.db")


@pytest.mark.parametrize("form", ["wide", "long"])
@pytest.mark.parametrize("kind", ["csv", "parquet"])
def test_a_drive_comes_back_equal(stored, reader, tmp_path, form, kind):
    """Every signal, by an independent reader of each format."""
    out = tmp_path / f"d.{kind}"
    result = run(stored[1], f"--{kind}", "--form", form, "-o", out, "--data", stored[0])
    assert result.exit_code == 0, result.output
    table = pd.read_csv(out) if kind == "csv" else duckdb.sql(f"SELECT * FROM '{out}'").df()
    catalogue = default_catalogue()
    kept = reader.recording(stored[1])
    for name, series in kept.series.items():
        unit = catalogue[name].unit
        if form == "wide":
            rows = table[["time [s]", f"{name} [{unit}]"]].dropna()
            value = rows[f"{name} [{unit}]"]
        else:
            rows = table[table["signal"] == name]
            value = rows["value"]
            assert set(rows["unit"]) == {unit}
        np.testing.assert_array_equal(rows["time [s]"].to_numpy(), series.t_us / 1e6)
        np.testing.assert_array_equal(value.to_numpy(), series.value)
    assert f"{kept.samples} samples of {len(kept.series)} signals" in result.output.replace(",", "")


def test_a_window_comes_with_what_is_around_it(stored, reader, tmp_path):
    """The same samples as the window's own file has; by the first that qualified, or by number."""
    out = tmp_path / "w.csv"
    assert run(stored[1], "--window", "part-load", "-o", out, "--data", stored[0]).exit_code == 0
    first = out.read_text()
    assert run(stored[1], "--window", "part-load", "--number", 1, "-o", out, "--data", stored[0]).exit_code == 0
    assert out.read_text() == first
    with out.open(newline="") as file:
        times = [float(row["time [s]"]) for row in csv.DictReader(file)]
    attempt = reader.attempts(stored[1])[0]
    assert (times[0], times[-1]) == (attempt.start_us / 1e6 - 3, attempt.end_us / 1e6 + 2)
    assert run(stored[1], "--window", "part-load", "--number", 2, "-o", out, "--data", stored[0]).exit_code == 0
    assert out.read_text() != first


def test_names_of_files_that_nobody_gave(stored, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert run(stored[1], "--data", stored[0]).exit_code == 0
    assert run(stored[1], "--window", "part-load", "--parquet", "--data", stored[0]).exit_code == 0
    assert sorted(p.name for p in tmp_path.iterdir()) == [f"{stored[1]}-part-load.parquet", f"{stored[1]}.csv"]


def test_a_file_called_parquet_is_parquet(stored, tmp_path):
    """Nobody has to say it twice; who says CSV gets CSV, whatever the file is called."""
    out = tmp_path / "drive.parquet"
    assert run(stored[1], "-o", out, "--data", stored[0]).exit_code == 0
    assert out.read_bytes()[:4] == b"PAR1"
    assert run(stored[1], "--csv", "-o", out, "--data", stored[0]).exit_code == 0
    assert out.read_bytes()[:4] == b"time"


def test_no_sample_and_an_unreadable_one_are_two_things(tmp_path):
    """In Parquet null is no sample and NaN one that could not be read; odd stamps and tiny values stay."""
    out = tmp_path / "o.parquet"
    write_parquet(ODD, default_catalogue(), out, "wide")
    rows = duckdb.sql(f"SELECT * FROM '{out}'").fetchall()
    assert [r[0] for r in rows] == [0.0, 0.25, 0.5, 1.000001]
    speed = [r[1] for r in rows]
    assert speed[0] == 80.0
    assert speed[1] is None
    assert np.isnan(speed[2])
    assert speed[3] == 82.5
    assert rows[3][3] == -1e-9
    names = [c[0] for c in duckdb.sql(f"DESCRIBE SELECT * FROM '{out}'").fetchall()]
    assert names == ["time [s]", "road_speed [km/h]", "engine_speed [rpm]", "nobody_knows"]
    write_parquet(ODD, default_catalogue(), out, "long")
    long = duckdb.sql(f"SELECT * FROM '{out}'").fetchall()
    assert [(r[0], r[1], r[3]) for r in long] == [
        (0.0, "road_speed", "km/h"), (0.0, "engine_speed", "rpm"), (0.25, "engine_speed", "rpm"),
        (0.5, "road_speed", "km/h"), (1.000001, "road_speed", "km/h"), (1.000001, "nobody_knows", ""),
    ]  # fmt: skip
    assert np.isnan(long[3][2])


def test_units_and_clock_stand_in_the_files_own_metadata(tmp_path):
    out = tmp_path / "it's.parquet"
    write_parquet(ODD, default_catalogue(), out, "wide")
    quoted = str(out).replace("'", "''")
    rows = duckdb.sql(f"SELECT key, value FROM parquet_kv_metadata('{quoted}')").fetchall()
    told = {bytes(k).decode() if isinstance(k, bytes) else k: bytes(v).decode() for k, v in rows}
    assert json.loads(told["units"]) == {"engine_speed": "rpm", "road_speed": "km/h"}
    assert told["wall_us"] == "1700000000000000"
    assert "first sample" in told["time"]


@pytest.mark.parametrize("form", ["wide", "long"])
def test_a_drive_without_samples(tmp_path, form):
    """An empty table, and no error."""
    write_parquet(Recording({}), default_catalogue(), tmp_path / "e.parquet", form)
    assert duckdb.sql(f"SELECT * FROM '{tmp_path / 'e.parquet'}'").fetchall() == []


def test_what_cannot_be_exported_is_said(stored, reader, tmp_path, monkeypatch):
    """No such drive, window, attempt, folder; nothing is left behind."""
    with pytest.raises(NotFound):
        stored_part(reader, "20000101-000000", None, None)
    with pytest.raises(NotFound, match="no window of it qualified"):
        stored_part(reader, stored[1], "pull", None)
    with pytest.raises(NotFound, match="no attempt 9"):
        stored_part(reader, stored[1], "part-load", 8)
    for words in (
        [stored[1], "--number", 1, "--data", stored[0]],
        [stored[1], "-o", tmp_path / "no" / "x.csv", "--data", stored[0]],
        [stored[1], "--parquet", "-o", tmp_path / "no" / "x.parquet", "--data", stored[0]],
        [stored[1], "-o", tmp_path / "x.csv", "--data", tmp_path],
    ):
        assert isinstance(run(*words).exception, CoachError)
    (tmp_path / "folder.parquet").mkdir()
    with pytest.raises(StoreError):
        write_parquet(ODD, default_catalogue(), tmp_path / "folder.parquet", "wide")
    monkeypatch.setitem(sys.modules, "duckdb", None)
    with pytest.raises(BadInput, match="archive"):
        write_parquet(ODD, default_catalogue(), tmp_path / "x.parquet", "wide")
    assert [p.name for p in tmp_path.iterdir()] == ["folder.parquet"]


def test_duckdb_refuses(tmp_path, monkeypatch):
    """Whatever DuckDB says is one sentence."""
    monkeypatch.setattr("coach.bundle.export._name", lambda _: '"a" FROM nowhere; --')
    with pytest.raises(StoreError, match="cannot be written"):
        write_parquet(ODD, default_catalogue(), tmp_path / "x.parquet", "wide")
    assert list(tmp_path.iterdir()) == []
