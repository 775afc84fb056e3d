"""Making a bundle: the same bytes each time, nothing that was not asked for, readable by others, never half a file."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import re
import shutil
import tomllib
import zipfile

import jsonschema_rs
import numpy as np
import pandas as pd
import pytest

from coach.bundle import make as making
from coach.bundle.check import check_bundle
from coach.bundle.make import make_bundle
from coach.bundle.manifest import manifest_schema
from coach.bundle.opening import open_bundle
from coach.bundle.wanted import Wanted
from coach.clock import HandClock
from coach.errors import BadInput, BundleError, Conflict, NotFound, StoreError
from coach.recording import Mark
from coach.store import Store
from coach.store.labels import Label
from coach.store.reading import Reader
from tests.bundle.making import META, RECIPE, VEHICLE, VIN, drive, store_drive


def test_the_same_drive_gives_the_same_bytes(stored, good, whole, tmp_path):
    """Made again, made elsewhere, made later: the same, to the byte."""
    folder, one = stored
    for out, wanted, first in (("a", Wanted(), good), ("b", Wanted(whole=True, full_vin=True), whole)):
        made = make_bundle(folder, [one], tmp_path / out, wanted)
        assert (tmp_path / out).read_bytes() == first.read_bytes()
        assert made["sha256"] == hashlib.sha256(first.read_bytes()).hexdigest()
        assert made["size"] == first.stat().st_size
    copy = tmp_path / "copy"
    shutil.copytree(folder, copy)
    make_bundle(copy, [one], tmp_path / "c")
    assert (tmp_path / "c").read_bytes() == good.read_bytes()


def test_an_independent_reader_finds_everything(good, stored):
    """Python's zipfile opens it, every checksum holds, every SHA-256 in the manifest is right."""
    with zipfile.ZipFile(good) as packed:
        assert packed.testzip() is None
        names = set(packed.namelist())
        manifest = json.loads(packed.read("manifest.json"))
        for one in manifest["files"]:
            raw = packed.read(one["path"])
            assert (len(raw), hashlib.sha256(raw).hexdigest()) == (one["size"], one["sha256"])
        assert {one["path"] for one in manifest["files"]} == names - {"manifest.json", "signature.json"}
        assert all(i.date_time == (1980, 1, 1, 0, 0, 0) for i in packed.infolist())
        own = f"drives/{stored[1]}"
        assert packed.read(f"{own}/recipe.toml") == RECIPE.encode()
        assert hashlib.sha256(RECIPE.encode()).hexdigest() == manifest["drives"][0]["recipe"]["sha256"]
        assert tomllib.loads(packed.read(f"{own}/vehicle.toml").decode())["label"] == "Red one"
        report = packed.read(f"report-{stored[1]}.html").decode()
    assert "Steady part load" in report
    assert not re.search(r"""(src|href)=["'](?!data:|#)""", report), "the report stands by itself"


def test_the_manifest_fits_its_own_published_schema(good, whole):
    """Checked by an independent validator of JSON Schema."""
    schema = manifest_schema()
    for path in (good, whole):
        manifest = json.loads(zipfile.ZipFile(path).read("manifest.json"))
        jsonschema_rs.validate(schema, manifest)
    manifest["drives"][0]["recipe"]["sha256"] = "short"
    with pytest.raises(jsonschema_rs.ValidationError):
        jsonschema_rs.validate(schema, manifest)


def test_what_the_manifest_says(good):
    """Format, program, rules, link, rates, agreements, anchor, ratios, marks, identity, declared facts."""
    manifest = json.loads(zipfile.ZipFile(good).read("manifest.json"))
    assert (manifest["format"], manifest["program"]["name"]) == (1, "log capture coach")
    one = manifest["drives"][0]
    assert one["rules"] == 1
    assert one["wall_us"] == 1_700_000_000_000_000
    assert one["started"] == "2023-11-14T22:13:20.000Z"
    assert one["link"]["adapter"] == "ELM327 v1.5"
    assert one["identity"]["ecus"][0]["calibrations"] == ["COACH-ENGINE-01"]
    assert one["facts"] == {"octane": "98"}
    assert one["acknowledged"] == ["law"]
    assert one["ratios"] == {"1": 60.0, "2": 40.0, "3": 25.0}
    rates = {s["name"]: (s["asked_hz"], s["rate_hz"], s["max_gap_s"]) for s in one["signals"]}
    assert rates["road_speed"] == (2.0, 2.0, 0.5)
    assert rates["throttle"][0] is None
    assert [m["kind"] for m in one["marks"]] == ["acknowledge", "role", "fact", "arm"]
    assert [(c["id"], c["qualified"]) for c in one["captures"]] == [("part-load", 1), ("pull", 0)]
    assert one["captures"][0]["missed"][0]["reason"].startswith("Too slow")


