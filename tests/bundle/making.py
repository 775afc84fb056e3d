"""Stored drives to make bundles of: small ones at once, and bundled ones as they were driven."""

from __future__ import annotations

import threading
from pathlib import Path
from typing import Any

import numpy as np

from coach.catalogue import default_catalogue
from coach.clock import HandClock
from coach.drive.tasks import run_task
from coach.plan import resolve
from coach.recipe import parse_recipe
from coach.recording import Mark, Recording, from_pairs
from coach.store import Around, NewDrive, Store
from coach.store.codec import load_attempt
from coach.store.planjson import dump_catalogue, dump_plan
from coach.vehicle import parse_vehicle

S = 1_000_000
VIN = "XXXC0ACH0P0004821"
RECIPE = """
format = 1
title = "Part load and a pull"
revision = 2
[record]
road_speed = "2 Hz"
engine_speed = "2 Hz"
coolant_temp = "0.5 Hz"
[[capture]]
id = "part-load"
title = "Steady part load"
hold = "20 s"
grace = "1 s"
before = "3 s"
after = "2 s"
[capture.keep]
road_speed = { min = "72 km/h", max = "88 km/h" }
coolant_temp = { min = "80 degC" }
gear = 2
[[capture]]
id = "pull"
title = "A pull"
place = "closed course"
[capture.sweep]
engine_speed = { from = "2200 rpm", to = "4600 rpm", within = "30 s", late = "300 rpm" }
[capture.limit]
coolant_temp = { max = "108 degC" }
"""
VEHICLE = 'label = "Red one"\n[rpm_per_kmh]\n1 = 60\n2 = 40\n3 = 25\n'
META: dict[str, Any] = {
    "url": "socket://192.168.0.10:35000", "adapter": "ELM327 v1.5", "protocol": "ISO 15765-4", "voltage": 13.9,
    "vin": VIN, "engine": "00", "batch": 6, "round_trip_ms": 41.0,
    "ecus": [{"address": "00", "calibrations": ["COACH-ENGINE-01"], "verifications": ["1791BC82"]}],
    "codes": {"stored": [], "pending": []}, "asked_hz": {"road_speed": 2.0},
}  # fmt: skip
MARKS = (
    Mark(0, "acknowledge", None, "law"), Mark(0, "role", None, "passenger"), Mark(0, "device", None, "Anna's phone"),
    Mark(0, "fact", None, "octane=98"), Mark(1 * S, "arm", "pull"),
)  # fmt: skip


def drive(seconds: int = 60, **more: Any) -> Recording:
    """Two rows a second: one hold of 30 s that counts, one that is too short, and a signal that nobody asked for."""
    pairs = []
    for n in range(2 * seconds):
        t = n / 2
        speed = 80.0 if 5 <= t <= 35 or 45 <= t <= 52 else 60.0
        row = {"road_speed": speed, "engine_speed": speed * 40, "throttle": 20.0 + n % 7}
        if n % 2 == 0:
            row["coolant_temp"] = 90.0
        pairs += [(round(t * S), name, value) for name, value in row.items()]
    return from_pairs(pairs, marks=MARKS, **more)


def store_drive(
    folder: Path, recording: Recording | None = None, *, recipe: str = RECIPE, vehicle: str | None = VEHICLE,
    meta: dict[str, Any] | None = None, people: bool = True, ended: bool = True, clock: HandClock | None = None,
) -> str:  # fmt: skip
    """Puts a drive into the data folder as if it had been recorded; its id."""
    recording = drive() if recording is None else recording
    catalogue = default_catalogue()
    asked = parse_recipe(recipe, name="request.toml", catalogue=catalogue)
    car = None if vehicle is None else parse_vehicle(vehicle)
    plan = resolve(asked, catalogue, car, measured=list(recording.series), people_recorded=people)
    new = NewDrive(
        asked.source, asked.sha256, asked.name, asked.title, asked.revision, dump_plan(plan), dump_catalogue(catalogue),
        plan.rules, vehicle=None if vehicle is None else vehicle.encode(), vehicle_name="car.toml",
        source={"kind": "link", "id": "link:0", "title": "The car", "speed": 1.0, "people_recorded": people,
                "meta": META if meta is None else meta},
        around={c.id: Around(c.before_us, c.after_us) for c in asked.captures},
    )  # fmt: skip
    with Store(folder, clock or HandClock()) as store:
        drive_id, log = store.create_drive(new)
        marks = sorted(recording.marks or (), key=lambda m: m.t_us)
        for t_us, values in recording.instants():
            while marks and marks[0].t_us <= t_us:
                log.mark(marks.pop(0))
            log.samples_at(t_us, values)
        for mark in marks:
            log.mark(mark)
        log.anchor(1_700_000_000 * S)
        log.promised_us = recording.end_us
        if ended:
            log.end(1_700_000_100 * S)
        log.flush()
        done = threading.Event()
        log.settle(lambda _: done.set())
        assert done.wait(60)
        if ended:
            made = run_task(folder, "judge", {"drive": drive_id})
            store.put_attempts(drive_id, asked.sha256, plan.rules, [load_attempt(a) for a in made["attempts"]])
    return drive_id


def same(a: Recording, b: Recording) -> bool:
    """Whether two recordings have the same samples."""
    return a.series.keys() == b.series.keys() and all(
        np.array_equal(a.series[n].t_us, b.series[n].t_us)
        and np.array_equal(a.series[n].value, b.series[n].value, equal_nan=True)
        for n in a.series
    )
