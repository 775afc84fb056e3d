"""Checking a bundle: a good one is the same verdict; whatever was changed is found and named, signed again or not."""

from __future__ import annotations

import json
import re
import struct

import pytest

from coach.bundle import check as checking
from coach.bundle.check import check_bundle, first_difference
from coach.bundle.keys import Pin, own_public_key
from coach.bundle.make import make_bundle
from coach.bundle.strict import dump, load
from coach.bundle.wanted import MANIFEST, SIGNATURE
from coach.errors import BundleError
from tests.bundle.making import RECIPE, drive, store_drive


def codes(result):
    return [one["code"] for one in result["problems"]]


def edit(name, work):
    """A change of one JSON file."""

    def change(files):
        data = load(files[name], "")
        work(data)
        files[name] = dump(data)

    return change


def replace(name, old, new):
    """A change of some bytes."""

    def change(files):
        assert old in files[name]
        files[name] = files[name].replace(old, new, 1)

    return change


@pytest.mark.parametrize("which", ["good", "whole"])
def test_a_good_bundle_is_the_same_verdict(which, request, stored):
    """Nothing is found, and every capture comes out as it says."""
    result = check_bundle(request.getfixturevalue(which))
    assert result["problems"] == []
    assert result["ok"]
    assert result["same_verdict"]
    assert result["sentence"].startswith("Same verdict")
    assert [(c["id"], c["qualified"], c["asked"]) for c in result["drives"][0]["captures"]] == [
        ("part-load", 1, 1), ("pull", 0, 1),
    ]  # fmt: skip
    assert [w["code"] for w in result["warnings"]] == ["unknown_key"]
    json.dumps(result, allow_nan=False)
    key = own_public_key(stored[0])
    pinned = check_bundle(request.getfixturevalue(which), [Pin("Red one", key)], signer="red ONE")
    assert pinned["signed_by"]["name"] == "Red one"
    assert pinned["warnings"] == []


def test_a_changed_file_is_named(forge, own):
    """Somebody edits a file and nothing else: its hash gives it away."""
    name = f"{own}/attempts.csv"
    result = check_bundle(forge(replace(name, b"part-load", b"part-LOAD"), honest=False))
    assert ("file_changed", name) in [(p["code"], p["where"]) for p in result["problems"]]
    assert not result["ok"]
    assert result["same_verdict"]
    assert "not as" in result["sentence"]


def test_added_and_missing_files_are_named(forge, own):
    def change(files):
        files["extra.txt"] = b"hello"
        files["README.txt"] = None

    result = check_bundle(forge(change, honest=False))
    assert {(p["code"], p["where"]) for p in result["problems"]} == {
        ("file_added", "extra.txt"), ("file_missing", "README.txt"),
    }  # fmt: skip


def test_hashes_brought_up_to_date_break_the_signature(forge, own):
    """Whoever changes a file and the manifest too has no key to sign it with."""
    result = check_bundle(forge(replace("README.txt", b"This", b"That")))
    assert codes(result) == ["bad_signature"]
    assert result["signed_by"]["good"] is False


def test_a_bundle_signed_by_another_is_named(forge, stored, tmp_path):
    """Signed again with another key: the pinned one tells."""
    path = forge(replace("README.txt", b"This", b"That"), key=tmp_path)
    pins = [Pin("Red one", own_public_key(stored[0]))]
    assert codes(check_bundle(path, pins)) == []
    assert check_bundle(path, pins)["signed_by"]["pinned"] is False
    assert codes(check_bundle(path, pins, signer="Red one")) == ["other_signer"]
    with pytest.raises(BundleError, match="no key is pinned"):
        check_bundle(path, pins, signer="Blue one")


def test_an_unsigned_bundle_is_named(forge):
    assert codes(check_bundle(forge(lambda files: files.pop(SIGNATURE)))) == ["not_signed"]