def test_the_number_and_the_address_stay_unless_asked_for(good, whole):
    """The vehicle's number is in no file but where it was asked for whole; the link's address and device in none."""
    for path, full in ((good, False), (whole, True)):
        with zipfile.ZipFile(path) as packed:
            every = b"".join(packed.read(name) for name in packed.namelist())
        assert (VIN.encode() in every) == full
        assert (b"4821" in every) is True
        assert b"192.168" not in every
        assert b"Anna" not in every


def test_a_number_in_a_free_text_is_hidden_too(tmp_path):
    """In the vehicle file, in what a person said, in the drive's note; the vehicle file is marked as masked."""
    folder = tmp_path / "data"
    marks = (Mark(0, "fact", None, f"parts_changed=new plugs, {VIN}"),)
    vehicle = VEHICLE.replace("Red one", f"My {VIN.lower()}")
    one = store_drive(folder, type(drive())(drive().series, marks), vehicle=vehicle)
    with Store(folder, HandClock()) as store:
        store.put_label(one, Label("Tuesday", f"car {VIN}", 101.3))
    make_bundle(folder, [one], tmp_path / "b.zip")
    with zipfile.ZipFile(tmp_path / "b.zip") as packed:
        every = b"".join(packed.read(name) for name in packed.namelist())
        entry = json.loads(packed.read("manifest.json"))["drives"][0]
    assert VIN.encode() not in every
    assert VIN.lower().encode() not in every
    assert entry["vehicle"]["masked"] is True
    assert entry["facts"]["note"] == "car *************4821"
    assert entry["facts"]["pressure_kpa"] == 101.3
    checked = check_bundle(tmp_path / "b.zip")
    assert checked["ok"]
    assert "vehicle_masked" in {w["code"] for w in checked["warnings"]}


def test_no_position_leaves(tmp_path):
    """A catalogue may have signals that say where the car was: they go into no bundle, not even a whole one."""
    from coach.recording import from_pairs

    names = ("road_speed", "gps_latitude", "longitude", "throttle")
    pairs = [(n * 500_000, name, 50.0) for n in range(80) for name in names]
    folder = tmp_path / "data"
    one = store_drive(folder, from_pairs(pairs, marks=()))
    made = make_bundle(folder, [one], tmp_path / "b.zip", Wanted(whole=True))
    with zipfile.ZipFile(tmp_path / "b.zip") as packed:
        every = b"".join(packed.read(name) for name in packed.namelist() if "catalogue" not in name)
    assert b"latitude" not in every
    assert b"longitude" not in every
    assert made["contents"][0]["other_signals"] == 1


def test_windows_read_by_pandas(good, stored):
    """Long and wide tables of a window have samples, units and times of the store, 3 s before and 2 s after too."""
    own = f"drives/{stored[1]}/windows/01-part-load-1"
    with zipfile.ZipFile(good) as packed:
        wide = pd.read_csv(io.BytesIO(packed.read(f"{own}.wide.csv")))
        long = pd.read_csv(io.BytesIO(packed.read(f"{own}.long.csv")))
    reader = Reader(stored[0] / "coach.db")
    attempt = next(a for a in reader.attempts(stored[1]) if a.secured_us is not None)
    expected = reader.recording(stored[1], attempt.start_us - 3_000_000, attempt.end_us + 2_000_000)
    assert long["time [s]"].min() == (attempt.start_us - 3_000_000) / 1e6
    for name, series in expected.series.items():
        rows = long[long["signal"] == name]
        np.testing.assert_array_equal(rows["time [s]"].to_numpy(), series.t_us / 1e6)
        np.testing.assert_array_equal(rows["value"].to_numpy(), series.value)
        unit = rows["unit"].iloc[0]
        column = wide[["time [s]", f"{name} [{unit}]"]].dropna()
        np.testing.assert_array_equal(column["time [s]"].to_numpy(), series.t_us / 1e6)
        np.testing.assert_array_equal(column[f"{name} [{unit}]"].to_numpy(), series.value)
    assert set(long["unit"]) == {"km/h", "rpm", "%", "degC"}


