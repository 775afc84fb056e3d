"""The small parts: strict JSON, packed samples, masking, tables, differences, the manifest's entries."""

from __future__ import annotations

import csv
import io
import json
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.bundle.entry import declared, identity_facts, link_facts, sent_marks, vin_of
from coach.bundle.judging import difference, verdict_difference
from coach.bundle.masking import Mask, is_place
from coach.bundle.samples import BundledRecording, digest, pack, unpack
from coach.bundle.strict import dump, finite, load
from coach.bundle.tables import attempts_table, part, window_name
from coach.errors import BundleError
from coach.recording import Mark, Recording, Series
from coach.store.labels import Label
from coach.vin import mask_vin
from tests.bundle.making import META, VIN, drive

FLOATS = st.floats(allow_nan=False, allow_infinity=False)
JSON = st.recursive(
    st.none() | st.booleans() | st.integers(-(10**18), 10**18) | FLOATS | st.text(max_size=10),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=6), inner, max_size=4),
    max_leaves=12,
)


@given(JSON)
def test_json_comes_back_as_it_was(data):
    """And the same data give the same text, whatever the order of keys."""
    raw = dump(data)
    assert load(raw, "x") == data == json.loads(raw)
    if isinstance(data, dict):
        assert dump(dict(reversed(list(data.items())))) == raw


def test_infinities_are_written_as_text():
    assert finite({"a": [math.inf, -math.inf, math.nan, 1.5]}) == {"a": ["Infinity", "-Infinity", "NaN", 1.5]}
    with pytest.raises(ValueError, match="Out of range"):
        dump({"a": math.inf})


@given(st.lists(st.tuples(st.integers(1, 10**9), st.floats(width=64)), max_size=30), st.integers(0, 10**9))
def test_samples_come_back_to_the_bit(rows, first):
    """NaN and infinities too."""
    steps = np.array([first] + [s for s, _ in rows[1:]], dtype=np.int64)[: len(rows)]
    series = Series(np.cumsum(steps), np.array([v for _, v in rows], dtype=np.float64))
    raw = pack(series)
    assert len(raw) == 16 * len(rows)
    [(name, back, sha256)] = list(unpack(raw, [("x", len(rows))], "f"))
    assert (name, sha256) == ("x", digest(raw))
    assert back.t_us.tobytes() == series.t_us.tobytes()
    assert back.value.tobytes() == series.value.tobytes()


def test_a_drive_is_as_long_as_it_was():
    """Also where the signal that came last is not inside."""
    series = {"a": Series(np.array([0, 5]), np.array([1.0, 2.0]))}
    assert BundledRecording(series, last_us=9).duration_us == 9
    assert BundledRecording(series, last_us=2).duration_us == 5


def test_numbers_are_masked_wherever_they_stand():
    mask = Mask(VIN)
    assert mask.shown == mask_vin(VIN) == "*************4821"
    assert mask.text(f"a {VIN.lower()} b {VIN}") == "a *************4821 b *************4821"
    assert mask.data({VIN: [VIN, 1, None]}) == {"*************4821": ["*************4821", 1, None]}
    assert mask.raw(b"\xff" + VIN.encode()) == b"\xff" + VIN.encode()
    assert Mask(VIN, whole=True).text(VIN) == VIN
    assert Mask(VIN, whole=True).shown == VIN
    assert Mask(None).text(VIN) == VIN
    assert Mask(None).shown is None


@pytest.mark.parametrize(
    ("name", "place"),
    [("gps_speed", True), ("latitude", True), ("car_longitude", True), ("altitude_m", True), ("heading", True),
     ("GPS", True),
     ("throttle", False), ("pedal_travel", False), ("accelerator_position", False), ("platitude", False)],
)  # fmt: skip
def test_what_counts_as_a_place(name, place):
    assert is_place(name) is place


class Row:
    """A drive's row, as far as entries look at it."""

    def __init__(self, source):
        self.source = source


def test_only_what_is_named_is_told_of_the_source():
    """A source's facts of which nobody has heard yet stay here."""
    row = Row({"kind": "link", "title": "The car", "meta": {**META, "secret": "x"}, "flashed": {"revision": 2}})
    assert set(link_facts(row)) == {
        "kind", "title", "speed", "adapter", "protocol", "voltage", "engine", "batch", "round_trip_ms",
    }  # fmt: skip
    assert set(identity_facts(row)) == {"ecus", "codes", "flashed"}
    assert vin_of(row) == VIN
    for source in ({}, {"meta": None}, {"meta": {"vin": 7}}, {"meta": {"vin": ""}}):
        assert vin_of(Row(source)) is None
        assert identity_facts(Row(source)) == {}


