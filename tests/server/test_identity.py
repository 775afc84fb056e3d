"""Each drive keeps which calibration was in the car, as told and as said; Ready warns before one sets off."""

from __future__ import annotations

import pytest

from coach.clock import Clock
from coach.drive.tasks import InPlace
from coach.server.carlink import GivenLink
from coach.server.models import Flashed, StartDrive
from coach.server.services import Services
from coach.server.starting import Given
from coach.sources.adapter import AdapterServer, Identity
from coach.sources.table import read_table
from coach.store import Store
from tests.link.wired import table_car

RECIPE = """
format = 1
title = "Steady"
revision = {revision}
[record]
road_speed = "4 Hz"
[[capture]]
id = "steady"
title = "Steady"
hold = "30 s"
[capture.keep]
road_speed = {{ min = "72 km/h", max = "88 km/h" }}
"""


@pytest.fixture
def rig(tmp_path):
    """A server with revisions 2 and 3 before a car that tells its calibrations and 31 km since trims were cleared."""
    car = table_car(answers={(1, 0x31): (31).to_bytes(2, "big")})
    with AdapterServer(car, ecus=2) as server:
        paths = []
        for revision in (2, 3):
            paths.append(tmp_path / f"{revision}.toml")
            paths[-1].write_text(RECIPE.format(revision=revision))
        store = Store(tmp_path / "data", Clock())
        given = Given(tuple(paths), links=(GivenLink(server.url, begin=lambda: None),))
        services = Services.make(store, InPlace(store.folder), Clock(), read_table, given)
        yield services, car
        services.close()


def look(services, wait_for, revision):
    sha = services.shelf.bundled[revision - 2]
    wait_for(lambda: services.ready(sha, "link:0")[0]["state"] == "ok")
    return next(m for m in services.ready(sha, "link:0") if m["id"] == "identity")


def drive(services, wait_for, revision, flashed):
    sha = services.shelf.bundled[revision - 2]
    going = services.start(StartDrive(recipe=sha, source="link:0", role="passenger", flashed=flashed))
    wait_for(lambda: services.state()["captures"] and services.store.drive(going.id).samples > 0)
    state = services.state()
    going.finish()
    assert going.wait(60)
    return services.store.drive(going.id).source, state


def test_a_drive_keeps_what_the_car_told_and_what_a_person_said(rig, wait_for):
    """Then the next revision with the same numbers is a warning before driving, and stands in that drive too."""
    services, car = rig
    mark = look(services, wait_for, 2)
    assert mark["state"] == "warn"
    assert mark["text"].startswith(
        "Calibration COACH-ENGINE-01, COACH-GEARBOX-1. Codes and trims were cleared 31 km ago."
    )
    assert [w["code"] for w in mark["warnings"]] == ["not_settled"]
    assert mark["flashed"] is None
    stored, state = drive(services, wait_for, 2, Flashed(revision=2, date="2026-05-04"))
    assert stored["flashed"] == {"revision": 2, "date": "2026-05-04"}
    assert [w["code"] for w in stored["warnings"]] == ["not_settled"]
    meta = stored["meta"]
    assert meta["ecus"] == [
        {"address": "00", "calibrations": ["COACH-ENGINE-01"], "verifications": ["1791BC82"]},
        {"address": "01", "calibrations": ["COACH-GEARBOX-1"], "verifications": ["2A04D0F6"]},
    ]
    assert meta["since_clear_km"] == 31
    assert meta["vin"].startswith("XXX")
    assert state["link"]["occupied"] is False
    assert [(r["name"], r["asked_hz"]) for r in state["link"]["rates"]] == [("Speed", 4.0)]
    again = look(services, wait_for, 2)
    assert again["flashed"] == {"revision": 2, "date": "2026-05-04"}
    mark = look(services, wait_for, 3)
    assert [w["code"] for w in mark["warnings"]] == ["same_calibration", "not_settled"]
    stored, _ = drive(services, wait_for, 3, Flashed(revision=2))
    assert [w["code"] for w in stored["warnings"]] == ["same_calibration", "other_revision", "not_settled"]
    assert stored["flashed"] == {"revision": 2, "date": None}
    # A new calibration is told by its number.
    car.identity = Identity(calibrations=(("COACH-ENGINE-02",), ("COACH-GEARBOX-1",)))
    assert not services.garage.entry("link:0").link.retry()
    wait_for(lambda: "COACH-ENGINE-02" in look(services, wait_for, 3)["text"])
    assert [w["code"] for w in look(services, wait_for, 3)["warnings"]] == ["changed_calibration", "not_settled"]


def test_a_drive_nobody_said_anything_before_is_kept_without(rig, wait_for):
    services, _ = rig
    stored, _ = drive(services, wait_for, 2, None)
    assert stored["flashed"] is None
    # A replay has no identity.
    sha = services.shelf.bundled[2]
    assert "identity" not in {m["id"] for m in services.ready(sha, "simulator:everything-qualifies")}


def test_ready_says_what_each_signal_and_sweep_gets(rig, wait_for):
    services, _ = rig
    look(services, wait_for, 2)
    demo = services.shelf.bundled[2]
    marks = {m["id"]: m for m in services.ready(demo, "link:0")}
    rates = {r["signal"]: r for r in marks["signals"]["rates"]}
    assert rates["engine_speed"]["offered"]
    assert rates["engine_speed"]["expected_hz"] > 0
    assert set(rates["engine_speed"]) == {"signal", "name", "asked_hz", "expected_hz", "offered", "enough"}
    assert [s["capture"] for s in marks["signals"]["sweeps"]] == ["roll-on"]
