"""What the core derives by itself: which signals, from which, with values by hand (common practice, no source)."""

from __future__ import annotations

import math

import numpy as np
import pytest

from coach.catalogue import default_catalogue
from coach.core.derive import AT_CEILING, AT_FLOOR, OK, OUT_OF_RANGE, UNREADABLE, Feed, Held
from coach.core.judge import Judge
from coach.core.pointwise import STOICHIOMETRIC, Pointwise, core_derivations
from coach.core.spec import Band, Capture, Facts, JudgePlan

WORKED = [
    ("gauge_boost", {"manifold_pressure": 195, "barometric_pressure": 99}, 96),
    ("intake_over_ambient", {"intake_temp": 45, "ambient_temp": 20}, 25),
    ("coolant_over_intake", {"coolant_temp": 90, "intake_temp": 40}, 50),
    ("lambda", {"lambda_1": 0.85}, 0.85),
    ("lambda", {"air_fuel_ratio": 12.495}, 0.85),
    ("air_fuel_ratio", {"lambda_1": 0.85}, 12.495),
    ("air_fuel_ratio", {"lambda": 0.85}, 12.495),
]


def by_arrays(way: Pointwise, values: list[float], flags: list[int]) -> Feed:
    t = np.array([7], dtype=np.int64)
    feeds = [
        Feed(t, np.array([v], dtype=np.float64), np.array([f], dtype=np.uint8), (n,), (t,))
        for n, v, f in zip(way.inputs, values, flags, strict=True)
    ]
    return way.array(feeds, [0] * len(feeds))


def test_what_is_derived_and_from_what():
    """Each way in its order: of two of one name the first stands whose inputs are there. All are in the catalogue."""
    ways = core_derivations()
    assert [(w.name, w.inputs) for w in ways] == [(name, tuple(inputs)) for name, inputs, _ in WORKED]
    assert {n for w in ways for n in (w.name, *w.inputs)} <= {s.name for s in default_catalogue()}


@pytest.mark.parametrize("i", range(len(WORKED)))
def test_worked_by_hand(i):
    """Live and stored, with 14.7 for petrol."""
    assert STOICHIOMETRIC == 14.7
    _, inputs, wanted = WORKED[i]
    way = core_derivations()[i]
    said = way.stepper().step(7, [Held(7, v, OK) for v in inputs.values()], [True] * len(inputs))
    assert (said.value, said.flag) == (pytest.approx(wanted, abs=1e-12), OK)
    made = by_arrays(way, list(inputs.values()), [OK] * len(inputs))
    assert (made.t_us.tolist(), made.flag.tolist(), made.inputs) == ([7], [OK], tuple(inputs))
    assert made.value.tolist() == [said.value]
    assert [s.tolist() for s in made.input_t_us] == [[7]] * len(inputs)


@pytest.mark.parametrize(
    ("flags", "wanted"),
    [
        ((AT_CEILING, OK), AT_CEILING),
        ((AT_FLOOR, OK), AT_FLOOR),
        ((OK, AT_CEILING), AT_FLOOR),
        ((OK, AT_FLOOR), AT_CEILING),
        ((AT_CEILING, AT_FLOOR), AT_CEILING),
        ((AT_FLOOR, AT_CEILING), AT_FLOOR),
        ((AT_CEILING, AT_CEILING), UNREADABLE),
        ((AT_FLOOR, AT_FLOOR), UNREADABLE),
        ((OUT_OF_RANGE, OK), UNREADABLE),
        ((OK, OUT_OF_RANGE), UNREADABLE),
        ((UNREADABLE, OK), UNREADABLE),
        ((OK, UNREADABLE), UNREADABLE),
    ],
)
def test_a_difference_is_at_least_or_at_most_what_its_inputs_are(flags, wanted):
    """Live and stored: the second input goes the other way; both ways at once, it says nothing."""
    way = Pointwise("d", ("a", "b"), (1.0, -1.0))
    said = way.step(7, [Held(7, 9.0, flags[0]), Held(7, 4.0, flags[1])], [True, True])
    made = by_arrays(way, [9.0, 4.0], list(flags))
    assert (said.flag, int(made.flag[0])) == (wanted, wanted)
    if wanted == UNREADABLE:
        assert math.isnan(said.value)
        assert math.isnan(made.value[0])
    else:
        assert (said.value, float(made.value[0])) == (5.0, 5.0)


def test_a_derivation_is_told_which_inputs_are_of_this_instant():
    """Live: the last sample of each input with its stamp, and whether it came just now."""
    told = []

    class Noting(Pointwise):
        def step(self, t_us, held, fresh):
            told.append((t_us, [(h.t_us, h.value, h.flag) for h in held], list(fresh)))
            return super().step(t_us, held, fresh)

    way = Noting("d", ("a", "b"), (1.0, -1.0))
    judge = Judge(JudgePlan((Capture("x", hold_us=1, keep=(Band("d", 0),)),), {"b": Facts(ceiling=4)}, (way,)))
    judge.feed(0, {"a": 9.0})
    judge.feed(1, {"b": 4.0, "a": 8.0})
    judge.feed(2, {"b": 3.0})
    assert told == [
        (1, [(1, 8.0, OK), (1, 4.0, AT_CEILING)], [True, True]),
        (2, [(1, 8.0, OK), (2, 3.0, OK)], [False, True]),
    ]


def test_a_sum_over_a_divisor():
    """Factors before the sum, the divisor after it."""
    way = Pointwise("d", ("a", "b"), (3.0, 2.0), 4.0)
    assert way.step(7, [Held(7, 8.0, OK), Held(5, 2.0, OK)], [True, False]).value == 7.0
    assert by_arrays(way, [8.0, 2.0], [OK, OK]).value.tolist() == [7.0]
