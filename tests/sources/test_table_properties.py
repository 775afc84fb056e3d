"""Writing then reading brings back the same samples; hostile bytes give a recording or a sentence, and nothing else."""

from __future__ import annotations

import gzip
import tempfile
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.catalogue import default_catalogue
from coach.csvout import table_chunks, write_table
from coach.errors import TableError
from coach.recording import Recording, Series
from coach.sources import table_bytes
from coach.sources.table import read_table

CATALOGUE = default_catalogue()
NAMES = ["engine_speed", "road_speed", "coolant_temp", "lambda_1", "gear_reported", "lamp", "pedal", "rail_pressure"]

VALUES = st.one_of(
    st.floats(allow_nan=False, allow_infinity=False),
    st.integers(-(10**6), 10**6).map(lambda n: n / 100),
    st.integers(0, 255).map(lambda n: n * 100 / 255),
    st.sampled_from([0.0, -0.0, 1e-300, 1.7e308, float("nan"), 0.1 + 0.2]),
)


@st.composite
def recordings(draw):
    """Drives of a few signals, with times of whole milliseconds or microseconds, some signals sampled together."""
    unit = draw(st.sampled_from([1, 1000]))
    stamps = st.lists(st.integers(0, 10**8), unique=True, max_size=20).map(sorted)
    common = draw(stamps)
    series = {}
    for name in draw(st.lists(st.sampled_from(NAMES), unique=True, min_size=1)):
        times = common if draw(st.booleans()) else draw(stamps)
        values = draw(st.lists(VALUES, min_size=len(times), max_size=len(times)))
        if times:
            series[name] = (np.array(times, dtype=np.int64) * unit, np.array(values, dtype=np.float64))
    zero = min((int(t[0]) for t, _ in series.values()), default=0)
    return Recording({name: Series(t - zero, v) for name, (t, v) in series.items()})


def same(a, b):
    return a.series.keys() == b.series.keys() and all(
        np.array_equal(s.t_us, b.series[n].t_us) and np.array_equal(s.value, b.series[n].value, equal_nan=True)
        for n, s in a.series.items()
    )


@pytest.mark.parametrize("form", ["wide", "long"])
@pytest.mark.parametrize("suffix", [".csv", ".csv.gz"])
@given(recording=recordings())
def test_write_then_read(form, suffix, recording):
    """Times to the microsecond and values to the last bit, a sample that could not be read included."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"drive{suffix}"
        write_table(recording, path, CATALOGUE, form=form)
        if not recording.samples:
            with pytest.raises(TableError):
                read_table(path, CATALOGUE)
            return
        back = read_table(path, CATALOGUE)
        assert same(recording, back)
        again = Path(folder) / f"again{suffix}"
        write_table(Recording({n: back.series[n] for n in recording.series}), again, CATALOGUE, form=form)
        assert path.read_bytes() == again.read_bytes()


@given(recording=recordings())
def test_wide_and_long_say_the_same(recording):
    """Both forms read back to the same drive."""
    if not recording.samples:
        return
    with tempfile.TemporaryDirectory() as folder:
        read = []
        for form in ("wide", "long"):
            path = Path(folder) / f"{form}.csv"
            path.write_bytes(b"".join(table_chunks(recording, CATALOGUE, form=form)))
            read.append(read_table(path, CATALOGUE))
        assert same(*read)


def attempt(data):
    """Reads `data` in small blocks; what comes is a recording that keeps its promises, or a TableError."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "drive.csv"
        path.write_bytes(data)
        refused = None
        try:
            recording = read_table(path, CATALOGUE)
        except TableError as error:
            refused = error
    if refused is not None:
        assert "\n" not in str(refused)
        assert refused.where
        return
    assert recording.samples > 0
    for series in recording.series.values():
        assert np.all(np.diff(series.t_us) > 0)
        assert not np.any(np.isinf(series.value))
        assert len(series.t_us) == len(series.value)
    assert min(int(s.t_us[0]) for s in recording.series.values() if len(s)) == 0


@pytest.fixture(scope="module", autouse=True)
def small_blocks():
    """Blocks of a few lines, so that their seams are met too."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(table_bytes, "BLOCK", 200)
        yield


@given(data=st.binary(max_size=400))
def test_any_bytes(data):
    """Bytes of no kind at all."""
    attempt(data)


@given(data=st.binary(max_size=200))
def test_any_packed_bytes(data):
    """Bytes that begin like a packed file, and packed bytes."""
    attempt(b"\x1f\x8b" + data)
    attempt(gzip.compress(data))


CELLS = st.one_of(
    st.sampled_from(
        ["", " ", "0", "1", "2.5", "2,5", "-1", "1e9", "1e999", "nan", "NaN", "n/a", "#N/A", "inf", "-", "null", "True",
         "00:00:01", "23:59:59.9", "24:00:00", "2026-05-04T10:00:00Z", "2026-13-40 10:00:00", "rpm", "road_speed",
         "km/h", "°C", '"', '"1"', '"a""b"', "1;2", "\0", "\r", "\ufeff", "\ud7ff", "=1+1", "9" * 400, "١", "0x1"]
    ),
    st.text(max_size=8),
)  # fmt: skip
HEADERS = st.one_of(
    st.sampled_from(
        ["time", "time [ms]", "t_s", "timestamp", "rpm", "road_speed [km/h]", "speed [mph]", "coolant_temp [Â°C]",
         "gear", "lamp", "signal", "value", "unit", "", "map [psi]", "foo", "lambda (sensor 1)", '"quoted, name"']
    ),
    st.text(max_size=12),
)  # fmt: skip


@given(
    header=st.lists(HEADERS, min_size=1, max_size=6),
    rows=st.lists(st.lists(CELLS, max_size=7), max_size=30),
    delimiter=st.sampled_from([",", ";", "\t"]),
    end=st.sampled_from(["\n", "\r\n", "\r"]),
    encoding=st.sampled_from(["utf-8", "utf-16", "latin-1"]),
    cut=st.integers(0, 5),
)
def test_anything_like_a_table(header, rows, delimiter, end, encoding, cut):
    """Lines that look like a table, with whatever in the cells, in any encoding, cut anywhere near the end."""
    text = end.join(delimiter.join(line) for line in [header, *rows])
    data = text.encode(encoding, "replace")
    attempt(data[: len(data) - cut])


@given(
    times=st.lists(st.one_of(st.integers(0, 20), st.just("")), min_size=1, max_size=40),
    form=st.sampled_from(["wide", "long"]),
)
def test_times_in_any_order(times, form):
    """A naive reader agrees: a stamp before the largest so far is left out, of equal ones the first stands."""
    rows = [(t, i) for i, t in enumerate(times)]
    header = "time [s],rpm\n" if form == "wide" else "time [s],signal,value\n"
    lines = [f"{t},{i}\n" if form == "wide" else f"{t},rpm,{i}\n" for t, i in rows]
    expected, top = [], -1
    for t, i in rows:
        if t != "" and t > top:
            expected.append((t, i))
            top = t
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "drive.csv"
        path.write_text(header + "".join(lines))
        if not expected:
            with pytest.raises(TableError):
                read_table(path, CATALOGUE)
            return
        series = read_table(path, CATALOGUE).series["engine_speed"]
    assert (
        list(zip((series.t_us // 1_000_000 + expected[0][0]).tolist(), series.value.tolist(), strict=True)) == expected
    )
