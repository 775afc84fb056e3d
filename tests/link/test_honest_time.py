"""Whatever goes wrong on the way, a value stands at the time at which the car had it, give or take what is said."""

from __future__ import annotations

import numpy as np
import pytest

from coach.clock import US
from coach.recording import Recording, Series
from coach.sources.adapter import KINDS, RecordingCar
from coach.sources.adapter.speaking import Said
from coach.sources.base import Back, Lost
from coach.sources.link.discover import discover
from coach.sources.link.session import Session
from coach.sources.link.source import LinkSource
from coach.sources.link.talk import DEADLINE_S
from coach.sources.link.trouble import Failure
from tests.link.test_source import Heard
from tests.link.wired import CATALOGUE, URL, Rig, RigPort, table_car

SLOPE = 100.0
"""rpm a second: the value says when it was true."""
CLOSE_S = 0.08
"""The recording's own step, one round trip, and the moment at which the drive began."""


def rising() -> Rig:
    """An engine that turns ever faster, behind an adapter that keeps all it is sent: nothing that waits is thrown away.

    So is a radio link that hangs for a moment: what was asked meanwhile is all answered, later and in order.
    """
    us = np.arange(0, 40 * 50, dtype=np.int64) * 20_000
    rising_rpm = Series(us, 1000 + SLOPE * us / US)
    recording = Recording({"engine_speed": rising_rpm, "road_speed": Series(us, np.full(len(us), 80.0))})
    clock = Rig(table_car()).clock
    rig = Rig(RecordingCar(recording, CATALOGUE, clock), clock=clock)
    real = rig.open

    def opener(url: str, baud: int) -> RigPort:
        port = real(url, baud)
        port.stuck = True  # type: ignore[attr-defined]
        return port

    rig.open = opener  # type: ignore[method-assign]
    return rig


def driven(rig: Rig, hz: float, kind: str, times: int | None, seconds: float = 25.0) -> Heard:
    found = discover(rig.session(), CATALOGUE)
    assert isinstance(rig.car, RecordingCar)
    rig.car.restart()
    source = LinkSource(URL, found, {"engine_speed": hz, "road_speed": hz}, CATALOGUE, rig.open)
    heard = Heard(rig, seconds, {6.0: lambda: rig.faults.now(kind, times), 12.0: rig.faults.clear})
    source.run(heard.emit, heard.stop, rig.clock)
    return heard


def farthest_s(heard: Heard) -> float:
    """How far off the worst sample is, beyond what it says of itself."""
    return max(
        abs(e.values["engine_speed"] - (1000 + SLOPE * e.t_us / US)) / SLOPE - e.uncertainty_us / US
        for e in heard.instants()
        if "engine_speed" in e.values
    )


@pytest.mark.parametrize("times", [1, 2, None])
@pytest.mark.parametrize("kind", KINDS)
def test_no_value_is_given_a_time_that_is_not_its_own(kind: str, times: int | None) -> None:
    """Answers to the same parameters look alike: after a late one the adapter is asked something else first."""
    assert farthest_s(driven(rising(), 8.0, kind, times)) < CLOSE_S


@pytest.mark.parametrize("hz", [1.0, 50.0])
@pytest.mark.parametrize("times", [1, 3, None])
@pytest.mark.parametrize("kind", ["late", "silence", "no-prompt", "noise"])
def test_nor_on_a_link_that_is_asked_rarely_or_all_the_time(kind: str, times: int | None, hz: float) -> None:
    """Rarely: an answer that is always late by a second and a half would make a whole hold of old values."""
    assert farthest_s(driven(rising(), hz, kind, times)) < CLOSE_S


def test_an_answer_that_is_always_late_is_no_data_and_said() -> None:
    """The link counts as lost as long as it is so, and is back when it is over."""
    heard = driven(rising(), 1.0, "late", None)
    said = [(type(e), round((t - heard.start_us) / US)) for t, e in zip(heard.times, heard.events, strict=True)
            if isinstance(e, Lost | Back)]  # fmt: skip
    assert [kind for kind, _ in said] == [Lost, Back]
    assert 6 <= said[0][1] <= 8
    assert 12 <= said[1][1] <= 15


def test_one_late_answer_costs_little_more_than_it_is_late() -> None:
    """It is not thrown away as a connection: nobody is told that it is lost for longer than it was."""
    rig = rising()
    opened = rig.opened
    heard = driven(rig, 8.0, "late", 1)
    assert rig.opened == opened + 2
    gap = max(np.diff([e.t_us for e in heard.instants()])) / US
    assert 1.0 < gap < 1.5 + DEADLINE_S + 0.1


# --- when the adapter itself is asked first


def heard_after(rig: Rig, session: Session) -> list[str]:
    """What goes out for one more parameter."""
    before = len(rig.heard)
    assert session.single(1, 0x0C)[0] == bytes.fromhex("1AF8")
    return rig.heard[before:]


@pytest.mark.parametrize("kind", ["noise", "garbage", "wrong-parameter", "short-frame", "silence"])
def test_after_an_answer_that_may_belong_elsewhere_the_adapter_is_asked_for_its_name(kind: str) -> None:
    rig = Rig(table_car())
    session = rig.session()
    assert heard_after(rig, session) == ["010C"]
    rig.faults.now(kind, 1)
    with pytest.raises(Failure):
        session.single(1, 0x0C)
    assert heard_after(rig, session) == ["ATI", "010C"]
    assert heard_after(rig, session) == ["010C"]


@pytest.mark.parametrize(("left", "first"), [(b"41 0C 00 00\r>", ["ATI"]), (b" \r\n", [])])
def test_what_lies_about_before_a_question_is_a_sign_of_it_and_blanks_are_none(left: bytes, first: list[str]) -> None:
    rig = Rig(table_car())
    ports: list[RigPort] = []
    real = rig.open
    rig.open = lambda url, baud: ports.append(real(url, baud)) or ports[-1]  # type: ignore[method-assign, func-returns-value]
    session = rig.session()
    ports[-1].coming.append((rig.clock.now_us, left))
    assert heard_after(rig, session) == [*first, "010C"]


def test_a_name_that_comes_late_is_no_data_either() -> None:
    """Asked for twice, told late twice: the second one is not taken for an answer, and it is asked for once more."""
    rig = rising()
    session = rig.session()
    session.single(1, 0x0C)
    rig.faults.now("late", 4)
    codes = []
    for _ in range(8):
        try:
            reply = session.single(1, 0x0C)[1]
        except Failure as failure:
            codes.append(failure.code)
        else:
            break
    assert codes[0] == "silent"
    assert "garbage" in codes
    assert reply.done_us - reply.sent_us < 0.06 * US
    assert rig.heard.count("ATI") >= 3


def test_an_adapter_without_a_name_is_not_asked_for_it() -> None:
    """Nothing would tell its answer from another one."""
    rig = Rig(table_car())
    hear = rig.adapter.hear
    rig.adapter.hear = lambda line, now_us: (  # type: ignore[method-assign]
        Said([(0.0, "?")], blank=True) if line == "ATI" else hear(line, now_us)
    )
    session = rig.session()
    rig.faults.now("silence", 1)
    with pytest.raises(Failure):
        session.single(1, 0x0C)
    assert heard_after(rig, session) == ["010C"]
