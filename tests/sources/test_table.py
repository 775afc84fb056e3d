"""What the reader makes of tables: usual shapes, odd rows, bad input."""

from __future__ import annotations

import gzip

import numpy as np
import pytest

from coach.catalogue import default_catalogue
from coach.errors import ColumnsError, TableError
from coach.sources import table_bytes
from coach.sources.columns import Columns, LongNames, Rule
from coach.sources.table import read_table

CATALOGUE = default_catalogue()


@pytest.fixture
def read(tmp_path):
    """Reads a table from its text or bytes."""

    def reader(text, name="drive.csv", **more):
        path = tmp_path / name
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        return read_table(path, CATALOGUE, **more)

    return reader


def samples(recording):
    """Signal to its (seconds, value) pairs, NaN as None."""
    return {
        name: [(t / 1e6, None if np.isnan(v) else v) for t, v in zip(s.t_us.tolist(), s.value.tolist(), strict=True)]
        for name, s in recording.series.items()
    }


def codes(recording):
    return {note.code for note in recording.notes}


def note(recording, code):
    return next(n for n in recording.notes if n.code == code)


WIDE = {"road_speed": [(0.0, 50.0), (0.5, 51.0)], "engine_speed": [(0.0, 2000.5), (0.5, 2100.0)]}


@pytest.mark.parametrize(
    "text",
    [
        "time,road_speed [km/h],engine_speed [rpm]\n0,50,2000.5\n0.5,51,2100\n",
        "Time (s),Vehicle Speed (km/h),Engine RPM\n10,50,2000.5\n10.5,51,2100\n",
        "t_s,road_speed_kmh,engine_speed_rpm\n0,50,2000.5\n0.5,51,2100\n",
        "time [ms];ROAD SPEED [km/h];Engine speed [1/min]\n0;50;2000,5\n500;51;2100\n",
        "time_ms\troad-speed [kph]\trpm\n1000\t50\t2000.5\n1500\t51\t2100\n",
        "time\tRoad speed [km/h]\tengine speed [rpm]\n0\t50\t2000,5\n0,5\t51\t2100\n",
        "Time;Vehicle Speed Sensor [km/h];Engine RPM [RPM]\n17:22:57.475;50;2000,5\n17:22:57.975;51;2100\n",
        "clock,road_speed [km/h],rpm\n7:22:57.5,50,2000.5\n7:22:58,51,2100\n",
        "Date time,speed [km/h],rpm\n2026-05-04T09:30:00.25Z,50,2000.5\n2026-05-04 09:30:00.75Z,51,2100\n",
        "﻿time,road_speed [km/h],engine_speed\r\n0,50,2000.5\r\n0.5,51,2100\r\n",
        "time,road_speed [km/h],engine_speed\r0,50,2000.5\r0.5,51,2100\r",
        '"time","road_speed [km/h]","engine_speed"\n"0","50","2000.5"\n"0.5","51","2100"\n',
        "# made by hand\n\nsep=;\ntime;road_speed [km/h];rpm\n0;50;2000.5\n0.5;51;2100\n",
        "time,road_speed [km/h],rpm,\n0,50,2000.5,\n0.5,51,2100,\n",
        "time,road_speed [km/h],rpm\n0,50,2000.5,\n0.5,51,2100,\n",
        "time,road_speed [km/h],rpm,\n0,50,2000.5\n0.5,51,2100\n",
        " time , road_speed [km/h] , rpm\n 0 , 50 ,  2000.5 \n 0.5 , 51 , 2100\n",
        "time,signal,value,unit\n0,road_speed,50,km/h\n0,rpm,2000.5,rpm\n0.5,road_speed,51,km/h\n0.5,rpm,2100,rpm\n",
        "Time [ms];Signal;Value\n0;rpm;2000,5\n500;rpm;2100\n0;vehicle speed [km/h];50\n500;vehicle speed [km/h];51\n",
    ],
)
def test_usual_shapes(read, text):
    """Wide and long, every delimiter, decimal sign, way of time and of naming: the same samples."""
    assert samples(read(text)) == {k: WIDE[k] for k in read(text).series}
    assert set(read(text).series) == set(WIDE)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "latin-1", "utf-16"])
