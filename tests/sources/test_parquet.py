"""Drives in Parquet, written by DuckDB itself, so that what others write is read too."""

from __future__ import annotations

import numpy as np
import pytest

from coach.catalogue import default_catalogue
from coach.errors import TableError
from coach.sources.parquet import read_parquet

duckdb = pytest.importorskip("duckdb")
CATALOGUE = default_catalogue()


def written(tmp_path, select: str):
    path = tmp_path / "drive.parquet"
    duckdb.sql(f"COPY ({select}) TO '{path}' (FORMAT parquet)")
    return path


def read(tmp_path, select: str):
    return read_parquet(written(tmp_path, select), CATALOGUE)


def test_a_wide_table(tmp_path):
    """A column a signal in its own unit; null is no sample, NaN one that could not be read."""
    made = read(tmp_path, """SELECT * FROM (VALUES (10.0, 50.0, 2000), (10.5, NULL, 2100), (11.0, 'nan'::DOUBLE, NULL))
                             AS t("time [s]", "road_speed [mph]", "engine_speed [rpm]")""")  # fmt: skip
    speed, engine = made.series["road_speed"], made.series["engine_speed"]
    assert speed.t_us.tolist() == [0, 1_000_000]
    assert speed.value[0] == pytest.approx(80.4672)
    assert np.isnan(speed.value[1])
    assert (engine.t_us.tolist(), engine.value.tolist()) == ([0, 500_000], [2000.0, 2100.0])


def test_a_long_table(tmp_path):
    """A row a sample; a unit of its own, or none."""
    made = read(tmp_path, """SELECT * FROM (VALUES (0.0, 'road_speed', 50.0, 'mph'), (0.1, 'engine_speed', 2000.0, ''),
        (0.2, 'road_speed', 51.0, 'mph'), (0.3, 'no_such', 1.0, ''), (0.4, 'pedal', 1.0, 'kPa'))
        AS t("time [s]", signal, value, unit)""")  # fmt: skip
    assert made.series["road_speed"].value == pytest.approx([80.4672, 82.076544])
    assert set(made.series) == {"road_speed", "engine_speed"}
    assert sorted(n.code for n in made.notes) == ["unknown", "unknown_unit"]


def test_rows_out_of_order_are_sorted_and_doubles_noted(tmp_path):
    """Of two samples with one stamp the first stands."""
    made = read(tmp_path, """SELECT * FROM (VALUES (2.0, 3.0), (1.0, 1.0), (1.0, 2.0)) AS t("time [s]", pedal)""")
    assert made.series["pedal"].value.tolist() == [1.0, 3.0]
    assert [(n.code, n.count) for n in made.notes] == [("same_time", 1)]


@pytest.mark.parametrize(
    ("select", "sentence"),
    [
        ('SELECT 1.0 AS pedal', "there is no time column"),
        ('SELECT 1.0 AS "time [s]", 2.0 AS nonsense', "no column carries a signal"),
        ('SELECT 1.0 AS "time [s]", 2.0 AS pedal WHERE false', "there are no rows"),
        ('SELECT NULL::DOUBLE AS "time [s]", 2.0 AS pedal', "a row has no time"),
        ("SELECT 'inf'::DOUBLE AS \"time [s]\", 2.0 AS pedal", "a row has no time"),
        ('SELECT 1e30 AS "time [s]", 2.0 AS pedal', "beyond all that can be told"),
        ("SELECT 1.0 AS \"time [s]\", 'x' AS pedal", "does not hold numbers"),
        ('SELECT 1.0 AS "time [s]", NULL::DOUBLE AS pedal', "no column carries a signal"),
    ],
)  # fmt: skip
def test_a_file_that_is_no_drive_gets_a_sentence(tmp_path, select, sentence):
    """What is wrong, never a traceback."""
    with pytest.raises(TableError, match=sentence):
        read(tmp_path, select)


def test_a_file_that_is_no_parquet(tmp_path):
    """Nor one that is not there, nor one that is too large."""
    path = tmp_path / "x.parquet"
    with pytest.raises(TableError, match="no such file"):
        read_parquet(path, CATALOGUE)
    path.write_bytes(b"PAR1 nothing PAR1")
    with pytest.raises(TableError, match="this is no Parquet file"):
        read_parquet(path, CATALOGUE)
    path = written(tmp_path, 'SELECT range / 10.0 AS "time [s]", 1.0 AS pedal FROM range(100)')
    with pytest.raises(TableError, match="more than 5e-05 million samples"):
        read_parquet(path, CATALOGUE, most_samples=50)
