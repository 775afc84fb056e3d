"""The one who holds what is there against what was told: he must see every kind of loss."""

import pytest

from coach.clock import HandClock
from coach.drive.drive import Drive
from coach.drive.ring import Ring
from coach.drive.tasks import InPlace
from coach.soak.made import Made, recording, setup
from coach.soak.promise import Told, reopen
from coach.store import Store

SECONDS = 8.0


@pytest.fixture
def folder(tmp_path):
    with Store(tmp_path / "data", HandClock()) as store:
        drive = Drive(setup(Made(SECONDS)), store, InPlace(store.folder), store.clock, Ring())
        drive.start()
        assert drive.wait(30)
    return tmp_path / "data"


def told(folder, **more):
    with Store(folder, HandClock()) as store:
        row = store.drives()[0]
        saved = frozenset((w.capture, w.number) for w in store.windows(row.id))
    return Told(**{"drive": row.id, "stored_us": row.last_us, "saved": saved} | more)


def test_a_whole_folder_keeps_every_promise(folder):
    found = reopen(folder, told(folder), lambda: recording(SECONDS))
    assert found.broken == []
    assert (found.samples, found.last_us, found.windows) == (1200, 7_900_000, 2)


def spoil(folder, statement):
    with Store(folder, HandClock()) as store:
        store._writer.call(lambda db: db.execute(statement))


@pytest.mark.parametrize(
    ("statement", "says"),
    [
        ("DELETE FROM drives", "the drive is gone"),
        ("DELETE FROM blocks WHERE sequence = 3", "missing or changed"),
        ("UPDATE blocks SET data = zeroblob(length(data)) WHERE sequence = 3", "damaged"),
        ("DELETE FROM attempts", "not those of the samples"),
        ("UPDATE events SET t_us = t_us, body = replace(body, '\"number\":0', '\"number\":7')", "said live"),
        ("UPDATE progress SET last_us = 5", "now up to 5 us"),
        ("DELETE FROM windows", "has it not"),
    ],
)
def test_each_loss_is_seen(folder, statement, says):
    promised = told(folder)
    spoil(folder, statement)
    if "windows" in statement:
        promised = Told(promised.drive, promised.stored_us, promised.saved | {("cruise", 9)})
    assert any(says in text for text in reopen(folder, promised, lambda: recording(SECONDS)).broken)


def test_a_file_that_is_not_whole_is_seen(folder):
    promised = told(folder)
    path = next(folder.rglob("cruise-1.csv"))
    path.write_bytes(path.read_bytes()[:-5])
    assert any("not whole" in text for text in reopen(folder, promised).broken)


def test_a_folder_that_does_not_open_is_seen(tmp_path):
    (tmp_path / "data").mkdir()
    (tmp_path / "data" / "coach.db").write_bytes(b"x" * 5000)
    assert "does not open" in reopen(tmp_path / "data", Told()).broken[0]


def test_an_empty_folder_promises_nothing(tmp_path):
    assert reopen(tmp_path / "data", Told()).broken == []