def test_a_changed_sample_is_named(forge, own, tmp_path):
    """One sample of one signal, with everything but the verdict brought up to date and signed again."""

    def change(files):
        raw = bytearray(files[f"{own}/samples.bin"])
        manifest = load(files[MANIFEST], "")
        at = 0
        for signal in manifest["drives"][0]["signals"]:
            if signal["name"] == "road_speed":
                at += signal["inside"] * 8 + 20 * 8  # the value at 10 s, inside the hold
                break
            at += signal["inside"] * 16
        assert struct.unpack_from("<d", raw, at) == (80.0,)
        struct.pack_into("<d", raw, at, 60.0)
        files[f"{own}/samples.bin"] = bytes(raw)

    result = check_bundle(forge(change, key=tmp_path))
    assert "samples" in codes(result)
    assert "road_speed" in next(p["message"] for p in result["problems"] if p["code"] == "samples")
    assert not result["same_verdict"]
    assert "Another verdict" in result["sentence"]
    table = next(p for p in result["problems"] if p["code"] == "table")
    assert table["where"].endswith(".csv")


@pytest.mark.parametrize(
    ("work", "said"),
    [
        (lambda v: v["captures"][1].update(qualified=1), "'pull', qualified: it says 1, the samples give 0"),
        (lambda v: v["captures"][0]["attempts"][0].update(duration_s=99.0), "duration: it says 99.0"),
        (lambda v: v["captures"][0]["attempts"][1].update(outcome="secured"), 'outcome: it says "secured"'),
        (lambda v: v["captures"][0]["attempts"][1]["reason"].update(text="Fine."), "Fine."),
        (lambda v: v["captures"][0]["attempts"].pop(), "attempts: it says 1, the samples give 2"),
        (lambda v: v["captures"].pop(), "captures: it says 1, the samples give 2"),
        (lambda v: v["captures"][0].pop("qualified"), "qualified is left out"),
        (lambda v: v["captures"][0]["attempts"][0].update(bonus=1), "bonus: it says 1"),
        (lambda v: v["drive"]["signals"]["road_speed"].update(rate_hz=20.0), "rate hz: it says 20.0"),
        (lambda v: v["drive"].update(duration_s=1.0), "length of the drive: it says 1.0"),
        (lambda v: v["alarms"].append({"capture": "pull"}), "alarms: it says 1, the samples give 0"),
    ],
)
def test_a_changed_verdict_is_named(forge, own, tmp_path, work, said):
    """However it is signed, it is not what the samples give; the first difference is said."""
    name = f"{own}/verdict.json"
    result = check_bundle(forge(edit(name, work), key=tmp_path))
    assert "verdict" in codes(result)
    assert said in result["sentence"]
    assert result["drives"][0]["difference"]
    assert not result["same_verdict"]


def test_a_changed_recipe_is_named(forge, own, tmp_path):
    """A wider band in the recipe: its hash is another, and what was judged is not what it says."""
    path = forge(replace(f"{own}/recipe.toml", b'"72 km/h"', b'"50 km/h"'), key=tmp_path)
    result = check_bundle(path)
    assert {"recipe", "plan"} <= set(codes(result))
    assert "72" in next(p["message"] for p in result["problems"] if p["code"] == "plan")
    sent = check_bundle(path, recipe=RECIPE.encode())
    assert "other_recipe" in codes(sent)


def test_a_recipe_and_plan_changed_together_are_found_by_whoever_sent_the_recipe(forge, own, tmp_path):
    """With recipe, plan, hashes and signature all forged, the recipe that was sent still tells."""
    result = check_bundle(forge(replace("README.txt", b"This", b"That"), key=tmp_path), recipe=b"another")
    assert codes(result) == ["other_recipe"]
    same = check_bundle(forge(replace("README.txt", b"This", b"That"), key=tmp_path), recipe=RECIPE.encode())
    assert codes(same) == []


def test_a_changed_plan_is_named(forge, own, tmp_path):
    """A looser plan gives a better verdict, but it is not what the recipe says."""

    def loosen(plan):
        plan["captures"][0]["keep"][0]["low"] = 10.0

    result = check_bundle(forge(edit(f"{own}/plan.json", loosen), key=tmp_path))
    assert {"plan", "verdict"} <= set(codes(result))
    told = next(p["message"] for p in result["problems"] if p["code"] == "plan")
    assert "low: it says 10.0, the samples give 72.0" in told


