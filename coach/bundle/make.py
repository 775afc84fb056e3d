"""Makes a bundle from stored drives. The same drives, key and wishes give the same bytes; never half a bundle."""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
from collections.abc import Iterator, Sequence
from itertools import chain
from pathlib import Path
from typing import IO, Any

from coach import __version__
from coach.bundle import entry as told
from coach.bundle import tables
from coach.bundle.keys import fingerprint, sign
from coach.bundle.manifest import FORMAT, KIND, MOST_DRIVES, MOST_SAMPLES, Manifest
from coach.bundle.masking import Mask, is_place
from coach.bundle.samples import BundledRecording, digest, pack
from coach.bundle.strict import dump, finite
from coach.bundle.wanted import MANIFEST, SIGNATURE, Wanted
from coach.bundle.zipped import MOST_FILE, ZipWriter
from coach.core.spec import JudgePlan
from coach.drive.verdict import stored_verdict_json
from coach.errors import BadInput, BundleError, Conflict, StoreError
from coach.recording import US, Recording
from coach.signals import Catalogue
from coach.store.files import DISK_FULL, FILE_MODE, TEMPORARY, store_error
from coach.store.model import Around, DriveRow
from coach.store.planjson import load_catalogue, load_plan
from coach.store.reading import Reader
from coach.store.store import DATABASE
from coach.words import load_words


class _Drive:
    """Everything of one drive that goes in."""

    def __init__(self, reader: Reader, drive: str, wanted: Wanted) -> None:
        self.row: DriveRow = reader.drive(drive)
        if self.row.phase != "ended":
            raise Conflict("the drive is still being recorded; stop it first", where=drive)
        full = reader.recording(drive)
        self.recording = Recording(
            {n: s for n, s in full.series.items() if not is_place(n)}, full.marks, full.wall_us, full.end_us,
            full.notes, full.meta,
        )  # fmt: skip
        if self.recording.samples > MOST_SAMPLES:
            raise BundleError(f"the drive has more samples than a bundle may hold ({MOST_SAMPLES:,})", where=drive)
        self.wanted = wanted
        self.plan: JudgePlan = load_plan(self.row.plan)
        self.catalogue: Catalogue = load_catalogue(self.row.catalogue)
        self.verdict: dict[str, Any] = stored_verdict_json(reader, drive)
        said = self.verdict["drive"]
        said["samples"] = self.recording.samples
        said["signals"] = {n: one for n, one in said["signals"].items() if not is_place(n)}
        self.label = reader.label(drive)
        self.mask = Mask(told.vin_of(self.row), whole=wanted.full_vin)
        default = Around()
        self.around = {
            c.id: (a.before_us, a.after_us) for c in self.plan.captures for a in [self.row.around.get(c.id, default)]
        }  # fmt: skip
        self.inside: BundledRecording = tables.around_windows(
            self.recording, self.verdict, self.around, frozenset(self.plan.facts), whole=wanted.whole
        )
        self.folder = f"drives/{drive}"
        self.report = f"report-{drive}.html"
        self._reader = reader

    def files(self) -> Iterator[tuple[str, Iterator[bytes]]]:
        """Name and contents of every file of this drive, but its samples."""
        row, mask = self.row, self.mask
        yield self.path(self.recipe_file), iter([row.recipe])
        if row.vehicle is not None:
            yield self.path("vehicle.toml"), iter([mask.raw(row.vehicle)])
        yield self.path("plan.json"), iter([dump(finite(json.loads(row.plan)))])
        yield self.path("catalogue.json"), iter([dump(finite(json.loads(row.catalogue)))])
        yield self.path("verdict.json"), iter([dump(self.verdict | {"notes": mask.data(self.verdict["notes"])})])
        yield self.path("attempts.csv"), iter([tables.attempts_table(self.verdict)])
        for name, chunks in tables.window_tables(self.verdict, self.around, self.inside, self.catalogue):
            yield self.path(name), chunks
        if self.wanted.whole:
            for name, chunks in tables.drive_tables(self.inside, self.catalogue):
                yield self.path(name), chunks

    def path(self, name: str) -> str:
        """A file's name in the bundle."""
        return f"{self.folder}/{name}"

    @property
    def recipe_file(self) -> str:
        """The recipe's name below the folder, with the ending that fits it."""
        return "recipe.json" if self.row.recipe.lstrip(b"\xef\xbb\xbf \t\r\n")[:1] == b"{" else "recipe.toml"

    def html(self) -> bytes:
        """The report."""
        return self.mask.text(report_html(self._reader, self.row.id, self.recording)).encode()

    def samples(self) -> Iterator[tuple[str, bytes]]:
        """Name and packed samples of each signal, in the order of names."""
        for name in sorted(self.inside.series):
            yield name, pack(self.inside.series[name])

    def entry(self, packed: dict[str, tuple[int, str]]) -> dict[str, Any]:
        """What the manifest says of this drive."""
        row, mask = self.row, self.mask
        vehicle = None
        if row.vehicle is not None:
            changed = mask.raw(row.vehicle) != row.vehicle
            name = mask.text(row.vehicle_name or "vehicle.toml")
            vehicle = _received(self.path("vehicle.toml"), name, row.vehicle) | {"masked": changed}
        marks = told.sent_marks(self.recording.marks)
        people = bool(row.source.get("people_recorded", True))
        signals = [
            told.signal_entry(n, series, *packed[n], self.plan, self.catalogue).model_dump()
            for n, series in sorted(self.recording.series.items())
        ]  # fmt: skip
        return {
            "id": row.id, "folder": self.folder, "title": row.title, "revision": row.revision, "rules": row.rules,
            "whole": self.wanted.whole, "recipe": _received(self.path(self.recipe_file), row.recipe_name, row.recipe),
            "vehicle": vehicle, "wall_us": row.anchor_wall_us, "started": told.started(row),
            "last_us": self.recording.duration_us, "promised_us": row.promised_us, "samples": self.recording.samples,
            "recovered": row.recovered, "error": mask.data(row.error), "people_recorded": people,
            "vin": mask.shown, "vin_whole": self.wanted.full_vin and mask.shown is not None,
            "link": finite(mask.data(told.link_facts(row))), "identity": finite(mask.data(told.identity_facts(row))),
            "facts": finite(mask.data(told.declared(self.recording.marks, self.label))),
            "ratios": told.ratios_of(self.plan),
            "acknowledged": [m.text for m in marks or () if m.kind == "acknowledge"],
            "signals": signals,
            "marks": None if marks is None else [
                {"t_us": m.t_us, "kind": m.kind, "capture": m.capture, "text": mask.text(m.text)} for m in marks
            ],
            "around": {name: list(pair) for name, pair in self.around.items()},
            "notes": told.notes_of(self.recording, mask), "captures": list(self._captures()),
        }  # fmt: skip

    def _captures(self) -> Iterator[dict[str, Any]]:
        for index, capture in enumerate(self.verdict["captures"]):
            good = [a["number"] for a in capture["attempts"] if a["secured_s"] is not None]
            yield {
                **{key: capture[key] for key in ("id", "title", "asked", "qualified")},
                "windows": [
                    {"number": n}
                    | {f: self.path(tables.window_name(index, capture["id"], n, f)) for f in tables.FORMS}
                    for n in good
                ],
                "missed": [
                    {"number": a["number"], "outcome": a["outcome"], "reason": (a["reason"] or {}).get("text", "")}
                    for a in capture["attempts"] if a["secured_s"] is None
                ],
            }  # fmt: skip


