from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.clock import HandClock
from coach.errors import BadInput
from coach.sources.adapter import KINDS, AdapterServer, Faults, TableCar, parse_fault
from tests.adapter.conftest import ANSWERS, IDENTITY
from tests.adapter.peer import Peer

GOOD = b"41 0C 1A F8 \r\r"


@pytest.fixture
def clock():
    return HandClock()


@pytest.fixture
def server(clock):
    with AdapterServer(TableCar(ANSWERS, IDENTITY), latency_s=0.04, clock=clock) as running:
        yield running


@pytest.fixture
def peer(server):
    with Peer(server.url) as one:
        yield one.ready()


@pytest.mark.parametrize(
    ("kind", "said"),
    [
        ("no-data", b"NO DATA\r\r"),
        ("can-error", b"CAN ERROR\r\r"),
        ("stopped", b"STOPPED\r\r"),
        ("bus-init-error", b"BUS INIT: ERROR\r\r"),
        ("bus-busy", b"BUS BUSY\r\r"),
        ("buffer-full", b"41 0C 1A F8 \rBUFFER FULL\r\r"),
        ("unable-to-connect", b"UNABLE TO CONNECT\r\r"),
        ("negative", b"7F 01 12 \r\r"),
        ("pending", b"7F 01 78 \r41 0C 1A F8 \r\r"),
        ("wrong-parameter", b"41 0D 1A F8 \r\r"),
        ("short-answer", b"41 0C 1A \r\r"),
        ("short-frame", b"41 0C \r\r"),
        ("foreign", b"41 0C E5 07 \r\r"),
    ],
)
def test_faults_of_car_and_adapter(server, peer, kind, said):
    """Each strikes the next request to the car, once, and leaves AT commands alone."""
    server.faults.now(kind)
    assert peer.ask("ATI") == b"virtual adapter 1\r\r"
    assert peer.ask("010C") == said
    assert peer.ask("010C") == GOOD
    assert server.faults.struck[kind] == 1


def test_pending_answers_take_their_time(clock, server, peer):
    """The answer comes after its own time, under the same prompt."""
    server.faults.now("pending", seconds=2.5)
    before_us = clock.now_us
    assert peer.ask("010C") == b"7F 01 78 \r41 0C 1A F8 \r\r"
    assert clock.now_us - before_us == 2_540_000


def test_pending_before_an_answer_of_several_frames(server, peer):
    """The units' frames stay in order."""
    server.faults.now("pending")
    lines = peer.ask("0902").split(b"\r")
    assert [line[:3] for line in lines] == [b"7F ", b"014", b"0: ", b"1: ", b"2: ", b"", b""]


def test_frames_of_faults_with_headers(server, peer):
    """A short frame declares more than it has; a foreign one names another unit."""
    peer.ask("ATH1")
    server.faults.now("short-frame")
    assert peer.ask("010C") == b"7E8 04 41 0C \r\r"
    server.faults.now("short-frame")
    assert peer.ask("0902").split(b"\r")[2] == b"7E8 22 30 30 30 30 30 "
    server.faults.now("foreign")
    assert peer.ask("010C") == b"7EF 04 41 0C E5 07 AA AA AA \r\r"
    server.faults.now("foreign")
    assert peer.ask("22F40C") == b"7EF 05 62 F4 0C E5 07 AA AA \r\r"


@pytest.mark.parametrize("kind", ["pending", "wrong-parameter", "short-answer", "short-frame", "foreign"])
def test_what_has_no_answer_cannot_be_spoiled(server, peer, kind):
    """No data stays no data."""
    server.faults.now(kind)
    assert peer.ask("0199") == b"NO DATA\r\r"


def test_garbage_is_readable_and_the_same_for_a_seed(talk):
    """Nonsense of printable characters without a prompt in it."""
    said = []
    for _ in range(2):
        t = talk(seed=5)
        t.faults.now("garbage", 3)
        said.append([t("010C") for _ in range(3)])
    assert said[0] == said[1]
    assert all(line.isprintable() and ">" not in line for lines in said[0] for line in lines)


def test_noise_ends_in_a_prompt(server, peer):
    """Random bytes; among them may be a prompt of their own."""
    server.faults.now("noise")
    peer.send(b"010C\r")
    got = b""
    while not got.endswith(b">") or len(got) < 5:
        got += peer.some(5.0)
    assert b"41 0C" not in got


def test_dropped_bytes_leave_a_gap(server, peer):
    """What is left is the answer with at least one byte missing, in order, and the prompt."""
    server.faults.now("dropped", 20)
    for _ in range(20):
        got = peer.ask("010C")
        assert len(got) < len(GOOD)
        rest = iter(GOOD)
        assert all(byte in rest for byte in got)


