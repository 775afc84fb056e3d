"""The reader's small parts: cells, lines, notes, the collector."""

from __future__ import annotations

import numpy as np
import pytest

from coach.catalogue import default_catalogue
from coach.errors import TableError
from coach.recording import Series
from coach.sources.table_cells import ABSENT, UNREADABLE, BadCell, numbers
from coach.sources.table_collect import Collector
from coach.sources.table_lines import Lines, Odd, cells_in
from coach.sources.table_notes import distinct, gap_notes, held_over_notes
from coach.sources.table_parse import _Handle

CATALOGUE = default_catalogue()


def error(message, line):
    return TableError(message, where=f"line {line}")


# ---- cells ----------------------------------------------------------------------------------------------------------


def test_signs_do_not_overlap():
    """A sign says either that there was no sample or that one failed."""
    assert not ABSENT & UNREADABLE


def test_numbers():
    """Text, empty cells, signs and what pandas has made of a cell already."""
    cells = ["1.5", " 2 ", "", float("nan"), "NaN", "-", "error", 10**30, 4.0]
    found = numbers(cells, CATALOGUE["engine_speed"], ".")
    assert np.array_equal(found.value, [1.5, 2, *[np.nan] * 5, 1e30, 4], equal_nan=True)
    assert found.there.tolist() == [True, True, False, False, False, False, True, True, True]
    assert (found.absent, found.first_absent) == (2, 4)
    assert numbers(["1"], None, ".").first_absent == -1


def test_decimal_commas():
    """With a decimal comma, a point is no part of a number."""
    assert numbers(["1,5", "-2", "1e3"], None, ",").value.tolist() == [1.5, -2, 1000]
    for text, decimal in (("1.5", ","), ("1.000,5", ","), ("1,5", "."), ("1,000,5", ",")):
        with pytest.raises(BadCell) as caught:
            numbers(["0", text], None, decimal)
        assert (caught.value.row, caught.value.text) == (1, text)


def test_words_belong_to_their_signal():
    """Words of a status, switches and neutral count only where they mean something."""
    assert numbers(["on", "NO"], CATALOGUE["lamp"], ".").value.tolist() == [1, 0]
    assert numbers(["Neutral"], CATALOGUE["gear_reported"], ".").value.tolist() == [0]
    for word in ("on", "neutral", "closed loop"):
        with pytest.raises(BadCell):
            numbers([word], CATALOGUE["engine_speed"], ".")


def test_many_different_cells():
    """What is remembered of cells is bounded; the values are right all the same."""
    values = [f"{i / 8}" for i in range(250_000)]
    assert np.array_equal(numbers(values, None, ".").value, np.arange(250_000) / 8)


# ---- lines ----------------------------------------------------------------------------------------------------------


def test_even_lines_stay_as_they_are():
    """Lines of the right length are handed on without a copy."""
    data = b"1,2\n3,4\n"
    block = Lines(data, 7, ",", 2).block(Odd(), error)
    assert block.data is data
    assert [block.line(row) for row in (0, 1)] == [7, 8]


def test_blank_lines_and_extra_cells():
    """Blank lines go, empty cells beyond the header go, and lines keep their numbers."""
    short = Odd()
    block = Lines(b'1,2\n\n  \n3,4,, ,\n5\n,\n"6,6",7\n', 10, ",", 2).block(short, error)
    assert block.data == b'1,2\n3,4\n5\n,\n"6,6",7\n'
    assert [block.line(row) for row in range(5)] == [10, 13, 14, 15, 16]
    assert (block.short, short.count, short.first_line) == (True, 1, 14)


def test_lines_that_are_refused():
    """Cells beyond the header that are not empty, and quotes that do not close, are named by line."""
    with pytest.raises(TableError, match="line 4: the line has 3 cells and the header 2"):
        Lines(b"1,2\n3,4,5\n", 3, ",", 2).block(Odd(), error)
    with pytest.raises(TableError, match="line 4: a quote is opened"):
        Lines(b'1,2\n3,"4\n5",6\n', 3, ",", 2).block(Odd(), error)


def test_cells_in():
    """Delimiters inside quotes part nothing."""
    assert cells_in(b'a,"b,c",d', ",") == 3
    assert cells_in(b"", ";") == 1


# ---- bytes ----------------------------------------------------------------------------------------------------------