def test_declared_facts_and_marks():
    marks = [
        Mark(0, "fact", None, "octane=98"), Mark(0, "fact", None, "confirmed=2"),
        Mark(5, "dial", None, "80 km/h reads 86 km/h"),
        Mark(0, "device", None, "Anna's phone"), Mark(0, "role", None, "passenger"),
    ]  # fmt: skip
    assert declared(marks, Label("", "a note", None, 21.0)) == {
        "octane": "98", "confirmed_revision": "2", "dial": "80 km/h reads 86 km/h", "note": "a note",
        "temperature_c": 21.0,
    }  # fmt: skip
    assert declared(None, Label()) == {}
    assert [m.kind for m in sent_marks(marks)] == ["fact", "fact", "dial", "role"]
    assert sent_marks(None) is None


def test_the_first_difference_is_said():
    claimed = {"captures": [{"id": "a", "attempts": [{"number": 0, "end_s": 1.0, "outcome": "secured"}]}], "x": True}
    found = json.loads(json.dumps(claimed))
    assert difference(claimed, found, worded=True) is None
    found["captures"][0]["attempts"][0]["end_s"] = 1.0 + 1e-12
    assert difference(claimed, found, worded=True) is None
    found["captures"][0]["attempts"][0]["end_s"] = 2.0
    assert difference(claimed, found, worded=True) == "captures 'a', attempts 1, end: it says 1.0, the samples give 2.0"
    assert difference({"x": 1}, {"x": True}, worded=True) == "x: it says 1, the samples give true"
    assert difference({"x": "y" * 200}, {"x": "z"}, worded=True).count("…") == 1
    assert difference({}, {"x": 1}, worded=True) == "x is left out of it"
    assert difference({}, {"x": 1}, worded=False) is None
    assert difference({"text": "a"}, {"text": "b"}, worded=False) is None
    assert difference({"text": "a"}, {"text": "b"}, worded=True)
    assert difference([1, 2], [1], worded=True, where="list") == "list: it says 2, the samples give 1"


def test_verdicts_that_are_no_tables_differ():
    """A claimed verdict may be anything."""
    found = {"rules": 1, "recipe": {}, "captures": [], "alarms": [], "drive": {"duration_s": 1.0, "signals": {"a": {}}}}
    assert verdict_difference(found, found, ["a"], worded=True) is None
    for drive_part in (None, [], {"signals": []}):
        assert verdict_difference({**found, "drive": drive_part}, found, ["a"], worded=True)


def test_window_names_are_plain():
    assert window_name(0, "part-load", 0, "long") == "windows/01-part-load-1.long.csv"
    assert window_name(11, "../Größe!", 2, "wide") == "windows/12-gr-e-3.wide.csv"
    assert window_name(0, "???", 0, "wide") == "windows/01-capture-1.wide.csv"


def test_cells_are_quoted_and_no_formulas():
    """RFC 4180; what a spreadsheet would take for a formula is text."""
    attempt = {
        "number": 0, "outcome": "=1+1", "start_s": -1.0, "end_s": 2.0, "secured_s": None,
        "reason": {"code": "low", "signal": '+a"b', "value": -3.5, "bound": None, "t_s": 1.0,
                   "text": "one, two\nthree"},
    }  # fmt: skip
    raw = attempts_table({"captures": [{"id": "x", "attempts": [attempt, {**attempt, "reason": None}]}]}).decode()
    rows = list(csv.reader(io.StringIO(raw)))
    assert rows[1] == ["x", "0", "'=1+1", "-1.0", "2.0", "", "low", "'+a\"b", "-3.5", "", "1.0", "one, two\nthree"]
    assert rows[2][6:] == [""] * 6


def test_a_part_is_inclusive():
    recording = Recording({"a": Series(np.array([0, 5, 9]), np.arange(3.0)), "b": Series(np.array([20]), np.ones(1))})
    assert part(recording, 0, 5).series["a"].t_us.tolist() == [0, 5]
    assert "b" not in part(recording, 0, 19).series
    assert drive().duration_us == 59_500_000


def test_unpacking_says_what_is_wrong():
    with pytest.raises(BundleError, match="as many samples"):
        list(unpack(b"x" * 15, [("a", 1)], "f"))