def report_html(reader: Reader, drive: str, recording: Recording) -> str:
    """The report on a stored drive: one page, with nothing outside it, and of `recording` only."""
    from coach.review.report import html
    from coach.review.subject import stored_subject

    subject = stored_subject(reader, drive)
    subject.recording = recording
    return html(subject)


def _received(path: str, name: str, body: bytes) -> dict[str, Any]:
    return {"file": path, "name": name, "sha256": hashlib.sha256(body).hexdigest(), "masked": False}


def make_bundle(folder: Path, drives: Sequence[str], out: Path, wanted: Wanted | None = None) -> dict[str, Any]:
    """Makes a bundle of stored drives.

    Args:
        folder: the data folder; the key of this installation is made in it where there is none.
        drives: ids, each once.
        out: an existing file is replaced, once the new one is whole.
        wanted: what the owner chooses.

    Returns:
        `size`, `sha256`, `fingerprint` of the key, and `contents`: what is inside, to be seen before it is sent.

    Raises:
        BadInput: no drive, too many, or one twice; `out` is no name of a file.
        NotFound: no such drive.
        Conflict: a drive is still being recorded.
        BundleError: it would be larger than a bundle may be.
        StoreError: the data folder or `out` cannot be used.
    """
    wanted = wanted or Wanted()
    if not drives or len(drives) > MOST_DRIVES or len(set(drives)) != len(drives):
        raise BadInput(f"name 1 to {MOST_DRIVES} drives, each once", where="DRIVE")
    if not out.name:
        raise BadInput("this is no name of a file", where=str(out))
    reader = Reader(folder / DATABASE)
    part = out.with_name(f"{out.name}.{os.getpid()}{TEMPORARY}")
    try:
        handle = os.open(part, os.O_RDWR | os.O_CREAT | os.O_TRUNC, FILE_MODE)
        with os.fdopen(handle, "w+b") as file:
            made = _write(file, reader, folder, drives, wanted)
            file.flush()
            os.fsync(file.fileno())
            size, sha256 = _measure(file)
        if size > MOST_FILE:
            raise BundleError(
                f"the bundle would be larger than {MOST_FILE >> 20} MB; send fewer drives", where=out.name
            )
        part.replace(out)
    except OSError as error:
        if isinstance(error, (Conflict, BadInput)) or hasattr(error, "code"):
            raise
        if error.errno in DISK_FULL:
            raise store_error(error, out) from error
        raise StoreError(f"the bundle cannot be written: {error.strerror or error}", where=str(out)) from error
    finally:
        with contextlib.suppress(OSError):
            part.unlink()
    return {"size": size, "sha256": sha256, **made}


