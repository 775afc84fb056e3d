"""Where a customer stands follows from what came, each drive counted once."""

from __future__ import annotations

import pytest

from coach.desk.standing import Asked, Received, standing


def drive(revision=2, qualified=1, same=True, name="d"):
    return {
        "id": name, "title": "T", "revision": revision, "recipe_sha256": "r", "same_verdict": same,
        "captures": [{"id": "a", "title": "A", "asked": 2, "qualified": qualified}],
    }  # fmt: skip


def bundle(*drives, sha="1", signer="k"):
    found = {"ok": True, "same_verdict": True, "sentence": "", "drives": list(drives)}
    return Received(sha, "f", "Anna", signer, "", 5, found)


@pytest.mark.parametrize(
    ("received", "state", "qualified"),
    [
        ([], "asked", None),
        ([bundle(drive())], "received", 1),
        ([bundle(drive(), drive(name="e"))], "complete", 2),
        ([bundle(drive()), bundle(drive(name="e"), sha="2")], "complete", 2),
        ([bundle(drive()), bundle(drive(), sha="2")], "received", 1),
        ([bundle(drive()), bundle(drive(), sha="2", signer="other")], "complete", 2),
        ([bundle(drive(same=False))], "asked", None),
        ([bundle(drive(revision=1, qualified=2))], "asked", None),
    ],
)
def test_what_came_is_counted_once(received, state, qualified):
    """Over all bundles of the revision; a drive in two of them once, one with another verdict not at all."""
    row = standing("Anna", [Asked("Anna", "r", 2, "T", 1, sent=True)], received)
    assert row["state"] == state
    assert [c["qualified"] for c in row["captures"]] == ([] if qualified is None else [qualified])


def lacking(qualified, progress, name="d"):
    made = drive(qualified=qualified, name=name)
    made["captures"][0]["nearest"] = None if progress is None else {"progress": progress}
    return made


@pytest.mark.parametrize(
    ("drives", "progress"),
    [
        ([lacking(0, 0.2), lacking(0, 0.9, "e"), lacking(0, 0.5, "f")], 0.9),
        ([lacking(1, None), lacking(0, 0.3, "e")], 0.3),
        ([lacking(1, 0.4), lacking(1, 0.3, "e")], None),
        ([drive(qualified=0)], None),
    ],
)
def test_what_is_told_of_a_capture_is_the_drive_that_came_furthest(drives, progress):
    """Nothing once all of it is there, nor of a bundle that an earlier version checked."""
    row = standing("Anna", [Asked("Anna", "r", 2, "T", 1, sent=True)], [bundle(*drives)])
    (capture,) = row["captures"]
    assert (capture["nearest"] or {}).get("progress") == progress
