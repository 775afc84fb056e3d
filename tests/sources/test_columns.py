from __future__ import annotations

import pytest

from coach.catalogue import default_catalogue
from coach.errors import ColumnsError
from coach.sources.columns import Columns, LongNames, Rule, load_columns, parse_columns

WHOLE = """
format = 1
delimiter = ";"
decimal = ","
ignore = ["Text"]

[time]
column = "Zeit"
unit = "ms"

[long]
signal = "Kanal"
value = "Wert"
unit = "Einheit"

[columns]
"Motordrehzahl" = { signal = "engine_speed", unit = "1/min" }
"v" = "road_speed"
"""


def test_every_key(tmp_path):
    """All that a columns file may say is read."""
    path = tmp_path / "car.toml"
    path.write_text(WHOLE, encoding="utf-8")
    assert load_columns(path) == Columns(
        rules={"Motordrehzahl": Rule("engine_speed", "1/min"), "v": Rule("road_speed")},
        ignore=frozenset(["Text"]),
        time="Zeit",
        time_unit="ms",
        long=LongNames("Kanal", "Wert", "Einheit"),
        delimiter=";",
        decimal=",",
        name="car.toml",
    )


def test_the_least():
    """Only the format has to be there; a byte order mark is no matter."""
    assert parse_columns(b"\xef\xbb\xbfformat = 1\n") == Columns()
    assert parse_columns(b'format = 1\n[long]\nsignal = "a"\nvalue = "b"').long == LongNames("a", "b")


@pytest.mark.parametrize(
    ("text", "where", "message"),
    [
        ("", "columns, format", "begins with format = 1"),
        ("format = 2", "columns, format", "begins with format = 1"),
        ("format = true", "columns, format", "begins with format = 1"),
        ("format = 1\nspeed = 1", "columns, speed", "known are format, delimiter"),
        ("format = 1\n[time]\ncolum = 'x'", "columns, time.colum", "known are column, unit"),
        ("format = 1\n[time]\nunit = 'days'", "columns, time.unit", "one of s, ms, us, min, h, clock, date"),
        ("format = 1\n[time]\ncolumn = 5", "columns, time.column", "text in quotes"),
        ("format = 1\ntime = 5", "columns, time", "a table"),
        ("format = 1\nignore = 'x'", "columns, ignore", "a list of column names"),
        ("format = 1\nignore = [1]", "columns, ignore", "a list of column names"),
        ("format = 1\ndelimiter = '|'", "columns, delimiter", "one of"),
        ("format = 1\n[columns]\nx = 5", "columns, columns.x", "name of a signal"),
        ("format = 1\n[columns]\nx = {unit = 'rpm'}", "columns, columns.x", "has no signal"),
        ("format = 1\n[columns]\nx = {signal = 'a', scale = 2}", "columns, columns.x.scale", "known are signal, unit"),
        ("format = 1\n[long]\nsignal = 'a'", "columns, long", "both signal and value"),
        ("format = 1\n[long]\nx = 'a'", "columns, long.x", "known are signal, value, unit"),
        ("format = ", "columns", "not TOML"),
        ("format = 1\nformat = 1", "columns", "not TOML"),
        ("x = " + "[" * 5000, "columns", "not TOML"),
        ("x = " + "9" * 5000, "columns", "not TOML: a number has too many digits"),
    ],
)
def test_bad_files(text, where, message):
    """Each error names the key's path and what would be right."""
    with pytest.raises(ColumnsError, match=message) as caught:
        parse_columns(text.encode())
    assert caught.value.where == where


def test_files_that_cannot_be_read(tmp_path):
    """Not there, not UTF-8, and too large."""
    with pytest.raises(ColumnsError, match="cannot be read"):
        load_columns(tmp_path / "none.toml")
    (tmp_path / "latin.toml").write_bytes(b'"\xb0" = 1')
    with pytest.raises(ColumnsError, match="not UTF-8"):
        load_columns(tmp_path / "latin.toml")
    (tmp_path / "large.toml").write_bytes(b"#" * (2 << 20))
    with pytest.raises(ColumnsError, match="larger than 1 MB"):
        load_columns(tmp_path / "large.toml")


def test_columns_and_their_units():
    """A unit of the file counts first, then that of the header, then the signal's own; it is never told as assumed."""
    catalogue = default_catalogue()
    columns = Columns(rules={"a": Rule("road_speed", "mph"), "b [mph]": Rule("road_speed"), "c": Rule("road_speed")})
    for header, unit in (("a", "mph"), (" b [mph] ", "mph"), ("c", "km/h")):
        column = columns.column(0, header, catalogue)
        assert (column.unit, column.assumed) == (unit, False)
    assert columns.column(0, "d", catalogue) is None
