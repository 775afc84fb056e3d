"""The schedule alone: earliest due first, together what belongs together, nothing queued; the rates of that."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from coach.clock import US
from coach.plan.schedule import VOLTAGE, Schedule, Want, expected_hz, wants

NAMES = [f"s{n}" for n in range(12)]
PIDS = {name: n for n, name in enumerate(NAMES)}


def test_what_is_asked_alike_is_asked_together() -> None:
    """Twelve fast signals make two requests that stay the same two; a slow one takes a place when it is due."""
    some = wants(dict.fromkeys(NAMES, 10.0) | {"slow": 0.1}, {**PIDS, "slow": 99}, 6)
    schedule = Schedule(some, 6, 0)
    taken = []
    now = 0
    while now < 2 * US:
        pids = schedule.take(now)
        now = now + 40_000 if pids else schedule.next_us or 0
        if pids:
            taken.append(frozenset(pids))
    assert {t for t in taken if 99 not in t} == {frozenset(range(6)), frozenset(range(6, 12))}
    assert sum(99 in t for t in taken) == 1


def test_a_parameter_of_two_signals_goes_as_fast_as_the_faster() -> None:
    assert wants({"a": 1.0, "b": 4.0, "gone": 8.0}, {"a": 1, "b": 1}, 6) == [Want(1, 250_000, 0)]


def test_nothing_due_is_nothing_asked() -> None:
    schedule = Schedule([Want(1, US)], 6, 0)
    assert schedule.take(0) == (1,)
    assert schedule.take(1) == ()
    assert schedule.next_us == US
    empty = Schedule([], 6, 0)
    assert empty.take(5) == ()
    assert empty.next_us is None


def test_missed_ticks_are_dropped() -> None:
    """After ten seconds of silence two requests, not eighty, and then as often as asked."""
    schedule = Schedule([Want(1, 125_000)], 6, 0)
    assert schedule.take(0) == (1,)
    assert schedule.take(10 * US) == (1,)
    assert schedule.take(10 * US + 1) == (1,)
    assert schedule.take(10 * US + 2) == ()
    assert schedule.next_us == 10 * US + 62_500


def test_a_link_that_is_a_little_too_slow_gives_every_signal_the_same_share() -> None:
    """One signal a request at 40 ms is 25 a second where 28.7 are asked: 87 % for all, and 80 % will do for a window.

    The slower signal is not the one that pays (asking whoever's time runs out first gave it half).
    """
    asked = {"s0": 8.0, "s1": 8.0, "s2": 8.0, "s3": 4.0, "s4": 0.5, "s5": 0.2}
    rates = expected_hz(wants(asked, PIDS, 1), 1, lambda _: 40_000)
    for name, hz in asked.items():
        assert rates[PIDS[name]] / hz >= 0.85


@given(
    st.dictionaries(st.sampled_from(NAMES), st.sampled_from([2.0, 4.0, 5.0, 8.0, 10.0]), min_size=2),
    st.integers(20_000, 120_000),
)
def test_what_a_link_cannot_give_is_missing_from_all_alike(asked: dict[str, float], cost: int) -> None:
    """One signal a request: nobody gets less than three quarters of a fair share, but for one request in the 20 s.

    Requests are whole: a link of eight a second cannot be cut finer. Whoever's time ran out first once got half.
    """
    rates = expected_hz(wants(asked, PIDS, 1), 1, lambda _: cost)
    fair = min(1.0, US / cost / sum(asked.values()))
    for name, hz in asked.items():
        assert rates[PIDS[name]] >= 0.75 * fair * hz - 1 / 20


def test_the_adapters_voltage_is_asked_for_alone() -> None:
    some = wants({"a": 5.0, "v": 5.0, "b": 5.0}, {"a": 1, "b": 2, "v": VOLTAGE}, 6)
    schedule = Schedule(some, 6, 0)
    taken = [schedule.take(0), schedule.take(0), schedule.take(0), schedule.take(0)]
    assert (VOLTAGE,) in taken
    assert sum(VOLTAGE in t for t in taken) == 1


def test_favour_is_taken_back() -> None:
    schedule = Schedule([Want(1, 100), Want(2, 100)], 1, 0)
    schedule.favour([1])
    schedule.take(0)
    schedule.take(0)
    assert schedule.take(150) == (1,)
    schedule.favour([])
    assert schedule.take(300) in {(1,), (2,)}


@given(
    st.dictionaries(st.sampled_from(NAMES), st.sampled_from([0.1, 0.5, 1.0, 2.0, 4.0, 8.0, 20.0]), min_size=1),
    st.sampled_from([1, 2, 6]),
    st.integers(5_000, 120_000),
)
def test_every_signal_comes_and_none_faster_than_asked(asked: dict[str, float], batch: int, cost: int) -> None:
    """Requests never carry more than a batch, and where the link has time for all, all get what they asked for."""
    some = wants(asked, PIDS, batch)
    rates = expected_hz(some, batch, lambda _: cost)
    for name, rate in asked.items():
        got = rates[PIDS[name]]
        assert 0 < got <= rate + 0.1
    if sum(asked.values()) * cost < 0.7 * US:
        assert all(rates[PIDS[n]] >= 0.9 * r - 0.05 for n, r in asked.items())


def test_a_full_batch_gives_ninety_percent_of_what_the_wire_can() -> None:
    """Signals a request over the round trip: 3 and 6 signals at 40 ms, 12 in two requests."""
    for count in (3, 6, 12):
        some = wants(dict.fromkeys(NAMES[:count], 100.0), PIDS, 6)
        rates = expected_hz(some, 6, lambda _: 40_000)
        assert sum(rates.values()) >= 0.9 * min(count, 6) / 0.04
