"""The model of a link alone: what a request costs, what is shared, what is asked for alone."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.plan.rates import K_LINE, SINGLES, USUAL_CAN, LinkModel, achieved_hz, advice, expect

NAMES = ("engine_speed", "road_speed", "manifold_pressure", "pedal", "throttle", "timing_advance", "coolant_temp")
RATES = st.dictionaries(st.sampled_from(NAMES), st.sampled_from([0.2, 1.0, 4.0, 8.0, 20.0]), min_size=1)


def test_a_usual_can_link_carries_six_signals_at_ten_hertz() -> None:
    rates = achieved_hz(dict.fromkeys(NAMES[:6], 10.0), USUAL_CAN)
    assert min(rates.values()) >= 9.9
    assert USUAL_CAN.samples_hz == pytest.approx(6 / 0.055)


def test_a_k_line_gives_three_to_five_samples_a_second_in_all() -> None:
    """Common practice, no source; measured figures of a car stand in its place once it is known."""
    assert 3 <= K_LINE.samples_hz <= 5
    rates = achieved_hz(dict.fromkeys(NAMES[:4], 8.0), K_LINE)
    assert 3 <= sum(rates.values()) <= 5
    assert max(rates.values()) - min(rates.values()) < 0.2
    text = advice(expect(dict.fromkeys(NAMES[:4], 8.0), K_LINE, {n: i for i, n in enumerate(NAMES)}), K_LINE)
    assert "1 Hz at most" in text
    assert "4 samples a second" in text


@given(RATES, st.sampled_from([USUAL_CAN, SINGLES, K_LINE, LinkModel(2, 30_000, 36_000)]))
def test_nothing_comes_faster_than_asked_and_all_together_no_faster_than_the_link(
    asked: dict[str, float], model: LinkModel
) -> None:
    rates = achieved_hz(asked, model)
    assert all(0 < rates[n] <= hz for n, hz in asked.items())
    # Twenty seconds are played: a request that begins within them counts whole.
    assert sum(rates.values()) <= model.samples_hz * 1.05 + model.batch / 20 + 0.1


def test_what_is_asked_for_alone_costs_a_request_of_its_own() -> None:
    """Four identifiers take four round trips where four parameters take one."""
    together = achieved_hz(dict.fromkeys(NAMES[:4], 20.0), USUAL_CAN)
    alone = achieved_hz(dict.fromkeys(NAMES[:4], 20.0), USUAL_CAN, {n: 0x10000 + i for i, n in enumerate(NAMES)})
    assert min(together.values()) == pytest.approx(20, abs=0.5)
    assert sum(alone.values()) == pytest.approx(25, abs=1)
    dearer = LinkModel(6, 40_000, 55_000, alone_us=120_000)
    slower = achieved_hz(dict.fromkeys(NAMES[:4], 20.0), dearer, {n: 0x10000 + i for i, n in enumerate(NAMES)})
    assert sum(slower.values()) == pytest.approx(25 / 3, abs=1)


def test_signals_of_one_key_come_together_and_those_without_one_never() -> None:
    rates = achieved_hz({"a": 4.0, "b": 8.0, "gone": 8.0}, SINGLES, {"a": 5, "b": 5})
    assert rates == {"a": 4.0, "b": pytest.approx(8.0, abs=0.1), "gone": 0.0}