def test_split_bytes_come_one_by_one(clock, server, peer):
    """Nothing is lost; it takes 10 ms a byte."""
    server.faults.now("split")
    before_us = clock.now_us
    assert peer.ask("010C") == GOOD
    server.faults.now("no-data")  # a request later, every wait of the first one is over
    peer.ask("010C")
    assert clock.now_us - before_us == (len(GOOD) + 1) * 10_000 + 80_000


def test_missing_prompt(server, peer):
    """The answer is whole, and nothing ends it; an empty line brings the next one."""
    server.faults.now("no-prompt")
    peer.send(b"010C\r")
    assert peer.ask("") == GOOD + GOOD


def test_silence_and_the_way_out_of_it(server, peer):
    """AT commands meet it too; afterwards an empty line repeats what was not answered."""
    server.faults.now("silence", 2)
    peer.send(b"ATI\r")
    peer.send(b"010C\r")
    assert peer.ask("") == GOOD
    assert server.faults.struck["silence"] == 2


def test_a_late_answer_comes_all_the_same(clock, server, peer):
    """It cannot be stopped: whoever sent something meanwhile gets two answers."""
    server.faults.now("late")
    before_us = clock.now_us
    peer.send(b"010C\r")
    peer.send(b"\r")
    assert [peer.read(), peer.read()] == [GOOD, GOOD]
    assert clock.now_us - before_us == 1_500_000 + 2 * 40_000


@pytest.mark.parametrize("pty", [False, True])
def test_disconnect_ends_this_and_the_next_connections(clock, pty):
    """With a count of three, two more connections end as they are made; then it is back."""
    with AdapterServer(TableCar(ANSWERS, IDENTITY), pty=pty, clock=clock) as server:
        with Peer(server.url) as peer:
            peer.ready()
            server.faults.now("disconnect", 3)
            with pytest.raises(OSError):
                peer.ask("010C")
        for _ in range(5_000):
            try:
                with Peer(server.url, wait_s=1.0) as peer:
                    if peer.ask("010C") == GOOD:
                        break
            except OSError:
                continue
        assert server.faults.struck["disconnect"] == 3


def test_reset_forgets_the_settings(server, peer):
    """The adapter says its name instead of the answer, and echoes again."""
    server.faults.now("reset")
    assert peer.ask("010C") == b"\rvirtual adapter 1\r\r"
    assert peer.ask("010C") == b"010C\rSEARCHING...\r41 0C 1A F8 \r\r"


def test_scheduled_faults_wait_for_their_time(clock, server, peer):
    """They count from the adapter's start."""
    server.faults.schedule("no-data", 60.0, 2)
    assert peer.ask("010C") == GOOD
    clock.now_us = 60_000_000
    assert [peer.ask("010C") for _ in range(3)] == [b"NO DATA\r\r", b"NO DATA\r\r", GOOD]


def test_faults_without_end_until_cleared(server, peer):
    """Counted as none: every request meets it."""
    server.faults.now("stopped", None)
    assert [peer.ask("010C") for _ in range(3)] == [b"STOPPED\r\r"] * 3
    assert server.faults.waiting() == ("stopped",)
    server.faults.clear()
    assert peer.ask("010C") == GOOD
    assert server.faults.waiting() == ()


@given(kind=st.sampled_from(sorted(KINDS)), at=st.integers(0, 9_999), count=st.integers(1, 99))
def test_written_faults_are_read(kind, at, count):
    """kind@seconds[xN], the seconds with or without their letter."""
    assert parse_fault(f"{kind}@{at}x{count}") == (kind, float(at), count)
    assert parse_fault(f" {kind}@{at}.5s ") == (kind, at + 0.5, 1)
    assert parse_fault(f"{kind}x{count}") == (kind, 0.0, count)
    assert parse_fault(f"{kind}@{at}xall") == (kind, float(at), None)


@pytest.mark.parametrize("text", ["", "silence@", "silence@-1", "silence@1x", "@3", "silence 3", "silence@1e3"])
def test_faults_that_are_not_written_so_are_refused(text):
    with pytest.raises(BadInput, match="kind@seconds"):
        parse_fault(text)


def test_faults_that_do_not_exist_are_refused():
    """The sentence names those that do."""
    for call in (lambda: parse_fault("gremlin@3"), lambda: Faults().now("gremlin")):
        with pytest.raises(BadInput, match="there is no fault 'gremlin'; there are: no-data, can-error"):
            call()
    with pytest.raises(BadInput, match="1 request or more"):
        Faults().now("silence", 0)
    with pytest.raises(BadInput, match="a number of seconds"):
        Faults().schedule("silence", -1.0)
    with pytest.raises(BadInput, match="a number of seconds"):
        Faults().now("late", seconds=float("nan"))
