"""Paired devices and invitations: one use, ten minutes, hashes only, several processes at once."""

import sqlite3
import threading

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.clock import US, HandClock
from coach.errors import BadInput, NotFound, StoreError
from coach.server.devices import Devices, NotPaired, clean_name

DAY = 86_400 * US


@pytest.fixture
def clock():
    return HandClock()


@pytest.fixture
def devices(tmp_path, clock):
    with Devices(tmp_path, clock) as made:
        yield made


def test_a_secret_joins_one_device_once(devices):
    """Replayed, it is worth nothing."""
    secret = devices.invite("operator", "page")
    device, token = devices.redeem(secret, "Ann's phone")
    assert (device.name, device.role) == ("Ann's phone", "operator")
    assert devices.find(token) == device
    with pytest.raises(NotPaired, match="used already"):
        devices.redeem(secret, "somebody else")
    assert devices.list() == [device]


@pytest.mark.parametrize(
    ("later_s", "good"), [(0, True), (599, True), (600, False), (100_000, False), (-50, True), (-61, False)]
)
def test_a_secret_lasts_ten_minutes(devices, clock, later_s, good):
    """Also when the clock was set back meanwhile: that must not make it last longer."""
    clock.now_us = 1000 * US
    secret = devices.invite("onlooker", "page")
    clock.now_us += later_s * US
    assert devices.invited("onlooker", "page") is good
    if good:
        assert devices.redeem(secret, "x")[0].role == "onlooker"
        assert not devices.invited("onlooker", "page")
    else:
        with pytest.raises(NotPaired):
            devices.redeem(secret, "x")


def test_a_new_square_ends_the_one_before_it_and_no_other(devices):
    """By the same maker for the same role; the terminal's and the onlooker's stay."""
    old, other, terminal = (
        devices.invite(*of) for of in (("operator", "page"), ("onlooker", "page"), ("operator", "terminal"))
    )
    new = devices.invite("operator", "page")
    with pytest.raises(NotPaired):
        devices.redeem(old, "x")
    assert [devices.redeem(s, "x")[0].role for s in (new, other, terminal)] == ["operator", "onlooker", "operator"]


def test_nothing_secret_is_in_the_files(tmp_path, devices):
    """Neither secrets nor tokens in clear: only their hashes. The folder is for its owner alone."""
    secret = devices.invite("operator", "page")
    _, token = devices.redeem(devices.invite("operator", "terminal"), "x")
    everything = b"".join(p.read_bytes() for p in tmp_path.rglob("*") if p.is_file())
    assert secret.encode() not in everything
    assert token.encode() not in everything
    assert (len(secret) >= 22, len(token) >= 40) == (True, True)
    assert devices.folder.stat().st_mode & 0o777 == 0o700
    assert devices.path.stat().st_mode & 0o777 == 0o600


def test_joining_again_replaces_the_device(devices):
    """A phone that scans an onlooker's square is an onlooker from then on; its old token is worth nothing."""
    first, token = devices.redeem(devices.invite("operator", "page"), "Phone")
    again, newer = devices.redeem(devices.invite("onlooker", "page"), "Phone", first.id)
    assert (again.id, again.role) == (first.id, "onlooker")
    assert devices.find(token) is None
    assert devices.find(newer) == again
    assert devices.list() == [again]


def test_removed_is_removed_in_every_process(tmp_path, devices, clock):
    """The command removes beside a server that runs."""
    device, token = devices.redeem(devices.invite("operator", "page"), "x")
    with Devices(tmp_path, clock) as other:
        other.remove(device.id)
    assert devices.find(token) is None
    assert not devices.there(device.id)
    for work in (devices.remove, lambda one: devices.rename(one, "y")):
        with pytest.raises(NotFound):
            work(device.id)


