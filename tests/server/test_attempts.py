"""Guessing is limited: by address, in all, by a hand clock."""

import threading

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.clock import US, HandClock
from coach.server.attempts import Attempts, TooManyAttempts


def test_one_address_has_five_wrong_attempts_in_ten_minutes():
    """The sixth is refused with how long to wait; the others are free; later it is free again."""
    clock = HandClock()
    attempts = Attempts(clock)
    for _ in range(5):
        attempts.begin("192.168.1.9")
        clock.now_us += 10 * US
    with pytest.raises(TooManyAttempts, match="wait 10 minutes") as caught:
        attempts.begin("192.168.1.9")
    assert caught.value.wait_s == 550
    assert attempts.shut_s() == 0
    attempts.begin("192.168.1.10")
    clock.now_us = 600 * US - 1
    assert attempts.shut_s("192.168.1.9") == 1
    clock.now_us = 600 * US
    attempts.begin("192.168.1.9")


def test_all_together_have_thirty():
    """Whoever changes addresses meets the limit of all."""
    attempts = Attempts(HandClock())
    for n in range(30):
        attempts.begin(f"192.168.1.{n}")
    with pytest.raises(TooManyAttempts):
        attempts.begin("192.168.2.1")
    assert attempts.shut_s() == 600


def test_a_right_one_does_not_count():
    """Twenty phones joined one after the other are no attack."""
    attempts = Attempts(HandClock())
    for _ in range(20):
        attempts.right(attempts.begin("192.168.1.9"))
    assert attempts.shut_s("192.168.1.9") == 0


def test_one_machine_with_many_ipv6_addresses_is_one():
    attempts = Attempts(HandClock())
    for n in range(5):
        attempts.begin(f"fe80::{n}%eth0")
    with pytest.raises(TooManyAttempts):
        attempts.begin("fe80::ffff:1")
    attempts.begin("fd00::1")
    attempts.begin("no address")


def test_attempts_at_the_same_moment_count_before_they_are_looked_at():
    """Hundred at once: five are looked at."""
    attempts = Attempts(HandClock())
    got, start = [], threading.Barrier(20)

    def guess():
        start.wait()
        for _ in range(5):
            try:
                got.append(attempts.begin("192.168.1.9"))
            except TooManyAttempts:
                got.append(None)

    threads = [threading.Thread(target=guess) for _ in range(20)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert (len(got), sum(one is not None for one in got)) == (100, 5)


@given(st.lists(st.tuples(st.integers(0, 300), st.integers(0, 3), st.booleans()), max_size=80))
def test_never_more_in_any_window_than_allowed(steps):
    """Of those let through and wrong, no window of 600 s holds more than the limits, whatever the order.

    What is refused is let through once the time that was told has passed.
    """
    clock = HandClock()
    attempts = Attempts(clock, each=3, in_all=7)
    wrong = []
    for wait_s, who, good in steps:
        clock.now_us += wait_s * US
        try:
            made = attempts.begin(f"10.0.0.{who}")
        except TooManyAttempts as error:
            clock.now_us += error.wait_s * US
            made = attempts.begin(f"10.0.0.{who}")
        if good:
            attempts.right(made)
        else:
            wrong.append((clock.now_us, who))
    for t, _ in wrong:
        inside = [who for at, who in wrong if t - 600 * US < at <= t]
        assert len(inside) <= 7
        assert max(inside.count(who) for who in range(4)) <= 3
