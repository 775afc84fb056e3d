"""Drawings of a stored drive: fewer points, no peak lost, no line across a silence."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from coach.drive.traces import _with_gaps
from coach.recording import Series
from coach.review.derived import cut
from coach.review.thinning import thin

US = 1_000_000


@given(st.lists(st.floats(-1e6, 1e6) | st.just(float("nan")), max_size=400), st.integers(4, 60))
def test_a_thinned_signal_keeps_its_ends_and_extremes(values, most):
    """Never more points than asked, in order, highest and lowest among them."""
    value = np.array(values, dtype=np.float64)
    kept = thin(value, most)
    assert len(kept) <= max(most, 0) or len(value) <= most
    assert (np.diff(kept) > 0).all()
    if len(value):
        assert {0, len(value) - 1} <= set(kept.tolist())
    good = value[np.isfinite(value)]
    if len(good):
        shown = value[kept]
        assert np.nanmax(shown) == good.max()
        assert np.nanmin(shown) == good.min()


def test_a_silence_gets_a_point_without_a_value():
    """So that no line is drawn across it; slow signals are no silence."""
    t = np.array([0, 1, 2, 3, 60, 61], dtype=np.int64) * US
    series = Series(t, np.arange(6.0))
    t_s, values = _with_gaps(t, series.value, series)
    assert t_s == [0, 1, 2, 3, 31.5, 60, 61]
    assert np.isnan(values[4])
    slow = Series(np.arange(0, 50, 5, dtype=np.int64) * US, np.arange(10.0))
    assert len(_with_gaps(slow.t_us, slow.value, slow)[0]) == 10
    one = Series(t[:1], series.value[:1])
    assert _with_gaps(one.t_us, one.value, one) == ([0.0], [0.0])


def test_a_part_has_both_its_ends():
    """Inclusive."""
    series = Series(np.array([1, 2, 3], dtype=np.int64), np.array([1.0, 2.0, 3.0]))
    assert cut(series, 1, 2).t_us.tolist() == [1, 2]
    assert len(cut(series, 4, 9)) == 0
