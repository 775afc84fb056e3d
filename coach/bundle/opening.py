"""Opens a bundle: layout, manifest and signature at once; recipe, plan and samples when they are asked for.

Pure: reads the one file, writes nothing, trusts nothing. What it gives can be pickled and used in any process.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from hashlib import sha256
from pathlib import Path
from typing import Any

from coach.bundle.keys import Signature, verify
from coach.bundle.manifest import MOST_CAPTURES, MOST_SAMPLES, DriveEntry, Manifest, Packed, read_manifest
from coach.bundle.samples import BYTES, BundledRecording, unpack
from coach.bundle.strict import load
from coach.bundle.wanted import MANIFEST, SIGNATURE
from coach.bundle.zipped import Entry, digest_of, pieces, read_entries, read_whole
from coach.core.spec import JudgePlan
from coach.errors import BundleError, CoachError
from coach.recipe import Recipe, parse_recipe
from coach.recording import Mark, Note
from coach.signals import Catalogue
from coach.store.planjson import load_catalogue, load_plan
from coach.vehicle import Vehicle, parse_vehicle

MOST_JSON = 32 * 2**20
MOST_MANIFEST = 8 * 2**20
MOST_SIGNATURE = 2_000
MOST_RECIPE = 2**20
DERIVATION = re.compile(r"coach\.(core|vehicle)\.[a-z_]+:[A-Z][A-Za-z]*")
"""Where derivations stand; the plan in a bundle may name no other module of this program."""


@dataclass(frozen=True)
class OpenedDrive:
    """One drive in a bundle. Everything but `entry` is read when asked for; each may raise BundleError."""

    path: Path
    entry: DriveEntry
    entries: dict[str, Entry] = field(repr=False)

    @property
    def id(self) -> str:
        """What it is called where it was recorded."""
        return self.entry.id

    @property
    def title(self) -> str:
        """The recipe's title."""
        return self.entry.title

    @property
    def revision(self) -> int:
        """The recipe's revision."""
        return self.entry.revision

    @property
    def recipe_sha(self) -> str:
        """SHA-256 of the recipe as it was received."""
        return self.entry.recipe.sha256

    def read(self, name: str, most: int = MOST_JSON) -> bytes:
        """A file by its whole name, of at most `most` bytes. Raises BundleError."""
        if name not in self.entries:
            raise BundleError("this file is missing", where=f"{self.path.name}, {name}")
        return read_whole(self.path, self.entries[name], most)

    def own(self, name: str) -> str:
        """The whole name of a file of this drive."""
        return f"{self.entry.folder}/{name}"

    def recipe_bytes(self) -> bytes:
        """The recipe as it was received. Raises BundleError."""
        return self.read(self.entry.recipe.file, MOST_RECIPE)

    def recipe(self) -> Recipe:
        """The recipe. Raises BundleError."""
        with _as_bundle_error(self, self.entry.recipe.file):
            return parse_recipe(self.recipe_bytes(), name=self.entry.recipe.name, catalogue=self.catalogue())
        raise AssertionError

    def vehicle_bytes(self) -> bytes | None:
        """The vehicle file, or None. Raises BundleError."""
        return None if self.entry.vehicle is None else self.read(self.entry.vehicle.file, MOST_RECIPE)

    def vehicle(self) -> Vehicle | None:
        """The vehicle, or None. Raises BundleError."""
        raw = self.vehicle_bytes()
        if raw is None:
            return None
        with _as_bundle_error(self, self.own("vehicle.toml")):
            return parse_vehicle(raw)
        raise AssertionError

    def catalogue(self) -> Catalogue:
        """The catalogue as it was resolved when the drive was recorded. Raises BundleError."""
        name = self.own("catalogue.json")
        data = load(self.read(name), f"{self.path.name}, {name}")
        if not isinstance(data, list) or len(data) > 5_000:
            raise BundleError("this is no catalogue of signals", where=f"{self.path.name}, {name}")
        with _as_bundle_error(self, name):
            return load_catalogue(json.dumps(data))
        raise AssertionError

    def plan(self) -> JudgePlan:
        """What was judged. Raises BundleError."""
        name = self.own("plan.json")
        where = f"{self.path.name}, {name}"
        data = load(self.read(name), where)
        try:
            captures, ways = len(data["captures"]), [way["kind"] for way in data["derivations"]]
        except (KeyError, TypeError):
            raise BundleError("this is no plan of what is judged", where=where) from None
        if captures > MOST_CAPTURES or len(ways) > MOST_CAPTURES:
            raise BundleError(f"it has {captures} captures; a bundle has at most {MOST_CAPTURES}", where=where)
        if not all(isinstance(way, str) and DERIVATION.fullmatch(way) for way in ways):
            raise BundleError("it names a way to derive signals that is none of the judge's", where=where)
        with _as_bundle_error(self, name):
            return load_plan(json.dumps(data))
        raise AssertionError

    def recording(self) -> BundledRecording:
        """The samples inside; derived from nothing, judged by nobody. Raises BundleError."""
        return self.recording_and_digests()[0]

    def recording_and_digests(self) -> tuple[BundledRecording, dict[str, str]]:
        """The samples inside, and SHA-256 of each signal's. Raises BundleError."""
        entry, name = self.entry, self.own("samples.bin")
        counts = [(s.name, s.inside) for s in entry.signals]
        total = sum(count for _, count in counts)
        if total > MOST_SAMPLES or len({n for n, _ in counts}) != len(counts):
            raise BundleError(
                f"a bundle holds at most {MOST_SAMPLES:,} samples, each signal once", where=self.path.name
            )
        raw = self.read(name, total * BYTES)
        series, digests = {}, {}
        for signal, samples, digest in unpack(raw, counts, f"{self.path.name}, {name}"):
            digests[signal] = digest
            if len(samples):
                series[signal] = samples
        marks = None
        if entry.marks is not None:
            marks = tuple(Mark(m.t_us, m.kind, m.capture, m.text) for m in entry.marks)
        notes = tuple(
            Note(str(n.get("code")), str(n.get("text")), n.get("signal"), _count(n.get("count"))) for n in entry.notes
        )
        meta = {"bundle": self.path.name, "drive": entry.id}
        made = BundledRecording(series, marks, entry.wall_us, entry.promised_us, notes, meta, last_us=entry.last_us)
        return made, digests

    def verdict(self) -> dict[str, Any]:
        """The verdict as it was said when the bundle was made: a claim, until judged again. Raises BundleError."""
        name = self.own("verdict.json")
        data = load(self.read(name), f"{self.path.name}, {name}")
        if not isinstance(data, dict) or not isinstance(data.get("captures"), list):
            raise BundleError("this is no verdict", where=f"{self.path.name}, {name}")
        return data

    def pieces(self, name: str) -> Iterator[bytes]:
        """The bytes of a file by its whole name, a piece at a time. Raises BundleError."""
        if name not in self.entries:
            raise BundleError("this file is missing", where=f"{self.path.name}, {name}")
        return pieces(self.path, self.entries[name])


