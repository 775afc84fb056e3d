"""A database damaged in the middle: the rest comes out, what is lost is said, and the file is left as it is."""

import random
import threading
from functools import cache
from hashlib import sha256

import pytest

from coach.clock import HandClock
from coach.drive.drive import Drive
from coach.drive.ring import Ring
from coach.drive.tasks import InPlace
from coach.errors import StoreError
from coach.soak.made import RECIPE, Made, recording, setup
from coach.store import NewDrive, Store
from coach.store.keeping import check
from coach.store.reading import Reader
from coach.store.rescue import rescue, rescue_to

SECONDS = 120.0
PAGE = 4096


@cache
def whole_drive():
    return recording(SECONDS)


@pytest.fixture(scope="module")
def sound(tmp_path_factory):
    """A folder with a drive of two minutes, and its bytes."""
    folder = tmp_path_factory.mktemp("sound") / "data"
    with Store(folder, HandClock()) as store:
        store.add_recipe("abc", "a/b.toml", b"kept", "T", 1)
        drive = Drive(setup(Made(SECONDS)), store, InPlace(folder), store.clock, Ring())
        drive.start()
        assert drive.wait(60)
    return folder, drive.id


@pytest.fixture
def damaged(sound, tmp_path):
    """Makes a copy of it in which some pages are overwritten."""

    def make(*pages, fill=b"\xa5"):
        folder, _ = sound
        data = bytearray((folder / "coach.db").read_bytes())
        for page in pages:
            data[page * PAGE : (page + 1) * PAGE] = fill * PAGE
        target = tmp_path / "data"
        target.mkdir()
        (target / "coach.db").write_bytes(data)
        return target

    return make


def pages(folder):
    return (folder / "coach.db").stat().st_size // PAGE


def test_a_sound_database_comes_out_whole(sound, tmp_path):
    """Samples, recipes and files of windows."""
    folder, drive = sound
    lines, lost = rescue_to(folder, tmp_path / "out")
    assert not lost
    assert lines[0] == f"{drive}: {round(SECONDS * 10) * 15:,} samples read"
    assert (tmp_path / "out" / f"{drive}-soak.toml").read_bytes() == RECIPE
    assert (tmp_path / "out" / "recipes" / "a%2Fb.toml").read_bytes() == b"kept"
    table = (tmp_path / "out" / f"{drive}.csv").read_text("utf-8").splitlines()
    assert len(table) == 1 + round(SECONDS * 10)
    windows = sorted(p.name for p in (folder / "windows").rglob("*.csv"))
    assert sorted(p.name for p in (tmp_path / "out" / "windows").rglob("*.csv")) == windows != []


def test_a_page_in_the_middle_costs_what_stood_in_it(sound, damaged, tmp_path):
    """Everything else is there, sample for sample, and the hole is said with its time."""
    source, _ = sound
    whole = whole_drive().series["road_speed"]
    hit = 0
    for page in range(pages(source) // 3, pages(source) // 3 + 4):
        folder = damaged(page)
        before = (folder / "coach.db").read_bytes()
        (saved,) = rescue(folder).drives
        there = saved.recording.series["road_speed"]
        values = dict(zip(whole.t_us.tolist(), whole.value.tolist(), strict=True))
        assert all(values[t] == v for t, v in zip(there.t_us.tolist(), there.value.tolist(), strict=True))
        if saved.lost:
            hit += 1
            assert len(there) > 0.9 * len(whole)
            missing = sorted(set(whole.t_us.tolist()) - set(there.t_us.tolist()))
            assert missing
            assert all(any(a <= t / 1e6 <= b for a, b in saved.gaps) for t in missing)
        _, lost = rescue_to(folder, tmp_path / f"out-{page}")
        assert lost == bool(saved.lost)
        assert (folder / "coach.db").read_bytes() == before
        (folder / "coach.db").unlink()
        folder.rmdir()
    assert hit >= 2


def test_the_ordinary_way_says_that_it_is_damaged_and_what_to_do(sound, damaged):
    """Neither a traceback nor a silence."""
    source, drive = sound
    folder = damaged(*range(pages(source) // 3, pages(source) // 3 + 3))
    with pytest.raises(StoreError, match="coach data rescue"):
        Reader(folder / "coach.db").recording(drive)
    assert any("damaged" in text or "page" in text.lower() for text in check(folder))


@pytest.mark.parametrize("seed", range(12))
def test_whatever_is_overwritten_nothing_is_made_up(sound, damaged, seed):
    """Random pages and random bytes: samples that come out are samples that went in; else one sentence."""
    source, _ = sound
    chance = random.Random(seed)
    folder = damaged(*chance.sample(range(pages(source)), 5), fill=bytes([chance.randrange(256)]))
    whole = whole_drive()
    try:
        found = rescue(folder)
    except StoreError as error:
        if "first page" in error.message:
            return
        raise
    for saved in found.drives:
        for name, series in saved.recording.series.items():
            if name in whole.series:
                values = dict(zip(whole.series[name].t_us.tolist(), whole.series[name].value.tolist(), strict=True))
                assert all(values.get(t) == v for t, v in zip(series.t_us.tolist(), series.value.tolist(), strict=True))


def test_without_its_first_page_only_files_of_windows_are_left(sound, damaged, tmp_path):
    """They stand beside the database and need it not."""
    folder = damaged(0)
    with pytest.raises(StoreError, match="first page"):
        rescue_to(folder, tmp_path / "out")
    window = folder / "windows" / "x" / "cruise-1.csv"
    window.parent.mkdir(parents=True)
    window.write_text("time\n")
    lines, lost = rescue_to(folder, tmp_path / "out")
    assert lost
    assert lines[1] == "1 files of windows were copied."
    assert (tmp_path / "out" / "windows" / "x" / "cruise-1.csv").read_text() == "time\n"
    with pytest.raises(StoreError, match="no data here"):
        rescue(tmp_path / "nowhere")


def test_a_recipe_that_is_not_what_it_was_is_said(tmp_path):
    """Its digest stands beside it."""
    with Store(tmp_path / "data", HandClock()) as store:
        _, log = store.create_drive(NewDrive(b"other", sha256(b"r").hexdigest(), "x.toml", "X", 2, "{}", "[]", 1))
        done = threading.Event()
        log.end(0, lambda _: done.set())
        assert done.wait(60)
    lines, lost = rescue_to(tmp_path / "data", tmp_path / "out")
    assert lost
    assert lines[1].endswith(": the recipe is damaged")


def test_a_drive_whose_head_is_lost_still_has_its_samples(tmp_path):
    """It is called by its number, and its signals by theirs where their names are lost too."""
    with Store(tmp_path / "data", HandClock()) as store:
        _, log = store.create_drive(NewDrive(b"r", sha256(b"r").hexdigest(), "x.toml", "X", 2, "{}", "[]", 1))
        log.samples_at(0, {"road_speed": 1.0, "gear": 2.0})
        done = threading.Event()
        log.flush(lambda _: done.set())
        assert done.wait(60)

        def forget(db):
            db.execute("COMMIT")
            db.execute("PRAGMA foreign_keys=OFF")
            db.execute("BEGIN")
            db.execute("DELETE FROM drives")
            db.execute("DELETE FROM signals WHERE number=1")

        store._writer.call(forget)
    lines, _ = rescue_to(tmp_path / "data", tmp_path / "out")
    assert lines[0] == "drive-1: 2 samples read"
    assert "signal_1" in (tmp_path / "out" / "drive-1.csv").read_text()
