"""A table that is read whole and one that is read block by block are the same drive, or get the same sentence."""

from __future__ import annotations

import tempfile
from contextlib import suppress
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.catalogue import default_catalogue
from coach.errors import TableError
from coach.sources import table_bytes, table_whole
from coach.sources.columns import Columns
from coach.sources.table import read_table
from coach.sources.table_bytes import TableFile
from coach.sources.table_layout import find_layout
from coach.sources.table_whole import whole_table

CATALOGUE = default_catalogue()
NEVER = 1 << 62


@pytest.fixture(scope="module", autouse=True)
def small_parts():
    """Any table is read whole, pandas cuts it into parts of a few lines, and few lines count as the first ones."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(table_whole, "LEAST_BYTES", 0)
        patch.setattr(table_whole, "_PLACES", 1)
        patch.setattr(table_bytes, "_HEAD", 96)
        patch.setattr(table_bytes, "BLOCK", 400)
        patch.setattr(pd.io.parsers.readers, "_PARALLEL_READ_MIN_BYTES", 60)
        patch.setattr(pd.io.parsers.readers, "_PARALLEL_MIN_CHUNK_ROWS", 1)
        yield


def whole(path, most_samples=NEVER):
    """What is read whole of a table, or None."""
    with TableFile(path) as file, suppress(TableError):
        file.open_header()
        return whole_table(file, find_layout(file, CATALOGUE, Columns()), most_samples)
    return None


def outcome(path):
    """Everything that a reader says of a table, as one thing to compare; values by their bits."""
    try:
        recording = read_table(path, CATALOGUE)
    except TableError as error:
        return error.message, error.where
    series = {n: (s.t_us.tolist(), s.value.view(np.int64).tolist()) for n, s in recording.series.items()}
    return series, recording.notes, recording.meta, recording.wall_us


def both(path):
    """A table read whole where it can be, and block by block."""
    quick = outcome(path)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(table_whole, "LEAST_BYTES", NEVER)
        careful = outcome(path)
    return quick, careful


def made(folder, data):
    path = Path(folder) / "drive.csv"
    path.write_bytes(data if isinstance(data, bytes) else data.encode())
    return path


LINES = [f"{i / 10},{900 + i},{'' if i % 4 else i / 7},a{i}" for i in range(60)]
HEAD = "time [s],rpm,speed [km/h],what"
EVEN = "\n".join([HEAD, *LINES, ""])
NUMBERS = EVEN.replace("a", "").replace("wht", "pedal")


@pytest.mark.parametrize(
    "text",
    [
        EVEN,
        EVEN.replace("\n", "\r\n"),
        NUMBERS,
        NUMBERS.replace("\n", "\r\n"),
        "# by hand\n\nsep=,\n" + EVEN,
        "".join(f"{line},\n" for line in EVEN.splitlines()),
        EVEN.replace(",", "\t"),
        "time;rpm;what\n" + "".join(f"10:{i // 60:02}:{i % 60:02}.25;{i},5;x\n" for i in range(200)),
        "what,rpm,time\n" + "".join(f"x,{i},2026-05-04T10:00:{i:02}Z\n" for i in range(60)),
        "rpm,time\n" + "".join(f"{i},{i}\n" for i in range(60)),
    ],
    ids=["even", "crlf", "numbers", "numbers crlf", "top", "end", "tab", "clock", "date", "time last"],
)
def test_even_tables_are_read_whole(tmp_path, text):
    """Whatever delimits, ends and times their lines."""
    path = made(tmp_path, text)
    assert whole(path) is not None
    quick, careful = both(path)
    assert quick == careful
    assert quick[0]["engine_speed"][0][-1] > 0


# What is odd, in its place among even lines; where it is the table is read block by block.
ODD = ["", " ", "1.1,5", "1.1,5,6,7,8", "1.1,5,6,7,,", '1.1,5,6,"7"', '1.1,5,6,7"', "1.1,n/a,6,7", "1.1,5\r6,7,8",
       "1.1,5,6,7\r1.2,5,6", "1.1,5,6,7\r1.2,5,6,7", "x,5,6,7", "1.1,5,6,7\r", "1.1,True,6,7"]  # fmt: skip


@pytest.mark.parametrize("odd", ODD)
@pytest.mark.parametrize("at", [0, 30, 60])
@pytest.mark.parametrize("read", [3, 4])
def test_odd_lines_are_never_read_whole(tmp_path, odd, at, read):
    """Blank, short, long and quoted lines, cells that are no numbers, stray carriage returns: first, within or last.

    In a table of which all columns are read as in one where some are passed over.
    """
    head, lines = (HEAD, LINES) if read == 3 else (HEAD.replace("what", "pedal"), [s.replace("a", "") for s in LINES])
    path = made(tmp_path, "\n".join([head, *lines[:at], odd, *lines[at:], ""]))
    if odd != "1.1,5,6,7\r":
        assert whole(path) is None
    quick, careful = both(path)
    assert quick == careful


@pytest.mark.parametrize(
    "odd",
    ["inf,5,6,7", ",5,6,7", "1e300,5,6,7", "-5,5,6,7", "1.1,inf,,7", "1.1,nan,1e999,7", "1.1,9" + "9" * 400 + ",,"],
)
def test_odd_numbers(tmp_path, odd):
    """Times that are none or run backwards and values beyond all bounds get the note or the sentence of any table."""
    quick, careful = both(made(tmp_path, "\n".join([HEAD, *LINES, odd, *LINES, ""])))
    assert quick == careful


def test_what_is_left_alone(tmp_path, monkeypatch):
    """A packed, long, marked or unended table, one of other line ends, too large or with too many cells."""
    assert whole(made(tmp_path, EVEN)) is not None
    assert whole(made(tmp_path, EVEN), most_samples=119) is None
    assert whole(made(tmp_path, EVEN[:-1])) is None
    assert whole(made(tmp_path, NUMBERS)) is not None
    assert whole(made(tmp_path, NUMBERS[:-1])) is None
    assert whole(made(tmp_path, EVEN.encode("utf-8-sig"))) is None
    assert whole(made(tmp_path, EVEN.encode("utf-16"))) is None
    assert whole(made(tmp_path, EVEN.replace("\n", "\r"))) is None
    assert whole(made(tmp_path, f"{HEAD}\n")) is None
    assert whole(made(tmp_path, "time,signal,value\n" + "0,rpm,5\n" * 60)) is None
    monkeypatch.setattr(table_whole, "MOST_BYTES", len(EVEN) - 1)
    assert whole(made(tmp_path, EVEN)) is None


def test_places_all_over_are_looked_at_first(tmp_path, monkeypatch):
    """What is odd again and again is met before all is read for nothing; whole lines only are looked at."""
    monkeypatch.setattr(table_whole, "_PLACES", 8)
    monkeypatch.setattr(table_whole, "_PROBE", 60)
    assert whole(made(tmp_path, EVEN)) is not None
    assert whole(made(tmp_path, EVEN.replace("\n", "\r\n"))) is not None
    monkeypatch.setattr(table_whole, "_is_usual", pytest.fail)
    assert whole(made(tmp_path, "\n".join([HEAD, *LINES[:10], *[f"{s}," for s in LINES[10:]], ""]))) is None
    assert whole(made(tmp_path, "\n".join([HEAD, *LINES[:10], *["9,n/a,9,9"] * 50, ""]))) is None


def test_seams(tmp_path, monkeypatch):
    """What is counted is counted wherever the pieces that are looked at begin, also between the two ends of a line."""
    text = EVEN.replace("\n", "\r\n")
    for size in range(60, 90):
        monkeypatch.setattr(table_whole, "_PIECE", size)
        assert whole(made(tmp_path, text)) is not None
        assert whole(made(tmp_path, text.replace("\r\n3.0", "\r3.0"))) is None
        assert whole(made(tmp_path, text.replace(",910,", f",{'0' * 200}910,"))) is None


def test_long_and_short_lines_anywhere(tmp_path):
    """Also where pandas begins a part, also when one makes up for the other, and in a table of no last cells."""
    for lines in ([*LINES], [line.rpartition(",")[0] + "," for line in LINES]):
        for k in range(len(LINES)):
            cut = lines[k].rpartition(",")[0]
            for odd in ([f"{lines[k]},5"], [cut], [cut] * 4, [f"{lines[k]},5", cut], [cut, f"{lines[k]},5"]):
                path = made(tmp_path, "\n".join([HEAD, *lines[:k], *odd, *lines[k:], ""]))
                assert whole(path) is None


def test_more_cells_than_the_first_lines_let_expect(tmp_path):
    """Short lines after long ones: more samples than are taken are refused as in any other table."""
    lines = [f"{i}.000000000000000000,9000.00000000000000000000" for i in range(2000)]
    text = "time,rpm\n" + "\n".join(lines) + "\n" + "".join(f"{i},1\n" for i in range(2000, 40_000))
    path = made(tmp_path, text)
    assert whole(path, 40_000) is not None
    assert whole(path, 39_999) is None
    with pytest.raises(TableError, match=r"at most 0\.02 million"):
        read_table(path, CATALOGUE, most_samples=20_000)


@pytest.mark.parametrize("after", [0, 1])
def test_a_disk_that_fails(tmp_path, monkeypatch, after):
    """Whoever looks at the lines, at once or once more, leaves the sentence to whoever reads them block by block."""
    pieces, times = table_whole._pieces, iter([True] * after)

    def broken(file):
        if next(times, None) is None:
            raise OSError(5, "Input/output error")
        return pieces(file)

    path = made(tmp_path, "".join(f"{line},\n" for line in EVEN.splitlines()))
    assert whole(path) is not None
    monkeypatch.setattr(table_whole, "_pieces", broken)
    assert whole(path) is None


def test_progress(tmp_path):
    """Progress reaches the size of the file, and what the callback raises ends the reading."""
    seen = []
    path = made(tmp_path, EVEN)
    read_table(path, CATALOGUE, progress=lambda done, size: seen.append((done, size)))
    assert seen[-1] == (len(EVEN), len(EVEN))


def test_samples_may_be_changed(tmp_path):
    """What is read belongs to whoever asked for it, as from any other table."""
    series = read_table(made(tmp_path, EVEN), CATALOGUE).series["engine_speed"]
    series.value[0] = 1.0
    assert series.value[0] == 1.0


CELLS = st.one_of(
    st.integers(0, 10**7).map(str),
    st.floats().map(str),
    st.just(""),
    st.sampled_from(
        ["n/a", " 5", "5 ", "1e999", "-0", "2,5", '"', '"1"', "\r", "x", "\0", "°", "9" * 25, "0x1", "True"]
    ),
)


@st.composite
def tables(draw):
    """Even tables of numbers, most of them with something odd somewhere."""
    columns = draw(st.lists(st.sampled_from(["rpm", "speed [mph]", "pedal", "what", "lamp"]), min_size=1, unique=True))
    place = draw(st.integers(0, len(columns)))
    header = [*columns[:place], "time [s]", *columns[place:]]
    delimiter, end = draw(st.sampled_from(",;\t")), draw(st.sampled_from(["\n", "\r\n"]))
    number = st.integers(0, 10**9).map(lambda n: str(n / 1000)) | st.just("")
    time = draw(st.sampled_from(["{}.125", "10:00:{:02}", "2026-05-04 10:00:{:02}.5Z"]))
    lines = []
    for i in range(draw(st.integers(1, 60))):
        cells = [draw(number) for _ in columns]
        lines.append([*cells[:place], time.format(i), *cells[place:]])
    for _ in range(draw(st.integers(0, 2))):
        line = draw(st.sampled_from(lines))
        at = draw(st.integers(0, len(line)))
        line[at : at + draw(st.integers(0, 2))] = draw(st.lists(CELLS, max_size=2))
    text = "".join(delimiter.join(line) + end for line in [header, *lines])
    return text[: len(text) - draw(st.sampled_from([0, 0, 0, 1, 2, 9]))]


@given(text=tables())
def test_any_table(text):
    """Samples to the last bit, notes, facts and sentences are the same, line numbers included."""
    with tempfile.TemporaryDirectory() as folder:
        quick, careful = both(made(folder, text))
    assert quick == careful