def test_a_plan_of_another_version_is_only_noted(forge, own, tmp_path):
    """Another version may honestly make another plan of a recipe: that is said, and proves nothing."""

    def change(files):
        edit(f"{own}/plan.json", lambda plan: plan["captures"][0].update(warn_ahead_us=1))(files)
        edit(MANIFEST, lambda m: m["program"].update(version="99.0"))(files)

    result = check_bundle(forge(change, key=tmp_path))
    assert codes(result) == []
    assert "plan" in [w["code"] for w in result["warnings"]]


def test_other_gear_ratios_are_noted(forge, own, tmp_path):
    """Ratios in the plan that are not the vehicle file's may have been learned: they are said."""

    def change(files):
        edit(f"{own}/plan.json", lambda p: p["derivations"][0]["given"]["ratios"].update({"3": 25.5}))(files)
        edit(MANIFEST, lambda m: m["drives"][0]["ratios"].update({"3": 25.5}))(files)

    result = check_bundle(forge(change, key=tmp_path))
    assert codes(result) == []
    assert "ways" in [w["code"] for w in result["warnings"]]


def test_a_changed_catalogue_is_named(forge, own, tmp_path):
    """A signal whose plausible range was widened."""

    def widen(signals):
        next(s for s in signals if s["name"] == "road_speed")["high"] = 999.0

    result = check_bundle(forge(edit(f"{own}/catalogue.json", widen), key=tmp_path))
    assert "catalogue" in codes(result)
    assert "road_speed" in next(p["message"] for p in result["problems"] if p["code"] == "catalogue")


def test_a_changed_table_is_named_with_its_line(forge, own, tmp_path):
    """A window's table that says another value than the samples."""
    name = f"{own}/windows/01-part-load-1.long.csv"
    result = check_bundle(forge(replace(name, b"road_speed,80,", b"road_speed,81,"), key=tmp_path))
    assert codes(result) == ["table"]
    assert result["problems"][0]["where"] == name
    assert re.search(r"Line \d+ says: [\d.]+,road_speed,81,km/h", result["problems"][0]["message"])


def test_a_table_left_out_or_added_is_named(forge, own, tmp_path):
    def change(files):
        files[f"{own}/windows/09-other-1.wide.csv"] = b"time [s]\n"
        files[f"{own}/windows/01-part-load-1.wide.csv"] = None

    result = check_bundle(forge(change, key=tmp_path))
    assert sorted(codes(result)) == ["file_extra", "file_missing"]


@pytest.mark.parametrize(
    ("work", "code"),
    [
        (lambda d: d["captures"][1].update(qualified=1), "summary"),
        (lambda d: d["captures"][0]["missed"].pop(), "summary"),
        (lambda d: d["ratios"].update({"1": 61.0}), "facts"),
        (lambda d: d.update(rules=7), "facts"),
        (lambda d: d["acknowledged"].append("closed_course"), "acknowledged"),
        (lambda d: d["signals"][2].update(rate_hz=50.0), "rates"),
        (lambda d: d["signals"][2].update(asked_hz=50.0), "rates"),
        (lambda d: d["signals"][2].update(sha256="0" * 64), "samples"),
        (lambda d: d["signals"][2].update(judged=False), "judged"),
        (lambda d: d["signals"][2].update(count=5_000), "samples_left_out"),
        (lambda d: d.update(title="Another"), "recipe_title"),
        (lambda d: d.update(last_us=1_000_000), "length"),
        (lambda d: d["vehicle"].update(sha256="0" * 64), "vehicle"),
        (lambda d: d["recipe"].update(sha256="0" * 64), "recipe"),
        (lambda d: d.update(folder="drives/elsewhere"), "folders"),
    ],
)
def test_a_manifest_that_says_something_else_is_named(forge, tmp_path, work, code):
    """Everything in the manifest that the rest of the bundle can prove is proved."""
    result = check_bundle(forge(edit(MANIFEST, lambda m: work(m["drives"][0])), key=tmp_path))
    assert code in codes(result)


def test_a_pause_slipped_in_changes_the_verdict(forge, tmp_path):
    """What people said is part of what is judged."""

    def change(m):
        m["drives"][0]["marks"].append({"t_us": 10_000_000, "kind": "pause", "capture": None, "text": ""})

    result = check_bundle(forge(edit(MANIFEST, change), key=tmp_path))
    assert "verdict" in codes(result)
    assert not result["same_verdict"]