def test_attempts_read_by_csv(good, stored):
    """Every attempt with its reason, as RFC 4180 has it."""
    with zipfile.ZipFile(good) as packed:
        rows = list(csv.DictReader(io.StringIO(packed.read(f"drives/{stored[1]}/attempts.csv").decode())))
    assert [(r["capture"], r["outcome"], r["code"]) for r in rows] == [
        ("part-load", "secured", "low"), ("part-load", "missed", "low"),
    ]  # fmt: skip
    assert rows[1]["text"].startswith("Too slow: 60 km/h against 72")


def test_whole_and_not_whole(good, whole, stored):
    """Signals that were not judged are there around windows only, unless the whole drive is asked for."""
    kept = Reader(stored[0] / "coach.db").recording(stored[1])
    small, large = (open_bundle(p).drives[0].recording() for p in (good, whole))
    assert len(small.series["throttle"]) < len(kept.series["throttle"]) == len(large.series["throttle"])
    for name in ("road_speed", "engine_speed", "coolant_temp"):
        np.testing.assert_array_equal(small.series[name].t_us, kept.series[name].t_us)
        np.testing.assert_array_equal(small.series[name].value, kept.series[name].value)
    assert small.duration_us == kept.duration_us
    names = zipfile.ZipFile(whole).namelist()
    assert sum("/drive." in name for name in names) == 2


def test_what_cannot_be_made_leaves_nothing(stored, tmp_path, monkeypatch):
    """No drive, an unknown one, one twice, one that still runs, no room: a sentence, and no file."""
    folder, one = stored
    out = tmp_path / "b.zip"
    with pytest.raises(BadInput):
        make_bundle(folder, [], out)
    with pytest.raises(BadInput):
        make_bundle(folder, [one, one], out)
    with pytest.raises(NotFound):
        make_bundle(folder, ["20000101-000000"], out)
    with pytest.raises(StoreError):
        make_bundle(folder, [one], tmp_path / "no" / "folder" / "b.zip")
    monkeypatch.setattr(making, "MOST_FILE", 1_000)
    with pytest.raises(BundleError, match="larger than"):
        make_bundle(folder, [one], out)
    monkeypatch.setattr(making, "MOST_SAMPLES", 10)
    with pytest.raises(BundleError, match="more samples"):
        make_bundle(folder, [one], out)
    running = tmp_path / "data"
    with pytest.raises(Conflict, match="still being recorded"):
        make_bundle(running, [store_drive(running, ended=False)], out)
    assert not list(tmp_path.glob("*.part"))
    assert not out.exists()


def test_a_bundle_that_is_there_is_replaced_whole(stored, tmp_path, good):
    out = tmp_path / "b.zip"
    out.write_bytes(b"before")
    make_bundle(stored[0], [stored[1]], out)
    assert out.read_bytes() == good.read_bytes()
    assert [p.name for p in tmp_path.iterdir()] == ["b.zip"]


def test_a_recipe_in_json_keeps_its_ending(tmp_path):
    """As received, to the byte."""
    recipe = json.dumps({
        "format": 1, "title": "J", "revision": 1, "record": {"road_speed": "2 Hz"},
        "capture": [{"id": "x", "title": "X", "hold": "5 s", "keep": {"road_speed": {"min": "50 km/h"}}}],
    })  # fmt: skip
    folder = tmp_path / "data"
    one = store_drive(folder, recipe=recipe, vehicle=None, meta={k: v for k, v in META.items() if k != "vin"})
    made = make_bundle(folder, [one], tmp_path / "b.zip")
    with zipfile.ZipFile(tmp_path / "b.zip") as packed:
        assert packed.read(f"drives/{one}/recipe.json") == recipe.encode()
    assert made["contents"][0]["vin"] is None
