"""The whole check of a bundle: hashes, signature, tables against samples, plan against recipe, verdict judged again.

Everything that does not fit is named, as far as it can be; nothing is believed because the bundle says it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from hashlib import sha256
from pathlib import Path
from typing import Any

from coach import __version__
from coach.bundle import tables
from coach.bundle.entry import ratios_of, signal_entry
from coach.bundle.judging import plan_difference, rejudge, verdict_difference
from coach.bundle.keys import Pin
from coach.bundle.nearest import nearest_json
from coach.bundle.opening import Opened, OpenedDrive, open_bundle
from coach.bundle.tables_differ import first_difference
from coach.catalogue import default_catalogue
from coach.core.spec import JudgePlan
from coach.errors import BundleError, CoachError
from coach.signals import Catalogue
from coach.sources.link.decode import as_read, ways
from coach.vehicle import Vehicle
from coach.words import load_words

MOST_NAMED = 50
"""So many problems are listed; the rest are counted."""


@dataclass
class _Found:
    """What a check comes to."""

    problems: list[dict[str, Any]] = field(default_factory=list)
    warnings: list[dict[str, Any]] = field(default_factory=list)
    more: int = 0

    def problem(self, code: str, where: str | None, **values: object) -> None:
        """Something is not as it was made."""
        if len(self.problems) >= MOST_NAMED:
            self.more += 1
            return
        self.problems.append(
            {"code": code, "message": load_words()(f"bundle.problem.{code}", **values), "where": where}
        )

    def warn(self, code: str, where: str | None, **values: object) -> None:
        """Something that a person should know, and that proves nothing."""
        message = load_words()(f"bundle.warning.{code}", **values)
        self.warnings.append({"code": code, "message": message, "where": where})


def check_bundle(
    path: Path | str, pins: Sequence[Pin] = (), *, signer: str | None = None, recipe: bytes | None = None
) -> dict[str, Any]:
    """Checks a bundle from end to end.

    Args:
        path: the file.
        pins: keys that the reader trusts.
        signer: name of the pinned key that must have signed it, or None.
        recipe: the recipe that was sent, as it was sent, or None.

    Returns:
        JSON-able: `sha256`, `ok` (nothing was found), `same_verdict` (every drive came out as it says), `sentence`,
        `signed_by`, `problems`, `warnings`, `drives`; see docs/reference/bundle.md.

    Raises:
        BundleError: it is no bundle that can be opened.
    """
    opened = open_bundle(path)
    found = _Found()
    bad = opened.changed()
    for name, how in bad:
        found.problem(f"file_{how}", name)
    signed_by = _signature(opened, pins, signer, found)
    drives = [_drive(opened, drive, found, recipe) for drive in opened.drives]
    _folders(opened, found)
    same = all(one["same_verdict"] for one in drives)
    return {
        "file": opened.path.name, "sha256": opened.sha256, "format": opened.manifest.format,
        "program": opened.manifest.program.version, "ok": not found.problems, "same_verdict": same,
        "sentence": _sentence(found, drives, same=same), "signed_by": signed_by, "problems": found.problems,
        "more": found.more, "warnings": found.warnings, "drives": drives,
    }  # fmt: skip


def _sentence(found: _Found, drives: list[dict[str, Any]], *, same: bool) -> str:
    words = load_words()
    if not same:
        first = next(one for one in drives if not one["same_verdict"])
        return words("bundle.check.other", difference=first["difference"])
    if found.problems:
        return words.counted("bundle.check.changed", len(found.problems) + found.more)
    return words("bundle.check.same")


def _signature(opened: Opened, pins: Sequence[Pin], signer: str | None, found: _Found) -> dict[str, Any] | None:
    signature = opened.signature
    wanted = None
    if signer is not None:
        wanted = next((p for p in pins if p.name.casefold() == signer.casefold()), None)
        if wanted is None:
            raise BundleError("no key is pinned under this name; pin it first with: coach key pin", where=signer)
    if signature is None:
        found.problem("not_signed", None)
        return None
    if not signature.good:
        found.problem("bad_signature", None, fingerprint=signature.fingerprint)
    known = next((p for p in pins if p.public_key == signature.public_key), None)
    if wanted is not None and wanted.public_key != signature.public_key:
        found.problem("other_signer", None, name=wanted.name, fingerprint=signature.fingerprint)
    elif known is None:
        found.warn("unknown_key", None, fingerprint=signature.fingerprint)
    return {
        "fingerprint": signature.fingerprint, "public_key": signature.public_key, "good": signature.good,
        "name": known.name if known is not None else None, "pinned": known is not None,
    }  # fmt: skip


def _folders(opened: Opened, found: _Found) -> None:
    """Each drive has the folder of its own name."""
    folders = [d.entry.folder for d in opened.drives]
    if len(set(folders)) != len(folders) or any(d.entry.folder != f"drives/{d.id}" for d in opened.drives):
        found.problem("folders", None)


# --- one drive


def _drive(opened: Opened, drive: OpenedDrive, found: _Found, recipe: bytes | None) -> dict[str, Any]:
    entry = drive.entry
    told: dict[str, Any] = {
        "id": drive.id, "title": drive.title, "revision": drive.revision, "recipe_sha256": drive.recipe_sha,
        "started": entry.started, "duration_s": entry.last_us / 1e6, "whole": entry.whole, "same_verdict": False,
        "difference": None, "captures": [],
    }  # fmt: skip
    try:
        _recipe(drive, found, recipe)
        recording, digests = drive.recording_and_digests()
        _signals(drive, digests, found)
        plan, _, verdict = rejudge(drive, recording)
        _plan(opened, drive, plan, found)
        same_words = opened.manifest.program.version == __version__
        whole = [s.name for s in entry.signals if s.inside == s.count]
        told["difference"] = verdict_difference(drive.verdict(), verdict, whole, worded=same_words)
        told["same_verdict"] = told["difference"] is None
        if told["difference"] is not None:
            found.problem("verdict", drive.own("verdict.json"), difference=told["difference"])
        told["captures"] = [
            {"id": c["id"], "title": c["title"], "asked": c["asked"], "qualified": c["qualified"],
             "nearest": nearest_json(c, plan, recording)}
            for c in verdict["captures"]
        ]  # fmt: skip
        _manifest(drive, plan, verdict, found)
        _rates(drive, plan, recording, found)
        _tables(drive, verdict, recording, found)
    except CoachError as error:
        told["difference"] = str(error)
        told["same_verdict"] = False
        found.problem("unreadable", drive.id, message=str(error))
    return told


def _recipe(drive: OpenedDrive, found: _Found, sent: bytes | None) -> None:
    entry, raw = drive.entry, drive.recipe_bytes()
    if sha256(raw).hexdigest() != entry.recipe.sha256:
        found.problem("recipe", entry.recipe.file)
    if sent is not None and sha256(sent).hexdigest() != sha256(raw).hexdigest():
        found.problem("other_recipe", entry.recipe.file)
    recipe = drive.recipe()
    if (recipe.title, recipe.revision) != (entry.title, entry.revision):
        found.problem("recipe_title", entry.recipe.file)
    vehicle = drive.vehicle_bytes()
    if vehicle is not None and entry.vehicle is not None:
        if not entry.vehicle.masked and sha256(vehicle).hexdigest() != entry.vehicle.sha256:
            found.problem("vehicle", entry.vehicle.file)
        if entry.vehicle.masked:
            found.warn("vehicle_masked", entry.vehicle.file)


def _signals(drive: OpenedDrive, digests: dict[str, str], found: _Found) -> None:
    for signal in drive.entry.signals:
        if digests[signal.name] != signal.sha256:
            found.problem("samples", drive.own("samples.bin"), signal=signal.name)
        if signal.inside > signal.count or ((signal.judged or drive.entry.whole) and signal.inside != signal.count):
            found.problem("samples_left_out", drive.own("samples.bin"), signal=signal.name)


def _plan(opened: Opened, drive: OpenedDrive, plan: JudgePlan, found: _Found) -> None:
    """What was judged should be what this version makes of the recipe; of another version it may differ honestly."""
    entry, catalogue = drive.entry, drive.catalogue()
    name = drive.own("plan.json")
    recorded = [s.name for s in entry.signals if s.count]
    judged, ways = plan_difference(
        plan, drive.recipe(), catalogue, drive.vehicle(), recorded, people=entry.people_recorded
    )
    own = opened.manifest.program.version == __version__
    if judged is not None:
        (found.problem if own else found.warn)("plan", name, difference=judged)
    if ways is not None:
        found.warn("ways", name, difference=ways)
    odd = _other_signals(catalogue, plan, drive.vehicle())
    if odd:
        (found.problem if own else found.warn)("catalogue", drive.own("catalogue.json"), signals=", ".join(odd))
    wrong = sorted(n for n in {*plan.facts} ^ {s.name for s in entry.signals if s.judged} if n in recorded)
    if wrong:
        found.problem("judged", name, signals=", ".join(wrong))


def _other_signals(catalogue: Catalogue, plan: JudgePlan, vehicle: Vehicle | None) -> list[str]:
    """Judged signals that this version and the vehicle's own definitions have otherwise, however a car gives them."""
    known = default_catalogue() if vehicle is None else vehicle.catalogue(default_catalogue())
    table = ways(known)

    def usual(name: str) -> bool:
        alike = [as_read(known, {name: way})[name] for way in table.get(name, ())]
        return catalogue[name] in (known[name], *alike)

    return sorted(n for n in plan.facts if n in known and n in catalogue and not usual(n))