def test_other_rules_are_said(forge, own, tmp_path):
    """A verdict under rules that this version does not know is not judged, and that is said."""

    def change(files):
        edit(f"{own}/plan.json", lambda p: p.update(rules=2))(files)

    result = check_bundle(forge(change, key=tmp_path))
    assert codes(result) == ["unreadable"]
    assert "rules 2" in result["sentence"]
    assert not result["same_verdict"]


def test_what_cannot_be_read_is_said_of_its_drive(forge, own, tmp_path):
    """A drive that cannot be checked does not keep the rest from being told."""
    result = check_bundle(forge(lambda files: files.update({f"{own}/plan.json": b"{}"}), key=tmp_path))
    assert codes(result) == ["unreadable"]
    assert "no plan" in result["problems"][0]["message"]
    missing = check_bundle(forge(lambda files: files.update({f"{own}/samples.bin": None}), key=tmp_path))
    assert codes(missing) == ["unreadable"]
    assert "missing" in missing["problems"][0]["message"]


def test_many_problems_are_counted(forge, own, monkeypatch):
    """Of very many only the first are listed."""
    monkeypatch.setattr(checking, "MOST_NAMED", 3)

    def change(files):
        for n in range(8):
            files[f"extra-{n}.txt"] = b"x"

    result = check_bundle(forge(change, honest=False))
    assert len(result["problems"]) == 3
    assert result["more"] == 5


def test_a_drive_without_people_or_vehicle(tmp_path):
    """A table that was replayed: nobody recorded what people said, and no car is known."""
    recipe = RECIPE.replace("gear = 2\n", "")
    folder = tmp_path / "data"
    plain = drive()
    table = type(plain)(plain.series)
    one = store_drive(folder, table, recipe=recipe, vehicle=None, meta={"file": "x.csv"}, people=False)
    make_bundle(folder, [one], tmp_path / "b.zip")
    result = check_bundle(tmp_path / "b.zip")
    assert result["problems"] == []
    assert result["same_verdict"]


def test_two_drives_in_one_bundle(tmp_path):
    """Each is checked by itself."""
    from coach.clock import HandClock

    folder = tmp_path / "data"
    ids = [store_drive(folder), store_drive(folder, drive(40), clock=HandClock(90_000_000))]
    made = make_bundle(folder, ids[::-1], tmp_path / "b.zip")
    result = check_bundle(tmp_path / "b.zip")
    assert result["ok"]
    assert [d["id"] for d in result["drives"]] == sorted(ids) == [c["id"] for c in made["contents"]]


def test_the_first_difference_of_two_tables():
    """Line and both texts, whatever the pieces are."""
    assert first_difference([b"a\nb\n"], [b"a", b"\nb", b"\n"]) is None
    assert first_difference([b"a\nb\n"], [b"a\nc\n"]) == (2, "b", "c")
    assert first_difference([b"a\n"], [b"a\nb\n"]) == (2, "nothing", "b")
    assert first_difference([b"a\n"], [b"a\n" + b"x" * 3_000_000])[1:] == ("nothing", "x" * 119 + "…")


@pytest.mark.parametrize("name", ["everything-qualifies", "limit-passed", "dropout"])
def test_bundled_drives_are_the_same_verdict(tmp_path, name):
    """Recorded drives with sweeps, limits, alarms and gaps, as the demo replays them."""
    from coach.assets import traces_root
    from coach.catalogue import default_catalogue
    from coach.sources.table import read_table

    root = traces_root()
    recipe, vehicle = ((root / f).read_text("utf-8") for f in ("demo-recipe.toml", "demo-vehicle.toml"))
    recording = read_table(root / f"{name}.csv", default_catalogue())
    folder = tmp_path / "data"
    one = store_drive(folder, recording, recipe=recipe, vehicle=vehicle, meta={"file": name}, people=False)
    make_bundle(folder, [one], tmp_path / "b.zip")
    result = check_bundle(tmp_path / "b.zip")
    assert result["problems"] == []
    assert [w["code"] for w in result["warnings"]] == ["unknown_key"]
    assert result["same_verdict"]
