"""The cheapest changes: after them the link carries everything, and none of them is one too many."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from coach.plan.cheapest import LADDER_HZ, Change, cheapest, enough
from coach.plan.rates import K_LINE, LEAST, USUAL_CAN, LinkModel, achieved_hz

MANY = {"engine_speed": 8.0, "road_speed": 4.0, "manifold_pressure": 8.0, "pedal": 8.0, "coolant_temp": 0.5}


def applied(asked, changes):
    """What is asked for after the changes."""
    new = {c.signal: c.to_hz for c in changes}
    return {n: new.get(n, hz) for n, hz in asked.items() if new.get(n, hz) is not None}


def fits(asked, model, least=None, keys=None):
    """Whether a link carries it all."""
    return enough(asked, achieved_hz(asked, model, keys), least or {}, keys)


def test_a_fast_link_needs_no_change():
    """Nothing is changed that works."""
    assert cheapest(MANY, USUAL_CAN) == []


def test_what_is_judged_stays_as_long_as_it_can():
    """On one signal a request the pedal, which only is recorded, is slowed down; what is judged keeps its rate."""
    model = LinkModel(1, 48_000, 48_000)
    judged = ("engine_speed", "road_speed", "manifold_pressure")
    changes = cheapest(MANY, model, judged=judged)
    assert [c.signal for c in changes] == ["pedal"]
    assert fits(applied(MANY, changes), model)


def test_what_may_be_missing_goes_first():
    """A signal that spoils no window is slowed down or left out before anything else."""
    model = LinkModel(1, 60_000, 60_000)
    changes = cheapest(MANY, model, least={"pedal": 0.0}, judged=("engine_speed",))
    assert "pedal" in {c.signal for c in changes}
    assert {c.signal for c in changes} <= {"pedal", "manifold_pressure", "road_speed"}
    assert fits(applied(MANY, changes), model, {"pedal": 0.0})


def test_a_k_line_carries_little():
    """4 samples a second in all: judged signals come down to a few, and the rest goes."""
    changes = cheapest(MANY, K_LINE, judged=("engine_speed", "road_speed"))
    left = applied(MANY, changes)
    assert fits(left, K_LINE)
    assert sum(left.values()) * LEAST <= 4.2
    assert {"engine_speed", "road_speed"} <= set(left)


def test_a_floor_that_does_not_fit_is_no_plan():
    """Two samples per 250 rpm of a steep sweep over a K-line: nothing helps, and that is said."""
    assert cheapest({"engine_speed": 8.0}, K_LINE, judged=("engine_speed",), floor_hz={"engine_speed": 6.0}) is None


def test_what_the_car_does_not_offer_is_not_slowed():
    """Signals without a key ask nothing of the link."""
    keys = {n: i for i, n in enumerate(MANY) if n != "pedal"}
    changes = cheapest(MANY, LinkModel(1, 60_000, 60_000), keys, judged=("engine_speed",))
    assert "pedal" not in {c.signal for c in changes}


def test_a_change_says_from_what_to_what():
    """Rates that people write."""
    (change,) = cheapest({"a": 8.0, "b": 8.0}, LinkModel(1, 90_000, 90_000), judged=("a",))
    assert change.signal == "b"
    assert change.from_hz == 8.0
    assert change.to_hz in LADDER_HZ
    assert Change("a", 1.0, None).to_hz is None


@settings(max_examples=15)
@given(
    st.dictionaries(
        st.sampled_from("abcdefgh"), st.sampled_from([0.2, 0.5, 1.0, 2.0, 4.0, 8.0, 10.0]), min_size=1, max_size=6
    ),
    st.sampled_from([1, 2, 6]), st.sampled_from([30_000, 80_000, 250_000]),
    st.sets(st.sampled_from("abcdefgh"), max_size=2),
)  # fmt: skip
def test_enough_and_not_too_much(asked, batch, single_us, judged):
    """Afterwards it fits; taking back any one change whole, it does not; nothing is asked for faster than before."""
    model = LinkModel(batch, single_us, round(single_us * 1.3))
    changes = cheapest(asked, model, judged=judged)
    if changes is None:
        lowest = {n: (LADDER_HZ[-1] if n in judged else None) for n in asked}
        assert not fits({n: hz for n, hz in lowest.items() if hz}, model)
        return
    assert fits(applied(asked, changes), model)
    assert all(c.to_hz is None or c.to_hz < c.from_hz for c in changes)
    assert all(c.to_hz is not None for c in changes if c.signal in judged)
    for change in changes:
        rest = [c for c in changes if c is not change]
        if change.to_hz is not None:
            assert not fits(applied(asked, rest), model)