def _manifest(drive: OpenedDrive, plan: JudgePlan, verdict: dict[str, Any], found: _Found) -> None:
    entry = drive.entry
    made = [
        (c["id"], c["asked"], c["qualified"], [a["number"] for a in c["attempts"] if a["secured_s"] is not None],
         [(a["number"], a["outcome"]) for a in c["attempts"] if a["secured_s"] is None])
        for c in verdict["captures"]
    ]  # fmt: skip
    said = [
        (c.id, c.asked, c.qualified, [w.number for w in c.windows], [(m.number, m.outcome) for m in c.missed])
        for c in entry.captures
    ]  # fmt: skip
    if made != said:
        found.problem("summary", "manifest.json")
    if entry.rules != plan.rules or {n: float(r) for n, r in entry.ratios.items()} != ratios_of(plan):
        found.problem("facts", "manifest.json")
    agreed = [m.text for m in entry.marks or [] if m.kind == "acknowledge"]
    if agreed != entry.acknowledged:
        found.problem("acknowledged", "manifest.json")


def _rates(drive: OpenedDrive, plan: JudgePlan, recording: Any, found: _Found) -> None:
    catalogue = drive.catalogue()
    for said in drive.entry.signals:
        series = recording.series.get(said.name)
        if series is None or said.inside != said.count:
            continue
        made = signal_entry(said.name, series, said.inside, said.sha256, plan, catalogue)
        if made != said:
            found.problem("rates", "manifest.json", signal=said.name)
    if max((int(s.t_us[-1]) for s in recording.series.values()), default=0) > drive.entry.last_us:
        found.problem("length", "manifest.json")


def _tables(drive: OpenedDrive, verdict: dict[str, Any], recording: Any, found: _Found) -> None:
    """Makes every table again, and compares it with the one inside."""
    catalogue, around = drive.catalogue(), drive.entry.around
    expected: set[str] = set()

    def compare(name: str, chunks: Iterable[bytes]) -> None:
        expected.add(drive.own(name))
        if drive.own(name) not in drive.entries:
            found.problem("file_missing", drive.own(name))
            return
        line = first_difference(chunks, drive.pieces(drive.own(name)))
        if line is not None:
            number, made, given = line
            found.problem("table", drive.own(name), line=number, given=given, made=made)

    for name, chunks in tables.window_tables(verdict, around, recording, catalogue):
        compare(name, chunks)
    if drive.entry.whole:
        for name, chunks in tables.drive_tables(recording, catalogue):
            compare(name, chunks)
    compare("attempts.csv", [tables.attempts_table(verdict)])
    for name in drive.entries:
        if name.startswith(drive.entry.folder + "/") and name.endswith(".csv") and name not in expected:
            found.problem("file_extra", name)