def test_encodings(read, encoding):
    """The degree sign is found in every usual encoding, in wide and in long tables."""
    wide = read("time;coolant_temp [°C]\n0;20\n1;21\n".encode(encoding))
    long = read("time;signal;value;unit\n0;coolant_temp;20;°C\n1;coolant_temp;21;°C\n".encode(encoding))
    assert samples(wide) == samples(long) == {"coolant_temp": [(0, 20), (1, 21)]}


def test_utf8_read_as_latin1_once(read):
    """A degree sign that became two characters is mended."""
    assert samples(read("time,coolant_temp [Â°C]\n0,20\n")) == {"coolant_temp": [(0, 20)]}


def test_units_are_converted_once(read):
    """Values come in the catalogue's unit: 45 mph is 72.42048 km/h and 212 degF is 100 degC (exact by definition)."""
    recording = read("time,speed [mph],coolant_temp [°F],map [bar],rail pressure [psi]\n0,45,212,1.5,10\n")
    assert samples(recording) == {
        "road_speed": [(0, 72.42048)],
        "coolant_temp": [(0, 100)],
        "manifold_pressure": [(0, 150)],
        "rail_pressure": [(0, 68.947572932)],
    }


def test_packed_tables(read):
    """A gzip file is known by its bytes, whatever its name."""
    data = gzip.compress(b"time,rpm\n0,900\n1,901\n")
    assert samples(read(data, "drive.csv")) == samples(read(data, "drive.csv.gz")) == {
        "engine_speed": [(0, 900), (1, 901)]
    }  # fmt: skip


def test_empty_cells_are_no_samples(read):
    """A signal has samples only where its column has a value; zero is the first sample of all, not the first row."""
    recording = read("time,rpm,speed [km/h]\n5,,\n6,900,\n7,,10\n8,901,11\n")
    assert samples(recording) == {"engine_speed": [(0, 900), (2, 901)], "road_speed": [(1, 10), (2, 11)]}
    assert recording.meta["starts"] == "6.000 s"


def test_signals_of_full_rows_share_their_times(read):
    """One array of times serves all signals that are sampled in the same rows."""
    series = read("time,rpm,speed [km/h]\n0,900,1\n1,901,2\n").series
    assert series["engine_speed"].t_us is series["road_speed"].t_us


def test_signs_for_no_value(read):
    """NaN, n/a, - and null are taken as empty, and counted with the line of the first."""
    recording = read("time,rpm\n0,900\n1,NaN\n2,n/a\n3,-\n4,null\n5,905\n")
    assert samples(recording) == {"engine_speed": [(0, 900), (5, 905)]}
    assert note(recording, "absent").count == 4
    assert note(recording, "absent").signal == "engine_speed"
    assert "line 3" in note(recording, "absent").text


def test_signs_for_a_reading_that_failed(read):
    """#N/A, error and an infinite number are samples that could not be read."""
    recording = read("time,rpm\n0,900\n1,#N/A\n2,error\n3,inf\n4,1e999\n")
    assert samples(recording) == {"engine_speed": [(0, 900), (1, None), (2, None), (3, None), (4, None)]}
    assert note(recording, "unreadable").count == 4


def test_words_of_a_status(read):
    """A status may stand in words; a lamp may be on or off, true or false; neutral is gear 0."""
    recording = read('time,lamp,fuel system status,gear\n0,off,Closed loop,N\n1,ON,2,3\n2,false,"open loop, cold",3\n')
    assert {name: s.value.tolist() for name, s in recording.series.items()} == {
        "lamp": [0, 1, 0], "fuel_system_status": [2, 2, 1], "gear_reported": [0, 3, 3],
    }  # fmt: skip


def test_a_column_of_truth_values(read):
    """A column of nothing but True and False is a status."""
    assert samples(read("time,lamp\n0,True\n1,False\n")) == {"lamp": [(0, 1), (1, 0)]}


def test_a_gear_column_is_what_the_car_reports(read):
    """Gear is estimated from speeds; a table's own gear is kept apart as the reported one."""
    assert samples(read("time,gear\n0,N\n1,3\n")) == {"gear_reported": [(0, 0), (1, 3)]}


def test_huge_and_long_numbers_are_exact(read):
    """Numbers with more digits than a double holds are read as the nearest one."""
    texts = ["39.215686274509807", "0.1", "123456789012345678901234567890", "1e-300", ".5", "5."]
    rows = "".join(f"{i},{text}\n" for i, text in enumerate(texts))
    assert read(f"time,rpm\n{rows}").series["engine_speed"].value.tolist() == [float(text) for text in texts]


