"""The log of drives: every filter, what people wrote, which drive to compare with."""

from __future__ import annotations

from dataclasses import replace

import pytest

from coach.catalogue import default_catalogue
from coach.clock import HandClock
from coach.core.events import Attempt, Outcome
from coach.errors import BadInput, NotFound
from coach.plan import resolve
from coach.recipe import parse_recipe
from coach.review.log import Search, before, of_revision, search
from coach.store import NewDrive, Store
from coach.store.labels import Label
from coach.store.planjson import dump_catalogue, dump_plan
from tests.review.made import CAR, hold

DAY_US = 86_400_000_000


@pytest.fixture
def store(tmp_path):
    with Store(tmp_path / "data", HandClock()) as opened:
        yield opened


def add(store, revision=1, car="Blue hatchback", *, secured=True, days=1):
    """An ended drive of a revision; qualified or not; a day later than the last."""
    text = hold("h", 20, 'road_speed = { min = "70 km/h" }').replace("format = 1", f"format = 1\nrevision = {revision}")
    recipe = parse_recipe(text, name="r.toml", catalogue=default_catalogue())
    vehicle = None if car is None else CAR.replace("Test car", car).encode()
    drive, _ = store.create_drive(NewDrive(
        recipe.source, recipe.sha256, "r.toml", recipe.title, revision, dump_plan(resolve(recipe, default_catalogue())),
        dump_catalogue(default_catalogue()), 1, vehicle, "car.toml",
    ))  # fmt: skip
    store._writer.call(lambda db: db.execute("UPDATE drives SET phase='ended' WHERE id=?", (drive,)))
    if secured:
        store.put_attempts(drive, recipe.sha256, 1, [Attempt("h", 0, Outcome.SECURED, 0, 30_000_000, 20_000_000, None)])
    store.clock.now_us += days * DAY_US
    return drive


def ids(store, **asked):
    return [r.id for r in search(store, Search(**asked))]


def test_filters(store):
    """Each by itself; the newest first."""
    a, b, c = add(store), add(store, 2, secured=False), add(store, 2, "White van")
    assert ids(store) == [c, b, a]
    assert ids(store, revision=2) == [c, b]
    assert ids(store, vehicle="van") == [c]
    assert ids(store, complete=False) == [b]
    assert ids(store, complete=True) == [c, a]
    assert ids(store, text="white made") == [c]
    assert ids(store, text="nothing of the kind") == []
    sha = store.drive(a).recipe_sha
    assert ids(store, recipe=sha[:12].upper()) == [a]
    days = [store.drive(x).created_wall_us for x in (a, b, c)]
    assert days == sorted(days)
    second = f"{b[:4]}-{b[4:6]}-{b[6:8]}"
    assert ids(store, since=second) == [c, b]
    assert ids(store, until=second) == [b, a]


def test_what_people_wrote_is_searched_and_survives(store, tmp_path):
    """Name and note; the label of a drive that has none is empty; another drive's is untouched."""
    a, b = add(store), add(store)
    store.put_label(a, Label("Evening", "Wet road, headwind", 98.0, 12.0, None))
    store.put_label(a, replace(store.label(a), note="Wet road"))
    assert store.label(a) == Label("Evening", "Wet road", 98.0, 12.0, None)
    assert store.label(b) == Label()
    assert ids(store, text="WET evening") == [a]
    assert list(store.labels().values()) == [store.label(a)]
    with pytest.raises(NotFound):
        store.put_label("nothing", Label())
    with pytest.raises(NotFound):
        store.label("nothing")


@pytest.mark.parametrize("date", ["yesterday", "2026-13-01", ""])
def test_a_date_that_is_none(store, date):
    with pytest.raises(BadInput, match="write it as 2026-05-04"):
        search(store, Search(since=date))


def test_which_drive_to_compare_with(store):
    """The last qualified one of the latest earlier revision of the same car."""
    add(store, 1)
    old = add(store, 1)
    add(store, 1, secured=False)
    add(store, 2, "White van")
    now = add(store, 3)
    assert before(store, now, "h") == old
    near = add(store, 2)
    assert before(store, now, "h") == near
    with pytest.raises(NotFound, match="earlier revision"):
        before(store, old, "h")
    assert of_revision(store, old)[-1] == old
    assert len(of_revision(store, old)) == 3
    assert of_revision(store, now) == [now]


def test_a_car_that_nobody_named_is_any_car(store):
    """Without a vehicle file nobody can say that it is another one; a file that cannot be read has its name."""
    old = add(store, 1, None)
    now = add(store, 2)
    assert before(store, now, "h") == old
    store._writer.call(lambda db: db.execute("UPDATE drives SET vehicle=?, vehicle_name='x' WHERE id=?", (b"[[", old)))
    assert ids(store, vehicle="x") == [old]