def _count(value: object) -> int:
    return value if isinstance(value, int) else 1


class _as_bundle_error:  # noqa: N801 - reads as what it does
    """Turns whatever a reader says of a file inside into an error of the bundle."""

    def __init__(self, drive: OpenedDrive, name: str) -> None:
        self._where = f"{drive.path.name}, {name}"

    def __enter__(self) -> None:
        return

    def __exit__(self, kind: object, error: BaseException | None, _: object) -> None:
        if isinstance(error, CoachError):
            if isinstance(error, BundleError):
                return
            raise BundleError(str(error), where=self._where) from None
        if isinstance(error, (ArithmeticError, ValueError, TypeError, LookupError, RecursionError)):
            raise BundleError(f"it cannot be used ({type(error).__name__})", where=self._where) from None


@dataclass(frozen=True)
class Opened:
    """A bundle.

    Attributes:
        sha256: of the whole file.
        signature: None where it is not signed.
    """

    path: Path
    sha256: str
    manifest: Manifest
    signature: Signature | None
    entries: dict[str, Entry] = field(repr=False)

    @property
    def drives(self) -> tuple[OpenedDrive, ...]:
        """The drives, by id."""
        return tuple(OpenedDrive(self.path, entry, self.entries) for entry in self.manifest.drives)

    @property
    def listed(self) -> dict[str, Packed]:
        """What the manifest says of each file."""
        return {one.path: one for one in self.manifest.files}

    def changed(self) -> list[tuple[str, str]]:
        """Files that are not what the manifest says, and how: `changed`, `missing`, `added`, `damaged`."""
        found = []
        listed = self.listed
        for name, entry in self.entries.items():
            if name in (MANIFEST, SIGNATURE):
                continue
            if name not in listed:
                found.append((name, "added"))
                continue
            try:
                if digest_of(self.path, entry) != listed[name].sha256 or entry.size != listed[name].size:
                    found.append((name, "changed"))
            except BundleError:
                found.append((name, "damaged"))
        found += [(name, "missing") for name in listed if name not in self.entries]
        return found


def open_bundle(path: Path | str) -> Opened:
    """Opens a bundle; cheap: no samples are read.

    Raises:
        BundleError: it is no bundle, or not laid out as one, or its manifest cannot be read.
    """
    path = Path(path)
    entries = read_entries(path)
    if MANIFEST not in entries:
        raise BundleError("this is no bundle: there is no manifest in it", where=path.name)
    raw = read_whole(path, entries[MANIFEST], MOST_MANIFEST)
    manifest = read_manifest(raw, f"{path.name}, {MANIFEST}")
    signature = None
    if SIGNATURE in entries:
        signed = load(read_whole(path, entries[SIGNATURE], MOST_SIGNATURE), f"{path.name}, {SIGNATURE}")
        if not isinstance(signed, dict) or signed.get("algorithm") != "Ed25519":
            raise BundleError("the signature is of a kind that this version does not know", where=path.name)
        key, made = str(signed.get("public_key")), str(signed.get("signature"))
        if not re.fullmatch(r"[0-9a-f]{64}", key) or not re.fullmatch(r"[0-9a-f]{128}", made):
            raise BundleError("the signature is none", where=f"{path.name}, {SIGNATURE}")
        signature = verify(raw, key, made)
    return Opened(path, _whole(path), manifest, signature, entries)


def _whole(path: Path) -> str:
    digest = sha256()
    with path.open("rb") as file:
        while piece := file.read(2**20):
            digest.update(piece)
    return digest.hexdigest()


__all__ = ["Opened", "OpenedDrive", "open_bundle"]