# ---- odd rows -------------------------------------------------------------------------------------------------------


def test_rows_that_run_backwards(read):
    """A row stamped before an earlier one is left out and counted, with the line of the first."""
    recording = read("time,rpm,speed [km/h]\n0,900,1\n2,902,2\n1,901,9\n1.5,999,9\n3,903,3\n")
    assert samples(recording)["engine_speed"] == [(0, 900), (2, 902), (3, 903)]
    assert note(recording, "backward_rows").count == 2
    assert "line 4" in note(recording, "backward_rows").text


def test_rows_with_the_same_stamp(read):
    """They are one instant: of one signal twice in it the first stands, of different signals all do."""
    recording = read("time,rpm,speed [km/h]\n0,900,\n0,,10\n1,901,11\n1,999,\n")
    assert samples(recording) == {"engine_speed": [(0, 900), (1, 901)], "road_speed": [(0, 10), (1, 11)]}
    assert note(recording, "repeated_time").count == 1
    assert "line 5" in note(recording, "repeated_time").text


def test_long_tables_may_come_signal_by_signal(read):
    """In a long table only the samples of one signal have to be in order."""
    text = "time,signal,value\n0,rpm,900\n1,rpm,901\n0,lamp,0\n0.5,rpm,999\n1,lamp,1\n1,rpm,998\n"
    recording = read(text)
    assert samples(recording) == {"engine_speed": [(0, 900), (1, 901)], "lamp": [(0, 0), (1, 1)]}
    assert note(recording, "backward_time").count == 1
    assert "line 5" in note(recording, "backward_time").text
    assert "line 7" in note(recording, "repeated_time").text


def test_long_tables_may_mix_names_and_units(read):
    """One signal under two names and in two units is one series, in the order of the rows."""
    text = "time,signal,value,unit\n0,speed,10,km/h\n1,vehicle speed,10,mph\n2,speed,20,km/h\n3,speed,,km/h\n"
    assert samples(read(text)) == {"road_speed": [(0, 10), (1, 16.09344), (2, 20)]}


def test_text_of_unknown_signals_is_no_matter(read):
    """Only what is read has to be a number."""
    text = "time,signal,value,unit\n0,rpm,900,\n0,weather,rain,\n1,rpm,901,rpm\n1,,5,\n"
    recording = read(text)
    assert samples(recording) == {"engine_speed": [(0, 900), (1, 901)]}
    assert recording.meta["unread"] == {"weather": "unknown"}
    assert samples(read("time,rpm,weather\n0,900,rain\n")) == {"engine_speed": [(0, 900)]}


def test_midnight(read):
    """A clock that starts over at midnight goes on, and a late row from before midnight is a backward one."""
    recording = read("time,rpm\n23:59:59.500,900\n00:00:00.500,901\n23:59:59.750,999\n00:00:01.500,902\n")
    assert samples(recording) == {"engine_speed": [(0, 900), (1, 901), (2, 902)]}
    assert note(recording, "midnight").count == 1
    assert "line 3" in note(recording, "midnight").text
    assert note(recording, "backward_rows").count == 1


def test_gaps(read):
    """Steps of more than a second and five usual ones are told, with the longest and where it is."""
    rows = "".join(f"{t},{t}\n" for t in (0, 1, 2, 3, 20, 21, 22, 30))
    recording = read(f"time,rpm\n{rows}")
    assert note(recording, "gap").count == 2
    assert "17.000 s at 3.000 s" in note(recording, "gap").text


def test_rows_without_a_time(read):
    """They are left out and counted; blank lines are no rows."""
    recording = read("time,rpm\n0,900\n\n,901\nNaN,902\n   \n1,903\n")
    assert samples(recording) == {"engine_speed": [(0, 900), (1, 903)]}
    assert note(recording, "no_time").count == 2
    assert "line 4" in note(recording, "no_time").text


def test_long_rows_without_a_time(read):
    """The same in a long table."""
    recording = read("time,signal,value\n0,rpm,900\n\n,rpm,901\n1,rpm,903\n")
    assert samples(recording) == {"engine_speed": [(0, 900), (1, 903)]}
    assert note(recording, "no_time").count == 1
    assert "line 4" in note(recording, "no_time").text


