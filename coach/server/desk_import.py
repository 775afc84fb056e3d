"""Puts a drive of a received bundle beside this laptop's own, so that every screen of a review shows it.

It is marked as come from a bundle (`source.kind` is `bundle`), put in once, and judged again from its samples.
"""

from __future__ import annotations

from pathlib import Path
from threading import Event, Lock
from typing import Any

from coach.bundle.opening import OpenedDrive, open_bundle
from coach.drive.recovery import judge_again
from coach.errors import CoachError, NotFound
from coach.server.services import Services
from coach.store import Around, NewDrive
from coach.store.labels import Label
from coach.store.planjson import dump_catalogue, dump_plan

KIND = "bundle"
WAIT_S = 120.0
_ONE = Lock()
"""One at a time: the same bundle asked for twice is put in once."""


def import_drive(services: Services, path: Path, sha: str, name: str = "") -> str:
    """The id of the stored drive, put in now or before.

    Args:
        path: the bundle, checked when it came.
        sha: its SHA-256.
        name: which drive of it; the first if left out.

    Raises:
        NotFound: it has no such drive.
        Conflict: a drive is being recorded.
        CoachError: it cannot be read or kept.
    """
    drives = open_bundle(path).drives
    drive = next((d for d in drives if name in ("", d.id)), None)
    if drive is None:
        raise NotFound("there is no such drive in this bundle", where=name)
    key = f"{KIND}:{sha}:{drive.id}"
    with _ONE:
        known = next((row.id for row in services.store.drives() if row.source.get("id") == key), None)
        return known or _put(services, drive, key)


def _put(services: Services, drive: OpenedDrive, key: str) -> str:
    entry, recording, plan = drive.entry, drive.recording(), drive.plan()
    identity = dict(entry.identity)
    meta = {k: v for k, v in identity.items() if k in ("ecus", "codes", "since_clear_km")}
    meta["notes"] = [n for n in entry.notes if "code" in n and "text" in n]
    if entry.vin is not None:
        meta["vin"] = entry.vin
    source: dict[str, Any] = {
        "kind": KIND, "id": key, "title": drive.path.name, "people_recorded": entry.people_recorded, "speed": None,
        "meta": meta, "drive": entry.id, **{k: identity[k] for k in ("flashed", "warnings") if k in identity},
    }  # fmt: skip
    new = NewDrive(
        recipe=drive.recipe_bytes(), recipe_sha=entry.recipe.sha256, recipe_name=entry.recipe.name, title=entry.title,
        revision=entry.revision, plan=dump_plan(plan), catalogue=dump_catalogue(drive.catalogue()), rules=entry.rules,
        vehicle=drive.vehicle_bytes(), vehicle_name=None if entry.vehicle is None else entry.vehicle.name,
        source=source, around={c: Around(*pair) for c, pair in entry.around.items()},
    )  # fmt: skip
    stored, log = services.store.create_drive(new)
    ended = Event()
    failed: list[CoachError] = []

    def done(error: CoachError | None) -> None:
        failed.extend([] if error is None else [error])
        ended.set()

    if entry.wall_us is not None:
        log.anchor(entry.wall_us)
    for t_us, values in recording.instants():
        log.samples_at(t_us, values)
    for mark in recording.marks or ():
        log.mark(mark)
    log.promised_us = entry.promised_us
    log.end(services.clock.wall_us(), done, error=entry.error)
    ended.wait(WAIT_S)
    if failed:
        raise failed[0]
    said = entry.facts
    air = {k: v for k in ("pressure_kpa", "temperature_c", "humidity_pct") if isinstance(v := said.get(k), int | float)}
    label = Label(str(said.get("name", "")), str(said.get("note", "")), **air)
    if label != Label():
        services.store.put_label(stored, label)
    judge_again(services.store, services.worker, stored)
    return stored
