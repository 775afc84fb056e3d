"""When failures mean that somebody else talks to the car: three signs in three seconds, and not a bad line."""

from __future__ import annotations

import pytest

from coach.clock import US
from coach.sources.link.answers import STRANGER
from coach.sources.link.crowd import Crowd, is_sign
from coach.sources.link.trouble import SENTENCES, Failure


def noted(*some: tuple[float, str]) -> bool:
    crowd = Crowd()
    for at_s, written in some:
        code, _, detail = written.partition(" ")
        crowd.note(Failure(code, STRANGER if detail else ""), round(at_s * US))
    return crowd.there


def test_which_failures_are_signs() -> None:
    """A control unit of the car's own that answers for the engine is none; one that was never there is."""
    signs = {code for code in SENTENCES if is_sign(Failure(code))}
    assert signs == {"other_tester", "wrong_parameter", "wrong_mode", "bus_busy", "stopped"}
    assert is_sign(Failure("foreign", STRANGER))
    assert not is_sign(Failure("foreign"))


@pytest.mark.parametrize(
    ("some", "there"),
    [
        ([(0, "other_tester"), (1, "stopped"), (3, "wrong_mode")], True),
        ([(0, "other_tester"), (1, "stopped")], False),
        ([(0, "other_tester"), (1, "stopped"), (3.1, "wrong_mode")], False),
        ([(0, "foreign x"), (0.1, "foreign x"), (0.2, "foreign x")], True),
        ([(0, "foreign"), (0.1, "foreign"), (0.2, "foreign")], False),
        # As many damaged answers tell of a bad line.
        ([(0, "other_tester"), (0.1, "broken_frame"), (0.2, "stopped"), (0.3, "short"), (0.4, "wrong_mode")], False),
        ([(0, "other_tester"), (0.1, "broken_frame"), (0.2, "stopped"), (0.4, "wrong_mode")], True),
        ([(0, "silent"), (4, "other_tester"), (4.1, "silent"), (4.2, "stopped"), (4.4, "wrong_mode")], True),
        ([(0, "no_data"), (0.1, "negative"), (0.2, "no_data")], False),
    ],
)  # fmt: skip
def test_three_signs_in_three_seconds_and_more_than_twice_the_damage(
    some: list[tuple[float, str]], there: bool
) -> None:
    assert noted(*some) is there


def test_afterwards_it_begins_anew() -> None:
    crowd = Crowd()
    for n in range(3):
        crowd.note(Failure("stopped"), n)
    assert crowd.there
    crowd.forget()
    assert not crowd.there