def test_a_last_line_cut_in_its_middle(read):
    """It is left out, and told with its number."""
    recording = read("time,rpm,speed [km/h]\n0,900,10\n1,901,11\n2,90")
    assert samples(recording)["engine_speed"] == [(0, 900), (1, 901)]
    assert "line 4" in note(recording, "cut_line").text


def test_a_last_line_without_its_end(read):
    """With all its cells it counts, and a note says that its last value may be cut."""
    recording = read("time,rpm,speed [km/h]\n0,900,10\n1,901,11")
    assert samples(recording)["road_speed"] == [(0, 10), (1, 11)]
    assert "line 3" in note(recording, "open_line").text


def test_lines_with_fewer_cells(read):
    """What is missing at the end of a line is empty; such lines are counted."""
    recording = read("time,rpm,speed [km/h],lamp\n0,900\n1,901,11\n")
    assert samples(recording) == {"engine_speed": [(0, 900), (1, 901)], "road_speed": [(1, 11)]}
    assert note(recording, "short_line").count == 2


def test_lines_with_more_empty_cells(read):
    """Empty cells beyond the header are nothing."""
    assert samples(read("time,rpm\n0,900\n1,901,,\n")) == {"engine_speed": [(0, 900), (1, 901)]}


def test_unknown_columns_are_kept_in_the_notes(read):
    """What is not known is not guessed: name and reason stand in notes and meta."""
    recording = read("time,rpm,Foo [bar],Speed [furlongs],rail pressure [rpm]\n0,900,1,2,3\n")
    assert set(recording.series) == {"engine_speed"}
    assert recording.meta["unread"] == {
        "Foo [bar]": "unknown", "Speed [furlongs]": "unknown_unit", "rail pressure [rpm]": "unknown_unit",
    }  # fmt: skip
    assert "'Foo [bar]'" in note(recording, "unknown_columns").text
    assert {"unknown_columns", "unknown_unit"} <= codes(recording)


def test_psi_does_not_say_absolute(read):
    """In psi, a signal of absolute pressure is not read: it does not say whether it is absolute."""
    assert read("time,rpm,map [psi]\n0,900,14\n").meta["unread"] == {"map [psi]": "unknown_unit"}
    assert samples(read("time,map [psia]\n0,10\n")) == {"manifold_pressure": [(0, 68.947572932)]}


def test_a_unit_that_is_not_named_is_told(read):
    """A known name without a unit is taken in the signal's own, and a note says so."""
    recording = read("time,road_speed,lambda_1\n0,50,1.0\n")
    assert note(recording, "unit_assumed").signal == "road_speed"
    assert sum(n.code == "unit_assumed" for n in recording.notes) == 1


def test_two_time_columns(read):
    """The first one counts, and a note names the other."""
    recording = read("time [s],timestamp,rpm\n0,100,900\n1,300,901\n")
    assert samples(recording) == {"engine_speed": [(0, 900), (1, 901)]}
    assert "'timestamp'" in note(recording, "second_time").text


def test_dates_anchor_the_drive_only_with_a_zone(read):
    """With a zone the wall clock at zero is known; without one only the text is kept."""
    zoned = read("time,rpm\n2026-05-04T11:30:00+02:00,900\n2026-05-04T11:30:01+02:00,901\n")
    assert zoned.wall_us == 1_777_887_000_000_000
    assert zoned.meta["starts"] == "2026-05-04T09:30:00.000Z"
    local = read("time,rpm\n2026-05-04 11:30:00,900\n2026-05-04 11:30:01,901\n")
    assert local.wall_us is None
    assert local.meta["starts"] == "2026-05-04T11:30:00.000"


def test_blocks_do_not_show(read, monkeypatch):
    """A table read in many small blocks gives the same recording as in one."""
    rows = "".join(f"{i // 2},{'' if i % 3 else i},{i / 10}\n" for i in range(3000))
    text = f"time,rpm,speed [km/h]\n{rows}5,1,1\n,3,\n7,x"
    text = text.replace("7,x", "7,#N/A")
    whole = read(text)
    monkeypatch.setattr(table_bytes, "BLOCK", 512)
    monkeypatch.setattr(table_bytes, "_HEAD", 256)
    pieces = read(text)
    assert samples(pieces) == samples(whole)
    assert pieces.notes == whole.notes
    assert pieces.meta == whole.meta