def _write(file: IO[bytes], reader: Reader, folder: Path, drives: Sequence[str], wanted: Wanted) -> dict[str, Any]:
    entries, contents, extra = [], [], 0
    with ZipWriter(file) as zipped:
        for drive in sorted(drives):
            one = _Drive(reader, drive, wanted)
            for name, chunks in sorted(one.files(), key=lambda pair: pair[0]):
                zipped.add(name, chunks)
            packed = {name: (len(raw) // 16, digest(raw)) for name, raw in one.samples()}
            zipped.add(one.path("samples.bin"), (raw for _, raw in one.samples()))
            zipped.add(one.report, iter([one.html()]))
            entries.append(one.entry(packed))
            contents.append(_contents(one))
            extra += _more(one, zipped)
        zipped.add("README.txt", iter([load_words()("bundle.readme").encode()]))
        files = [{"path": p, "size": s, "sha256": d} for p, (s, d) in sorted(zipped.digests.items())]
        manifest = {
            "kind": KIND, "format": FORMAT, "program": {"name": "log capture coach", "version": __version__},
            "drives": entries, "files": files,
        }  # fmt: skip
        raw = dump(manifest)
        Manifest.model_validate_json(raw)
        signature = sign(folder, raw)
        zipped.add(MANIFEST, iter([raw]))
        zipped.add(SIGNATURE, iter([dump(signature)]))
    listed = [{"path": p, "size": s, "packed": zipped.packed[p]} for p, (s, _) in sorted(zipped.digests.items())]
    return {
        "fingerprint": fingerprint(signature["public_key"]), "contents": contents, "files": listed, "extra": extra,
        "whole": wanted.whole, "full_vin": wanted.full_vin,
    }  # fmt: skip


def _more(one: _Drive, zipped: ZipWriter) -> int:
    """Packed bytes of what only the whole drive brings: its tables."""
    return sum(zipped.packed.get(one.path(f"drive.{form}.csv"), 0) for form in tables.FORMS)


def _contents(one: _Drive) -> dict[str, Any]:
    """What is inside of one drive, for people."""
    attempts = [a for c in one.verdict["captures"] for a in c["attempts"]]
    before, after = [max((pair[i] for pair in one.around.values()), default=0) / US for i in (0, 1)]
    judged = sum(n in one.plan.facts for n in one.recording.series)
    return {
        "id": one.row.id, "title": one.row.title, "revision": one.row.revision,
        "windows": sum(a["secured_s"] is not None for a in attempts),
        "missed": sum(a["secured_s"] is None for a in attempts), "before_s": before, "after_s": after,
        "judged_signals": judged, "other_signals": len(one.recording.series) - judged,
        "duration_s": one.recording.duration_us / US, "vin": one.mask.shown, "vin_known": one.mask.shown is not None,
        "note": bool(one.label.note), "facts": len(told.declared(one.recording.marks, one.label)),
    }  # fmt: skip


def _measure(file: IO[bytes]) -> tuple[int, str]:
    file.seek(0)
    whole = hashlib.sha256()
    size = 0
    for piece in chain(iter(lambda: file.read(2**20), b"")):
        whole.update(piece)
        size += len(piece)
    return size, whole.hexdigest()