def test_last_sight_is_kept_and_half_a_year_without_ends_it(devices, clock):
    device, token = devices.redeem(devices.invite("operator", "page"), "x")
    clock.now_us = 20 * US
    devices.find(token)
    assert devices.list()[0].seen_wall_us == device.seen_wall_us
    clock.now_us = 40 * US
    assert devices.there(device.id)
    assert devices.list()[0].seen_wall_us == clock.wall_us()
    clock.now_us += 180 * DAY
    assert devices.find(token) is not None
    clock.now_us += 180 * DAY + 1
    assert devices.find(token) is None
    assert devices.list() == []


def test_the_one_seen_last_comes_first(devices, clock):
    tokens = [devices.redeem(devices.invite("operator", "page"), n)[1] for n in "abc"]
    clock.now_us = 100 * US
    devices.find(tokens[1])
    assert devices.list()[0].name == "b"


def test_there_is_an_end_to_devices(devices, monkeypatch):
    """The square is not used up by being refused."""
    monkeypatch.setattr("coach.server.devices.MOST_DEVICES", 3)
    for _ in range(3):
        devices.redeem(devices.invite("onlooker", "page"), "x")
    secret = devices.invite("operator", "page")
    with pytest.raises(NotPaired, match="remove one"):
        devices.redeem(secret, "x")
    devices.remove(devices.list()[0].id)
    assert devices.redeem(secret, "x")[0].role == "operator"


def test_a_secret_shown_twice_at_once_joins_one(devices):
    """Two phones in the same instant: one of them is joined."""
    secret, got, start = devices.invite("operator", "page"), [], threading.Barrier(8)

    def scan():
        start.wait()
        try:
            got.append(devices.redeem(secret, "x"))
        except NotPaired:
            got.append(None)

    threads = [threading.Thread(target=scan) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sum(one is not None for one in got) == 1


def test_names_can_be_given(devices):
    device, _ = devices.redeem(devices.invite("operator", "page"), "x")
    devices.rename(device.id, "  Ben's \n phone\x00 ")
    assert devices.list()[0].name == "Ben's phone"
    with pytest.raises(BadInput, match="one letter"):
        devices.rename(device.id, "\u200b \n")


@given(st.text())
def test_a_name_is_one_line_that_can_be_seen(text):
    """Of at most forty letters; cleaning it twice changes nothing."""
    name = clean_name(text)
    assert len(name) <= 40
    assert name.isprintable()
    assert name == name.strip() == clean_name(name)


def test_facts_outlive_a_start(tmp_path, devices, clock):
    assert devices.fact("name") is None
    devices.fact("name", "coach-ab12.local")
    with Devices(tmp_path, clock) as again:
        assert again.fact("name") == "coach-ab12.local"


def test_a_damaged_database_is_a_sentence(tmp_path, clock):
    (tmp_path / "joining").mkdir()
    (tmp_path / "joining" / "devices.db").write_bytes(b"no database at all" * 100)
    with pytest.raises(StoreError, match="damaged"):
        Devices(tmp_path, clock)


def test_a_folder_in_place_of_the_database_is_a_sentence(tmp_path, clock):
    (tmp_path / "joining" / "devices.db").mkdir(parents=True)
    with pytest.raises(StoreError):
        Devices(tmp_path, clock)


def test_a_file_in_place_of_the_folder_is_a_sentence(tmp_path, clock):
    (tmp_path / "joining").write_text("x")
    with pytest.raises(StoreError):
        Devices(tmp_path, clock)


def test_a_fault_in_the_middle_of_a_change_changes_nothing(devices, monkeypatch):
    """The secret stays good when the device could not be written."""
    secret = devices.invite("operator", "page")
    devices._db.execute("CREATE TRIGGER full BEFORE INSERT ON devices BEGIN SELECT RAISE(ABORT, 'disk is full'); END")
    with pytest.raises(StoreError, match="full"):
        devices.redeem(secret, "x")
    devices._db.execute("DROP TRIGGER full")
    assert devices.redeem(secret, "x")[0].name == "x"


def test_after_closing_nothing_is_answered(devices):
    devices.close()
    devices.close()
    with pytest.raises(StoreError):
        devices.list()
    assert sqlite3.connect(devices.path).execute("SELECT count(*) FROM devices").fetchone() == (0,)
