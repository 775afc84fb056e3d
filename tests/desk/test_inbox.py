"""The desk's inbox: what came is kept as it came, checked once, and everybody's state follows from it."""

from __future__ import annotations

import sqlite3
import stat
from pathlib import Path

import pytest

from coach.bundle.check import check_bundle
from coach.bundle.keys import Pin, own_public_key
from coach.bundle.make import make_bundle
from coach.desk.inbox import DATABASE, Inbox
from coach.errors import BadInput, BundleError, CoachError, NotFound
from tests.bundle.making import RECIPE, store_drive


@pytest.fixture
def inbox(tmp_path):
    made = Inbox(tmp_path / "desk", check=check_bundle)
    yield made
    made.close()


def test_a_bundle_is_kept_as_it_came(inbox, good):
    """The same bytes, for the owner alone; taken twice it is there once."""
    row = inbox.take(good, 5)
    assert inbox.path(row.sha256).read_bytes() == good.read_bytes()
    assert stat.S_IMODE(inbox.path(row.sha256).stat().st_mode) == 0o600
    assert row.found["same_verdict"]
    assert inbox.take(good, 9) == row
    assert [r.sha256 for r in inbox.received()] == [row.sha256]


def test_it_is_there_after_a_restart(tmp_path, good):
    """State is on the disk."""
    first = Inbox(tmp_path, check=check_bundle)
    row = first.take(good, 5)
    first.ask("Anna", RECIPE.encode(), 1)
    first.close()
    again = Inbox(tmp_path)
    assert again.received() == [row]
    assert [a.customer for a in again.asked()] == ["Anna"]
    again.close()


def test_what_is_no_bundle_is_not_kept(inbox, tmp_path):
    """A sentence, and an empty folder."""
    path = tmp_path / "x.zip"
    path.write_bytes(b"nothing")
    with pytest.raises(BundleError):
        inbox.take(path, 5)
    assert inbox.received() == []
    assert list(inbox.bundles.iterdir()) == []


def test_whose_it_is(tmp_path, good, stored):
    """A pinned name first, then whose key it was, then who was sent this recipe, then the car."""
    key = own_public_key(stored[0])

    def whose(setup=lambda inbox: None, pins=(), name=""):
        inbox = Inbox(tmp_path / str(len(list(tmp_path.iterdir()))), check=check_bundle)
        setup(inbox)
        made = inbox.take(good, 5, pins, customer=name).customer
        inbox.close()
        return made

    def ask(*names):
        return lambda inbox: [inbox.ask(name, RECIPE.encode(), 1) for name in names]

    assert whose(ask("Anna"), [Pin("Workshop", key)]) == "Workshop"
    assert whose(ask("Anna")) == "Anna"
    assert whose(ask("Anna", "Bert")) == whose()
    assert whose(name="Carl  Doe") == "Carl Doe"


def test_a_key_is_known_again(inbox, good, stored, tmp_path):
    """Assigned once, the next bundle of the same key is the same customer's."""
    first = inbox.take(good, 5)
    inbox.assign(first.sha256, "Anna")
    other = tmp_path / "other.zip"
    from coach.bundle.wanted import Wanted

    make_bundle(stored[0], [stored[1]], other, Wanted(whole=True))
    assert inbox.take(other, 6).customer == "Anna"
    inbox.assign(first.sha256, "Berta")
    assert {r.customer for r in inbox.received()} == {"Berta"}


def test_states_go_from_asked_to_next(inbox, good):
    """Asked, received with one capture short, and the next one begun; sending it starts again."""
    inbox.ask("Anna", RECIPE.encode(), 1)
    (row,) = inbox.customers()
    assert (row["state"], row["captures"], row["revision"]) == ("asked", [], 2)
    inbox.take(good, 5, customer="Anna")
    (row,) = inbox.customers()
    assert row["state"] == "received"
    assert {c["id"]: (c["qualified"], c["asked"]) for c in row["captures"]}
    third = RECIPE.replace("revision = 2", "revision = 3").encode()
    inbox.ask("Anna", third, 6, sent=False)
    assert inbox.customers()[0]["state"] == "next"
    inbox.ask("Anna", third, 7)
    (row,) = inbox.customers()
    assert (row["state"], row["revision"], len(inbox.asked("Anna"))) == ("asked", 3, 2)


def test_who_waits_for_the_calibrator_comes_first(inbox, good):
    """Something came before somebody who has not answered."""
    inbox.ask("Zoe", RECIPE.encode(), 9)
    inbox.take(good, 5, customer="Anna")
    assert [row["customer"] for row in inbox.customers()] == ["Anna", "Zoe"]


def test_a_bundle_goes_only_when_asked(inbox, good):
    """File and row; a second time it is not there."""
    row = inbox.take(good, 5)
    inbox.remove(row.sha256)
    assert inbox.received() == []
    assert list(inbox.bundles.iterdir()) == []
    for call in (inbox.remove, inbox.path, lambda sha: inbox.assign(sha, "x")):
        with pytest.raises(NotFound):
            call(row.sha256)


def test_recipes_are_kept_as_they_were_sent(inbox):
    """Byte for byte; what is no recipe is refused, and so is a name that is none."""
    made = inbox.ask("Anna", RECIPE.encode(), 1)
    assert inbox.recipe(made.sha256) == RECIPE.encode()
    with pytest.raises(NotFound):
        inbox.recipe("nothing")
    with pytest.raises(CoachError):
        inbox.ask("Anna", b"nothing", 1)
    for name in ("", " ", "x" * 81, "a\nb\x00"):
        with pytest.raises(BadInput):
            inbox.ask(name, RECIPE.encode(), 1)


def test_a_later_version_is_left_alone(tmp_path):
    """One sentence, nothing changed."""
    with sqlite3.connect(tmp_path / DATABASE) as db:
        db.execute("PRAGMA user_version=99")
    db.close()
    with pytest.raises(BadInput, match="later version"):
        Inbox(tmp_path)


def test_a_folder_that_cannot_be_used_is_a_sentence(tmp_path):
    """A file where the folder should be."""
    (tmp_path / "x").write_text("")
    with pytest.raises(CoachError):
        Inbox(Path(tmp_path / "x"))


def test_the_whole_way_with_the_check_in_a_process_of_its_own(tmp_path):
    """As a server does it: another drive, checked by a child."""
    drive_id = store_drive(tmp_path / "data")
    make_bundle(tmp_path / "data", [drive_id], tmp_path / "b.zip")
    inbox = Inbox(tmp_path / "desk")
    assert inbox.take(tmp_path / "b.zip", 5).found["same_verdict"]
    inbox.close()
