"""Derived signals that are sums: what they give, and that step form and array form are one."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.core.derive import AT_CEILING, AT_FLOOR, OK, OUT_OF_RANGE, UNREADABLE, Feed, Held
from coach.core.pointwise import Pointwise, core_derivations

BOOST, OVER, COLD, LAMBDA, FROM_AFR, AFR, _ = core_derivations()


def held(value: float, flag: int = OK) -> Held:
    return Held(0, value, flag)


def feed(name: str, samples: list[tuple[int, float, int]]) -> Feed:
    t = np.array([s[0] for s in samples], dtype=np.int64)
    value = np.array([s[1] for s in samples], dtype=np.float64)
    flag = np.array([s[2] for s in samples], dtype=np.uint8)
    return Feed(t, value, flag, (name,), (t,))


def stepped(way: Pointwise, feeds: list[Feed], fresh_us: list[int]) -> list[tuple[int, float, int, tuple[int, ...]]]:
    """The step form run over the feeds, instant by instant."""
    stepper = way.stepper()
    found = []
    last: list[Held | None] = [None] * len(feeds)
    for t in sorted({int(t) for f in feeds for t in f.t_us}):
        now = []
        for i, f in enumerate(feeds):
            at = np.flatnonzero(f.t_us == t)
            now.append(bool(len(at)))
            if len(at):
                last[i] = Held(t, float(f.value[at[0]]), int(f.flag[at[0]]))
        inputs = [h for h in last if h is not None]
        if len(inputs) < len(feeds) or any(t - h.t_us > age for h, age in zip(inputs, fresh_us, strict=True)):
            continue
        said = stepper.step(t, inputs, now)
        found.append((t, said.value, said.flag, tuple(h.t_us for h in inputs)))
    return found


def test_gauge_boost_is_manifold_minus_barometric_pressure():
    """MAP minus barometric pressure at the same moment (common practice, no source)."""
    said = BOOST.stepper().step(0, [held(195.0), held(99.0)], [True, False])
    assert (said.value, said.flag) == (96.0, OK)


@pytest.mark.parametrize(
    ("stoichiometric", "afr", "wanted"),
    [(15.13, 15.13, 1.0), (14.57, 12.3845, 0.85), (9.00, 7.65, 0.85)],
    ids=["isooctane", "CH1.85", "ethanol"],
)
def test_lambda_is_the_ratio_over_the_stoichiometric_one(stoichiometric, afr, wanted):
    """Lambda is AFR / stoichiometric: isooctane 15.13, CH1.85 14.57, ethanol 9.00 (combustion balance)."""
    ways = [w for w in core_derivations(stoichiometric) if w.name in ("lambda", "air_fuel_ratio")]
    assert ways[1].stepper().step(0, [held(afr)], [True]).value == pytest.approx(wanted, rel=1e-6)
    assert ways[2].stepper().step(0, [held(wanted)], [True]).value == pytest.approx(afr, rel=1e-6)


@pytest.mark.parametrize(("atoms", "wanted"), [(18 / 8, 15.13), (1.85, 14.57)])
def test_the_stoichiometric_ratios_are_those_of_the_balance(atoms, wanted):
    """CHx + (1 + x/4) (O2 + 3.773 N2): mass of air over mass of fuel, air being 28.96 g/mol (textbook balance)."""
    air = (1 + atoms / 4) * 4.773 * 28.96
    assert air / (12.011 + atoms * 1.008) == pytest.approx(wanted, abs=0.03)


def test_stoichiometric_air_is_exactly_lambda_one():
    """No rounding error moves lambda 1 out of a band that ends at 1."""
    assert FROM_AFR.stepper().step(0, [held(14.7)], [True]).value == 1.0


def test_saturation_travels_with_the_direction():
    """A manifold pressure of at least 255 is a boost of at least so much; a barometric one is at most."""
    step = BOOST.stepper().step
    assert step(0, [held(255, AT_CEILING), held(100)], [True, True]).flag == AT_CEILING
    assert step(0, [held(100), held(110, AT_CEILING)], [True, True]).flag == AT_FLOOR
    assert step(0, [held(0, AT_FLOOR), held(100)], [True, True]).flag == AT_FLOOR
    assert step(0, [held(100), held(40, AT_FLOOR)], [True, True]).flag == AT_CEILING


def test_at_least_minus_at_least_says_nothing():
    """Both inputs saturated the same way leave the difference unknown."""
    said = BOOST.stepper().step(0, [held(255, AT_CEILING), held(110, AT_CEILING)], [True, True])
    assert said.flag == UNREADABLE
    assert math.isnan(said.value)


@pytest.mark.parametrize("flag", [UNREADABLE, OUT_OF_RANGE])
def test_an_input_that_cannot_be_used_spoils_the_result(flag):
    """No derived value comes from an input that is out of range or not a number."""
    said = BOOST.stepper().step(0, [held(200.0), held(math.nan, flag)], [True, True])
    assert said.flag == UNREADABLE
    assert math.isnan(said.value)


def test_an_input_that_is_too_old_gives_no_sample():
    """Age up to and including `fresh_us` counts; a microsecond more does not."""
    feeds = [feed("a", [(0, 1.0, OK), (100, 2.0, OK), (101, 3.0, OK)]), feed("b", [(0, 1.0, OK)])]
    assert BOOST.array(feeds, [1000, 100]).t_us.tolist() == [0, 100]


@st.composite
def samples(draw):
    stamps = draw(st.lists(st.integers(0, 60), unique=True, max_size=25).map(sorted))
    value = st.floats(-1e6, 1e6, allow_nan=False) | st.just(math.nan)
    flag = st.sampled_from([OK, OK, OK, OK, AT_CEILING, AT_FLOOR, OUT_OF_RANGE, UNREADABLE])
    return [(t, draw(value), draw(flag)) for t in stamps]


@given(st.data(), st.integers(0, 40), st.integers(0, 40))
def test_both_forms_agree_to_the_last_bit(data, fresh_a, fresh_b):
    """The array form has the step form's samples: stamps, values, flags and the stamps of the inputs used."""
    way = data.draw(
        st.sampled_from([BOOST, LAMBDA, FROM_AFR, AFR, Pointwise("x", ("a", "b", "c"), (0.3, -1.7, 2.0), 3.0)])
    )
    feeds = [feed(name, data.draw(samples())) for name in way.inputs]
    fresh_us = [fresh_a, fresh_b, 20][: len(feeds)]
    whole = way.array(feeds, fresh_us)
    pairs = zip(whole.t_us.tolist(), whole.value.tolist(), whole.flag.tolist(), *whole.input_t_us, strict=True)
    got = [(t, repr(v), f, tuple(int(s) for s in stamps)) for t, v, f, *stamps in pairs]
    assert got == [(t, repr(v), f, stamps) for t, v, f, stamps in stepped(way, feeds, fresh_us)]
    assert whole.inputs == way.inputs


def test_differences_of_temperatures():
    """Intake 41 degC with 20 degC outside is 21 K over it; coolant 24 degC at that intake is 17 K under it."""
    over = OVER.stepper().step(0, [held(41.0), held(20.0)], [True, True])
    cold = COLD.stepper().step(0, [held(24.0), held(41.0)], [True, True])
    assert (over.value, cold.value) == (21.0, -17.0)
