"""Where a customer stands, from what was asked of them and what came back. Counts; it reads and keeps nothing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

State = Literal["asked", "received", "complete", "next"]


@dataclass(frozen=True, slots=True)
class Asked:
    """A recipe that was written for a customer; `sent` False: the next one, begun and not sent yet."""

    customer: str
    sha256: str
    revision: int
    title: str
    wall_us: int
    sent: bool


@dataclass(frozen=True, slots=True)
class Received:
    """A bundle that came. `found` is what the check said (docs/reference/bundle.md)."""

    sha256: str
    file: str
    customer: str
    signer: str | None
    vehicle: str
    wall_us: int
    found: dict[str, Any]


def standing(customer: str, asked: Sequence[Asked], received: Sequence[Received]) -> dict[str, Any]:
    """Where one customer stands.

    Args:
        customer: the name.
        asked: what was asked of them, the newest first.
        received: what came, the newest first.

    Returns:
        `customer`, `vehicle`, `revision` (the latest that was sent or came), `state` (`asked`: nothing came for it;
        `received`: not everything qualified; `complete`: everything did; `next`: the one after it is begun), `captures`
        of it with `asked` and `qualified` over all drives that were made for it and, where that is not all, `nearest`
        (see `coach.bundle.nearest`; null of a bundle that an earlier version checked), `bundles`, `problems` in them,
        `wall_us` of the last thing that happened.
    """
    sent = [a for a in asked if a.sent]
    began = [a for a in asked if not a.sent]
    drives = [(r, d) for r in received for d in r.found["drives"]]
    revision = max([a.revision for a in sent] + [d["revision"] for _, d in drives], default=0)
    captures: dict[str, dict[str, Any]] = {}
    counted: set[tuple[str | None, str]] = set()
    for r, d in drives:
        # A drive that came in two bundles counts once.
        if d["revision"] != revision or not d["same_verdict"] or (r.signer, d["id"]) in counted:
            continue
        counted.add((r.signer, d["id"]))
        for c in d["captures"]:
            row = captures.setdefault(
                c["id"], {"id": c["id"], "title": c["title"], "asked": c["asked"], "qualified": 0, "nearest": None}
            )
            row["qualified"] += c["qualified"]
            row["nearest"] = _nearer(row["nearest"], c.get("nearest"))
    for row in captures.values():
        if row["qualified"] >= row["asked"]:
            row["nearest"] = None
    state: State = "asked"
    if captures:
        done = all(row["qualified"] >= row["asked"] for row in captures.values())
        state = "complete" if done else "received"
    if any(a.revision > revision for a in began):
        state = "next"
    return {
        "customer": customer, "vehicle": next((r.vehicle for r in received if r.vehicle), ""), "revision": revision,
        "title": next((a.title for a in sent if a.revision == revision), None)
        or next((d["title"] for _, d in drives if d["revision"] == revision), ""),
        "state": state, "captures": list(captures.values()),
        "bundles": [
            {"sha256": r.sha256, "file": r.file, "wall_us": r.wall_us, "ok": r.found["ok"],
             "same_verdict": r.found["same_verdict"], "sentence": r.found["sentence"],
             "revisions": sorted({d["revision"] for d in r.found["drives"]})} for r in received
        ],
        "problems": sum(not r.found["ok"] for r in received),
        "wall_us": max([a.wall_us for a in asked] + [r.wall_us for r in received], default=0),
    }  # fmt: skip


def _nearer(one: dict[str, Any] | None, other: dict[str, Any] | None) -> dict[str, Any] | None:
    """Of two drives the one that came further; the newer one, which is `one`, where both came as far."""
    if one is None or other is None:
        return one or other
    return other if other["progress"] > one["progress"] else one