def test_long_blocks_do_not_show(read, monkeypatch):
    """The same for a long table, also over midnight."""
    rows = "".join(
        f"{(23 * 3600 + i) // 3600 % 24:02}:{i // 60 % 60:02}:{i % 60:02},{'rpm' if i % 2 else 'speed'},{i}\n"
        for i in range(3500, 4000)
    )
    whole = read(f"time,signal,value\n{rows}")
    monkeypatch.setattr(table_bytes, "BLOCK", 512)
    monkeypatch.setattr(table_bytes, "_HEAD", 256)
    pieces = read(f"time,signal,value\n{rows}")
    assert samples(pieces) == samples(whole)
    assert pieces.notes == whole.notes
    assert whole.duration_us == 499_000_000


def test_a_decimal_comma_that_comes_late(read):
    """When the first rows have whole numbers only, a later comma still settles the decimal sign."""
    rows = "".join(f"{i};{i}\n" for i in range(20_000))
    recording = read(f"time [s];rpm\n{rows}20000;900,5\n20001,5;901\n")
    assert samples(recording)["engine_speed"][-2:] == [(20_000, 900.5), (20_001.5, 901)]


# ---- the columns file -----------------------------------------------------------------------------------------------


def test_a_columns_file_names_what_the_header_does_not(read):
    """Its columns, time and signs count before what the header seems to say."""
    columns = Columns(
        rules={
            "Drehzahl": Rule("engine_speed", "rpm"), "v": Rule("road_speed", "mph"),
            "Druck [bar]": Rule("rail_pressure"),
        },
        ignore=frozenset(["lamp"]), time="Zeit", time_unit="ms",
    )  # fmt: skip
    recording = read("lamp;Zeit;Drehzahl;v;Druck [bar];time\n1;500;900;10;2;7\n1;1500;901;20;3;7\n", columns=columns)
    assert samples(recording) == {
        "engine_speed": [(0, 900), (1, 901)], "road_speed": [(0, 16.09344), (1, 32.18688)],
        "rail_pressure": [(0, 200), (1, 300)],
    }  # fmt: skip
    assert recording.meta["unread"] == {"lamp": "ignored"}
    assert codes(recording) == {"second_time"}


def test_a_columns_file_for_a_long_table(read):
    """It names the three columns, and signals by the names in the rows."""
    columns = Columns(
        rules={"n": Rule("engine_speed")}, ignore=frozenset(["v"]), long=LongNames("Kanal", "Wert", "Einheit"),
        decimal=",", delimiter=";",
    )  # fmt: skip
    text = "time;Kanal;Wert;Einheit\n0;n;900,5;1/min\n0;v;10;km/h\n1;n;901;1/min\n"
    recording = read(text, columns=columns)
    assert samples(recording) == {"engine_speed": [(0, 900.5), (1, 901)]}


@pytest.mark.parametrize(
    ("columns", "message", "where"),
    [
        (Columns(time="Zeit"), "has no column 'Zeit'", "columns, time.column"),
        (Columns(rules={"x": Rule("engine_sped")}), "near it are engine_speed", "columns, columns.x"),
        (Columns(rules={"x": Rule("engine_speed", "kPa")}), "it has rpm", "columns, columns.x"),
        (Columns(rules={"x": Rule("lambda", "kPa")}), "is no unit of lambda", "columns, columns.x"),
        (Columns(long=LongNames("a", "b")), "has no column 'a'", "columns, long"),
        (Columns(decimal=","), "cannot be the same", "columns, decimal"),
    ],
)
def test_columns_files_that_do_not_fit(read, columns, message, where):
    """What a columns file names and is not there is an error of that file."""
    with pytest.raises(ColumnsError, match=message) as caught:
        read("time,x,rpm\n0,1,900\n", columns=columns)
    assert caught.value.where == where


def test_time_kinds_of_a_columns_file(read):
    """It may say that times are clock times, where the first cells do not show it."""
    columns = Columns(time="when", time_unit="clock")
    recording = read("when,rpm\n,900\n10:00:00,901\n", columns=columns)
    assert samples(recording) == {"engine_speed": [(0, 901)]}


