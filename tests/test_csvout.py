from __future__ import annotations

import csv
import gzip
import io

import numpy as np
import pytest

from coach.catalogue import default_catalogue
from coach.csvout import table_chunks, write_table
from coach.recording import Recording, Series, from_pairs
from coach.signals import Signal

CATALOGUE = default_catalogue()
DRIVE = from_pairs(
    [(0, "engine_speed", 900.0), (0, "road_speed", 10.0), (250_000, "engine_speed", 901.25),
     (1_000_000, "road_speed", 11.0), (1_000_000, "coolant_temp", float("nan"))]
)  # fmt: skip


def text(recording, catalogue=CATALOGUE, form="wide"):
    return b"".join(table_chunks(recording, catalogue, form=form)).decode()


def test_wide():
    """A column a signal with its unit, a row a stamp, empty cells for no sample, line feeds."""
    assert text(DRIVE) == (
        "time [s],engine_speed [rpm],road_speed [km/h],coolant_temp [degC]\n"
        "0.000,900.00,10,\n"
        "0.250,901.25,,\n"
        "1.000,,11,#N/A\n"
    )


def test_long():
    """A row a sample, by time, with the unit in a column of its own."""
    assert text(DRIVE, form="long") == (
        "time [s],signal,value,unit\n"
        "0.000,engine_speed,900.00,rpm\n"
        "0.000,road_speed,10,km/h\n"
        "0.250,engine_speed,901.25,rpm\n"
        "1.000,road_speed,11,km/h\n"
        "1.000,coolant_temp,#N/A,degC\n"
    )


@pytest.mark.parametrize(
    ("values", "expected"),
    [
        ([39.22, 100.0], ["39.22", "100.00"]),
        ([100 / 255], ["0.39215686274509803"]),
        ([0.1 + 0.2], ["0.30000000000000004"]),
        ([1e300, 1.5], ["1e+300", "1.5"]),
        ([-0.5, 0.0], ["-0.5", "0.0"]),
    ],
)
def test_decimals(values, expected):
    """As many decimals for all values of a signal as lose nothing; where six are too few, digits that do."""
    drive = from_pairs([(i * 1000, "pedal", v) for i, v in enumerate(values)])
    assert [row.split(",")[1] for row in text(drive).splitlines()[1:]] == expected


def test_microseconds_only_where_needed():
    """Times have three decimals, or six for the whole table where a stamp needs them; also before zero."""
    assert [r.split(",")[0] for r in text(from_pairs([(-1500, "gear", 1.0), (1, "gear", 2.0)])).splitlines()[1:]] == [
        "-0.001500",
        "0.000001",
    ]


def test_names_and_units_are_quoted_where_they_must_be():
    """A name with a delimiter or a quote comes back whole from any reader of CSV."""
    odd = Signal('say "hi", you', "Odd", "Odd", "km/h", "speed", 0, 1)
    drive = from_pairs([(0, odd.name, 1.0)])
    catalogue = CATALOGUE.with_signals([odd])
    assert next(csv.reader(io.StringIO(text(drive, catalogue)))) == ["time [s]", 'say "hi", you [km/h]']
    assert list(csv.reader(io.StringIO(text(drive, catalogue, "long"))))[1] == ["0.000", 'say "hi", you', "1", "km/h"]


def test_signals_that_the_catalogue_has_not():
    """They are written without a unit."""
    assert text(from_pairs([(0, "own", 1.5)])) == "time [s],own\n0.000,1.5\n"
    assert text(from_pairs([(0, "own", 1.5)]), form="long").endswith("0.000,own,1.5,\n")


def test_nothing_recorded():
    """Only the header is written."""
    empty = Recording({"gear": Series(np.zeros(0, np.int64), np.zeros(0))})
    assert text(empty) == "time [s]\n"
    assert text(empty, form="long") == "time [s],signal,value,unit\n"


def test_long_drives_come_in_pieces():
    """Pieces are bounded, and their seams do not show."""
    count = 45_000
    drive = Recording({"road_speed": Series(np.arange(count, dtype=np.int64) * 1000, np.arange(count) % 200 + 0.0)})
    for form in ("wide", "long"):
        pieces = list(table_chunks(drive, CATALOGUE, form=form))
        assert len(pieces) == 4
        rows = b"".join(pieces).decode().splitlines()
        assert len(rows) == count + 1
        assert rows[20_001].startswith("20.000,")


def test_files_are_the_same_byte_for_byte(tmp_path):
    """Plain and packed files depend on the samples only, not on name or time of writing."""
    for name in ("a.csv", "b.csv", "a.csv.gz", "b.csv.gz"):
        write_table(DRIVE, tmp_path / name, CATALOGUE)
    assert (tmp_path / "a.csv").read_bytes() == (tmp_path / "b.csv").read_bytes()
    packed = (tmp_path / "a.csv.gz").read_bytes()
    assert packed == (tmp_path / "b.csv.gz").read_bytes()
    assert gzip.decompress(packed) == (tmp_path / "a.csv").read_bytes()