def test_a_handle_is_read_in_pieces():
    """Bytes are handed on as they are asked for; what is left can be walked over."""
    handle = _Handle(b"abcdef")
    assert [handle.read(2), handle.read(3), list(handle), handle.read(2)] == [b"ab", b"cde", [b"f"], b""]


# ---- notes ----------------------------------------------------------------------------------------------------------


def test_distinct():
    """Each time once, in order, whatever the order before."""
    assert distinct(np.array([5, 1, 5, 3, 1])).tolist() == [1, 3, 5]
    assert distinct(np.zeros(0, np.int64)).tolist() == []


def test_no_gap_in_an_even_table():
    """Even steps, single rows and nothing at all have no gaps; neither has a slow table."""
    for t_us in ([], [0], [0, 5], [0, 10**7, 2 * 10**7, 3 * 10**7]):
        assert gap_notes(np.array(t_us, dtype=np.int64)) == []


def test_one_gap_is_told_with_its_place():
    """Where rows come ten a second, a gap is more than a second."""
    t_us = np.array([*range(0, 10**6, 10**5), 2 * 10**6, 2 * 10**6 + 10**5], dtype=np.int64)
    (note,) = gap_notes(t_us)
    assert note.count == 1
    assert note.text == "1 gap of more than 1.0 s between rows, the longest 1.100 s at 0.900 s"


@pytest.mark.parametrize(
    ("name", "every", "told"),
    [
        ("engine_speed", 10, True), ("engine_speed", 3, True), ("engine_speed", 2, False), ("engine_speed", 1, False),
        ("coolant_temp", 10, False), ("gear_reported", 10, False),
    ],
)  # fmt: skip
def test_values_carried_along(name, every, told):
    """A value refreshed every third row or more rarely is told, with both rates; slow and stepped signals are not."""
    rows = np.arange(3000, dtype=np.int64)
    series = {name: Series(rows * 100_000, (rows // every).astype(float))}
    notes = held_over_notes(series, CATALOGUE)
    assert bool(notes) == told
    if told:
        assert notes[0].text.startswith(f"{name} has 10.0 rows a second but changes {10 / every:.2f} times")


def test_a_slow_signal_that_is_sampled_in_every_row():
    """Changes that come rarely, but now and then in two rows running, are the signal's own."""
    rng = np.random.default_rng(1)
    value = np.cumsum(rng.random(3000) < 0.15).astype(float)
    series = {"road_speed": Series(np.arange(3000, dtype=np.int64) * 100_000, value)}
    assert held_over_notes(series, CATALOGUE) == []
    still = {"road_speed": Series(np.arange(3000, dtype=np.int64), np.zeros(3000))}
    assert held_over_notes(still, CATALOGUE) == []


# ---- collector ------------------------------------------------------------------------------------------------------


def test_only_rising_samples_are_kept():
    """Over several pieces, stamps at or before an earlier one of the signal are left out and counted by line."""
    collector = Collector()
    signal = CATALOGUE["engine_speed"]
    for stamps, first in (([5, 7, 6, 7], 0), ([7, 3], 10), ([9], 20)):
        t_us = np.array(stamps, dtype=np.int64)
        collector.add(signal, "rpm", t_us, t_us * 1.0, lambda place, first=first: first + place, rising=False)
    collector.add(signal, "rpm", np.zeros(0, np.int64), np.zeros(0), int, rising=True)
    assert collector.samples == 3
    notes = {note.code: (note.count, note.text.rpartition(" ")[2]) for note in collector.notes()}
    assert notes == {"backward_time": (2, "2"), "repeated_time": (2, "3")}
    series, zero = collector.series(["engine_speed", "road_speed"])
    assert zero == 5
    assert series["engine_speed"].t_us.tolist() == [0, 2, 4]
    assert list(series) == ["engine_speed"]


def test_what_could_not_be_read_is_counted_by_its_line():
    """The line is that of the row in the table, also after samples were left out."""
    collector = Collector()
    t_us, value = np.array([5, 5, 6]), np.array([1.0, 2.0, np.inf])
    collector.add(CATALOGUE["road_speed"], "mph", t_us, value, lambda place: 100 + place, rising=False)
    assert [(n.code, n.text.rpartition(" ")[2]) for n in collector.notes()] == [
        ("repeated_time", "101"), ("unreadable", "102"),
    ]  # fmt: skip
    series, _ = collector.series(["road_speed"])
    assert np.array_equal(series["road_speed"].value, [1.609344, np.nan], equal_nan=True)