# ---- bad input ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "message", "where"),
    [
        ("", "is empty", "drive.csv"),
        ("\n\n", "no header line", "drive.csv"),
        ("time,rpm\n", "no rows after the header", "drive.csv"),
        ("time,rpm", "no rows after the header", "drive.csv"),
        ("time,rpm\n0,\n1,\n", "no samples", "drive.csv"),
        ("rpm,speed\n900,10\n", "no time column", "drive.csv"),
        ("time,foo\n0,1\n", "no column carries", "drive.csv"),
        ("time,map [psi]\n0,1\n", "the unit does not fit: manifold_pressure is in kPa, bar, MPa, inHg or psi abs",
         "drive.csv, column 'map [psi]'"),
        ("time,gear [m]\n0,1\n", "gear_reported is in a bare number", "drive.csv, column 'gear [m]'"),
        ("time,signal,value\n0,foo,1\n", "no row carries", "drive.csv"),
        ("time,rpm\n0,900\n1,fast\n", "'fast' is not a number", "drive.csv, line 3, column 'rpm'"),
        ("time,signal,value\n0,rpm,900\n1,rpm,fast\n", "'fast' is not a number", "drive.csv, line 3, column 'rpm'"),
        ("time,rpm\n0,900\n1,True\n", "'True' is not a number", "drive.csv, line 3, column 'rpm'"),
        ("time,rpm\n0,1_000\n", "'1_000' is not a number", "drive.csv, line 2, column 'rpm'"),
        ("time,rpm\n0,0x10\n", "'0x10' is not a number", "drive.csv, line 2, column 'rpm'"),
        ("time,rpm\n0,١\n", "is not a number", "drive.csv, line 2, column 'rpm'"),
        ("time,rpm\n0,5\0\n", "not a text table", "drive.csv"),
        ("time,rpm\n0,900\nlater,901\n", "'later' is not a number", "drive.csv, line 3, column 'time'"),
        ("time,rpm\nsoon,900\n", "'soon' is no time", "drive.csv, column 'time'"),
        ("time,rpm\n10:00:00,900\n11,901\n", "'11' is no time like the others", "drive.csv, line 3, column 'time'"),
        ("time,rpm\n10:00:00,900\n10:61:00,9\n", "'10:61:00' is no time", "drive.csv, line 3, column 'time'"),
        ("time,rpm\n25:00:00,900\n", "write HH:MM:SS.mmm", "drive.csv, line 2, column 'time'"),
        ("time,rpm\n2026-02-30 10:00:00,900\n", "is no time", "drive.csv, line 2, column 'time'"),
        ("time,rpm\n04.05.2026 10:00:00,900\n", "is no time", "drive.csv, column 'time'"),
        ("time,rpm\n0,900\n1e30,901\n", "is no time", "drive.csv, line 3, column 'time'"),
        ("time,rpm\n0,900\ninf,901\n", "is no time", "drive.csv, line 3, column 'time'"),
        ("time,rpm\n0,900,5\n", "has 3 cells and the header 2; a decimal comma needs ;", "drive.csv, line 2"),
        ("time;rpm\n0;900;5\n", "has 3 cells and the header 2", "drive.csv, line 2"),
        ('time,rpm\n0,900\n1,"901\n2,902\n', "a quote is opened", "drive.csv, line 3"),
        ("time,rpm,Engine RPM [rpm]\n0,900,901\n", "both carry engine_speed", "drive.csv"),
        ("time,rpm,rpm\n0,900,901\n", "two columns are called 'rpm'; give one of them another name", "drive.csv"),
        ("time;rpm;speed [km/h]\n0;900,5;10.5\n", "has a decimal comma and", "drive.csv"),
        ("time;rpm\n0;900.5\n1;901,5\n", "has a decimal comma and", "drive.csv"),
        ("time,rpm\n0,900\n1000,901\n2000,902\n", r"write the unit in the header", "drive.csv, column 'time'"),
        (b"\x1f\x8b\x08\x00broken", "cut short or damaged", "drive.csv"),
        (gzip.compress(b"time,rpm\n" + b"0,900\n" * 9999)[:-20], "cut short or damaged", "drive.csv"),
        (b"PK\x03\x04\x00\x00", "not a text table", "drive.csv"),
    ],
)  # fmt: skip
def test_bad_tables_get_one_sentence(read, text, message, where):
    """What is wrong, and where: file, line and column as far as there is one."""
    with pytest.raises(TableError, match=message) as caught:
        read(text)
    assert caught.value.where == where
    assert "\n" not in str(caught.value)


def test_a_decimal_comma_after_points(read):
    """Both signs in one table are refused, also when the second comes late."""
    rows = "".join(f"{i}.5;{i}.5\n" for i in range(20_000))
    with pytest.raises(TableError, match="'900,5' is not a number") as caught:
        read(f"time [s];rpm\n{rows}20001;900,5\n")
    assert caught.value.where == "drive.csv, line 20002, column 'rpm'"


def test_files_that_are_not_there(tmp_path):
    """No such file, and a folder, are told in a sentence."""
    with pytest.raises(TableError, match="no such file"):
        read_table(tmp_path / "none.csv", CATALOGUE)
    with pytest.raises(TableError, match="cannot be read"):
        read_table(tmp_path, CATALOGUE)


def test_a_line_without_end(read, monkeypatch):
    """A line longer than any table's is refused before it fills the memory."""
    monkeypatch.setattr(table_bytes, "BLOCK", 1 << 18)
    with pytest.raises(TableError, match="longer than 1 MB") as caught:
        read("time,rpm\n0,900\n1," + "9" * 2_000_000)
    assert caught.value.where == "drive.csv, line 3"
    with pytest.raises(TableError, match="longer than 1 MB"):
        read("time," + "x" * 2_000_000)


def test_a_header_that_is_one_long_name(read):
    """A name longer than any is refused."""
    with pytest.raises(TableError, match="header cannot be read"):
        read("time," + "x" * 200_000 + "\n0,1\n")


def test_zones_that_come_late(read, monkeypatch):
    """Dates with and without a zone do not mix, also many rows apart."""
    monkeypatch.setattr(table_bytes, "_HEAD", 9 + 24 * 10)
    monkeypatch.setattr(table_bytes, "BLOCK", 24 * 10)  # so that a block ends just before the odd row
    rows = "".join(f"2026-05-04 10:00:{i:02},900\n" for i in range(60))
    with pytest.raises(TableError, match="no time like the others") as caught:
        read(f"time,rpm\n{rows}2026-05-04 10:01:00Z,901\n")
    assert caught.value.where == "drive.csv, line 62, column 'time'"


def test_a_disk_that_fails(read, monkeypatch):
    """An error of the disk in the middle of reading is a sentence too."""

    def broken(file, size):
        raise OSError(5, "Input/output error")

    monkeypatch.setattr(gzip.GzipFile, "read", broken)
    with pytest.raises(TableError, match="cannot be read: Input/output error"):
        read(gzip.compress(b"time,rpm\n0,900\n"))


def test_what_pandas_cannot_part(read, monkeypatch):
    """Lines that pandas gives up on are named by the first of them."""
    import pandas as pd

    def gives_up(*args, **more):
        raise pd.errors.ParserError("tokenizing")

    monkeypatch.setattr(pd, "read_csv", gives_up)
    with pytest.raises(TableError, match="cannot be read as a table") as caught:
        read("time,rpm\n0,900\n")
    assert caught.value.where == "drive.csv, line 2"


def test_too_many_samples(read):
    """A table over the ceiling is refused, and early: before all of it has been read."""
    seen = []
    text = "time,rpm\n" + "".join(f"{i},{i}\n" for i in range(1_000_000))
    with pytest.raises(TableError, match=r"at most 0\.01 million are read; cut it into drives"):
        read(text, most_samples=10_000, progress=lambda done, whole: seen.append((done, whole)))
    assert seen[-1][0] < seen[-1][1] == len(text)


def test_too_many_bytes(read, tmp_path):
    """A small packed file that unpacks to more than is taken is refused."""
    (tmp_path / "bomb.csv.gz").write_bytes(gzip.compress(b"time,rpm\n" + b"\n" * 20_000_000))
    file = table_bytes.TableFile(tmp_path / "bomb.csv.gz", most_bytes=10_000_000)
    with file:
        file.open_header()
        with pytest.raises(TableError, match="cut it into drives"):
            list(file.blocks())


def test_too_many_columns(read):
    """A header of thousands of columns is refused."""
    with pytest.raises(TableError, match="at most 4096"):
        read("time," + ",".join("x" * 5000) + "\n0\n")


def test_progress(read):
    """Progress is told in bytes of the file and reaches its size; what the callback raises ends the reading."""
    seen = []
    text = "time,rpm\n0,900\n"
    read(text, progress=lambda done, whole: seen.append((done, whole)))
    assert seen[-1] == (len(text), len(text))

    def enough(done, whole):
        raise InterruptedError

    with pytest.raises(InterruptedError):
        read(text, progress=enough)
