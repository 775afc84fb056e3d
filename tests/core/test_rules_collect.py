"""Rules 44 to 46: pieces that are summed, in all and by cell. Oracle, live and stored judge agree on every line."""

from __future__ import annotations

import pytest

from coach.core import machine
from coach.core.events import Collected
from coach.core.judge import Judge
from coach.core.pieces import Pieces
from coach.core.spec import Axis, Capture, Collect, Facts, JudgePlan, Sweep
from tests.core.rulebook import (
    asked,
    axis,
    band,
    collect,
    drive,
    events_of,
    hold,
    limit,
    mark,
    row,
    run,
    told,
    us,
)

IN = band("a", 4, 8)


def test_pieces_are_summed_until_they_reach_what_is_collected():
    """Rule 44: pieces of 4 s and of 3 s make 7 s; what was shorter than a piece counts for nothing."""
    samples = row(6, 6, 6, 6, 6, 9, 6, 9, 6, 6, 6, 6, 6)
    assert told(collect(7, 2, IN), drive(a=samples)) == [
        "0 began",
        "2 secured",
        "5 secured high a 9/8 | 0..4",
        "6 began",
        "7 missed high a 9/8 | 6..6",
        "8 began",
        "10 secured",
        "11 collected 7",
        "12 secured | 8..12",
    ]


def test_a_window_that_its_end_brings_to_the_sum_is_collected_at_the_next_instant():
    """Rule 45: `b` vouches only up to 2 s, but the window runs to the last good sample of `a`, which broke it."""
    lines = told(collect(4, 1, IN, band("b", 0, 3)), drive(a=row(6, 6, 6, 6, 6, 9, 9), b={0: 1, 2: 1}))
    assert lines == ["0 began", "2 secured", "5 secured high a 9/8 | 0..4", "5 collected 4"]


def test_what_ended_at_a_deadline_is_collected_at_the_instant_that_notices():
    """Rule 45: `c` was last seen at 3 s and is out of sight at 4 s; the next instant of the capture is at 4.5 s."""
    capture = collect(3, 1, IN, band("b", 0, 3), limits=(limit("c", 9, unseen=1),))
    lines = told(capture, drive(a={**run(0, 3, 6), 4.5: 6}, b={0: 1, 1: 1}, c=run(0, 3, 1)))
    assert lines[1:] == ["1 secured", "4 alarm c unseen", "4 secured limit_unseen c -/1 | 0..3", "4.5 collected 3"]


def test_the_end_of_the_drive_may_complete_it():
    """Rule 45: the running piece is closed at the last instant, which no sample of `b` vouched for before."""
    lines = told(collect(3, 1, IN, band("b", 0, 3)), drive(a=run(0, 3, 6), b={0: 1, 1: 1}))
    assert lines == ["0 began", "1 secured", "3 secured | 0..3", "3 collected 3"]


def test_an_open_excursion_does_not_collect():
    """Rule 44: at 3 s `a` is outside; the sample at 4 s closes the excursion and its time counts."""
    lines = told(collect(3, 2, IN, grace=2), drive(a=row(6, 6, 6, 9, 6)))
    assert lines[:4] == ["0 began", "2 secured", "3 outside a high 9", "4 back a high 9 since 3"]
    assert "4 collected 4" in lines


def test_a_limit_that_ends_a_piece_leaves_its_time():
    """Rules 35 and 44: secured before the limit, the piece counts up to the last sample inside."""
    lines = told(collect(5, 1, IN, limits=(limit("b", 3),)), drive(a=run(0, 9, 6), b=row(1, 1, 1, 4, 1, 1, 1, 1, 1, 1)))
    assert lines[2:4] == ["3 alarm b 4", "3 secured limit b 4/3 | 0..2"]
    assert "7 collected 5" in lines


def test_another_capture_waits_until_all_is_collected():
    """Rules 14 and 45: `y` needs `x`, whose first piece alone is not enough."""
    x, y = collect(3, 1, IN, id="x"), hold(1, IN, id="y", needs=("x",))
    lines = told([x, y], drive(a=row(6, 6, 9, 6, 6, 6, 6, 6)))
    assert [line for line in lines if "collected" in line or "y began" in line] == ["5 x collected 3", "6 y began"]


def test_thin_data_are_no_piece():
    """Rule 38 holds for pieces: half the asked rate is sparse, and its time is not collected."""
    lines = told(collect(10, 10, IN, record=(asked("r", 1),)), drive(a=run(0, 12, 6), r=run(0, 12, 1, 2)))
    assert lines[1].startswith("10 sparse rate r 0.5/0.8")
    assert not any("collected" in line for line in lines)


def test_skipping_ends_a_piece_and_keeps_its_time():
    """Rules 15 and 44."""
    lines = told(collect(3, 1, IN), drive(a=run(0, 9, 6), marks=[mark(2.5, "skip"), mark(5.5, "unskip")]))
    assert lines[2] == "2.5 secured skipped | 0..2"
    assert lines[3:6] == ["6 began", "7 secured", "7 collected 3"]


# ---- cells


def test_every_wanted_cell_needs_its_dwell():
    """Rule 46: 3 s below 5 and 2 s from 5 on; the lower edge belongs to a cell."""
    capture = collect(1, 1, IN, axes=[axis("b", 0, 5, 10)], dwell=2, wanted=[(0,), (1,)])
    lines = told(capture, drive(a=run(0, 8, 6), b={0: 1, 3: 5}))
    assert [x for x in lines if "collected" in x] == ["5 collected 5"]


def test_the_upper_edge_belongs_to_no_cell():
    """Rule 46: a value on the last edge, or beyond it, is in no cell."""
    capture = collect(1, 1, IN, axes=[axis("b", 0, 5)], dwell=2, wanted=[(0,)])
    assert not any("collected" in x for x in told(capture, drive(a=run(0, 8, 6), b={0: 5})))
    assert not any("collected" in x for x in told(capture, drive(a=run(0, 8, 6), b={0: -0.1})))


def test_a_cell_is_named_by_both_signals():
    """Rule 46: only while `b` is in its second cell and `c` in its first."""
    capture = collect(1, 1, IN, axes=[axis("b", 0, 5, 10), axis("c", 0, 1, 2)], dwell=2, wanted=[(1, 0)])
    lines = told(capture, drive(a=run(0, 9, 6), b={0: 1, 2: 7}, c={0: 1.5, 4: 0.5}))
    assert [x for x in lines if "collected" in x] == ["6 collected 6"]


def test_a_stale_signal_is_in_no_cell():
    """Rule 46: `b` holds for 5 s after its only sample, so 5 s are reached and 5.5 s are not."""
    lines = told(collect(1, 1, IN, axes=[axis("b", 0, 5)], dwell=5, wanted=[(0,)]), drive(a=run(0, 9, 6), b={0: 1}))
    assert [x for x in lines if "collected" in x] == ["5 collected 5"]
    lines = told(collect(1, 1, IN, axes=[axis("b", 0, 5)], dwell=5.5, wanted=[(0,)]), drive(a=run(0, 9, 6), b={0: 1}))
    assert not any("collected" in x for x in lines)


def test_a_saturated_or_unreadable_signal_is_in_no_cell():
    """Rule 46: 10 is the end of `b`'s encoding, a sample that is no number has no place."""
    capture = collect(1, 1, IN, axes=[axis("b", 0, 20)], dwell=4, wanted=[(0,)])
    for bad in (10, float("nan")):
        lines = told(capture, drive(a=run(0, 9, 6), b={0: 1, 2: bad, 4: 1}), facts={"b": Facts(0, 20, ceiling=10)})
        assert [x for x in lines if "collected" in x] == ["6 collected 6"]


def test_visits_outside_pieces_do_not_count():
    """Rule 46: the first second is a piece too short to count; its cell must be visited again."""
    capture = collect(1, 2, IN, axes=[axis("b", 0, 5, 10)], dwell=1, wanted=[(0,), (1,)])
    lines = told(capture, drive(a=row(6, 6, 9, 6, 6, 6, 6, 6, 6), b={0: 1, 3: 7, 6: 1}))
    assert [x for x in lines if "collected" in x] == ["7 collected 4"]


def test_a_visit_is_cut_where_the_window_ends():
    """Rules 19 and 46: `a` vouches up to 2 s, so of the visit until 3 s only 2 s are in the window."""
    capture = collect(1, 1, IN, axes=[axis("b", 0, 5)], dwell=3, wanted=[(0,)])
    lines = told(capture, drive(a={0: 6, 1: 6, 2: 6, 3: 9, 4: 6, 5: 6, 6: 6}, b={0: 1, 2.5: 1, 5.5: 7}))
    assert [x for x in lines if "collected" in x] == ["5 collected 3"]


def test_an_eight_hour_piece_keeps_few_visits(monkeypatch):
    """Visits that are sure to stay in the window are summed up: memory stays bounded, the verdict is the same."""
    monkeypatch.setattr(machine, "BACKLOG", 8)
    plan = JudgePlan((collect(1e6, 1, IN, axes=[axis("b", 0, 5, 10)], dwell=1e6, wanted=[(0,)]),))
    judge = Judge(plan)
    for i in range(2000):
        judge.feed(us(i / 10), {"a": 6.0, "b": 1.0 if i % 2 else 7.0})
    pieces = judge.machines[0].pieces
    assert pieces is not None
    assert pieces.backlog <= 9
    assert judge.view().captures[0].dwell_us == (us(99.9), us(100.0))


def test_the_backlog_changes_no_event(monkeypatch):
    """Summed up early or kept one by one: the same events."""
    samples = drive(a=row(*[6] * 9, 9, *[6] * 9), b=row(*[1, 7] * 10))
    capture = collect(12, 2, IN, axes=[axis("b", 0, 5, 10)], dwell=5, wanted=[(0,), (1,)])
    expected = events_of(capture, samples)
    monkeypatch.setattr(machine, "BACKLOG", 0)
    assert events_of(capture, samples) == expected
    assert any(isinstance(e, Collected) for e in expected)


# ---- what people see, and what cannot be


def test_the_view_says_how_much_is_collected():
    """Sum, cells, share and what is left: of the piece until it counts, then of everything."""
    plan = JudgePlan((collect(10, 2, IN, axes=[axis("b", 0, 5, 10)], dwell=4, wanted=[(0,), (1,)]),))
    judge = Judge(plan)
    views = []
    for i in range(13):
        judge.feed(us(i), {"a": 6.0, "b": 1.0 if i < 3 else 7.0})
        view = judge.view().captures[0]
        views.append((view.secured_count, view.collected_us, view.dwell_us, round(view.progress, 3), view.left))
    assert views[1] == (0, 0, (0, 0), 0.0, us(1))
    assert views[2] == (0, us(2), (us(2), 0), 0.2, us(8))
    assert views[5] == (0, us(5), (us(3), us(2)), 0.5, us(5))
    assert views[12] == (0, us(12), (us(3), us(9)), 0.875, us(1))
    judge.feed(us(13), {"a": 6.0, "b": 1.0})
    judge.feed(us(14), {"a": 6.0, "b": 1.0})
    view = judge.view().captures[0]
    assert (view.secured_count, view.progress, view.left) == (1, 1.0, 0.0)


def test_a_capture_that_collects_nothing_says_so():
    """No sum where a single hold is asked for."""
    view = Judge(JudgePlan((hold(3, IN),))).view().captures[0]
    assert (view.collected_us, view.dwell_us) == (None, ())


@pytest.mark.parametrize("more", [{"times": 2, "hold_us": 5}, {"sweep": Sweep("n", 1, 2, 0)}])
def test_only_a_hold_that_is_asked_for_once_collects(more):
    """Repeats of a sum, or pieces of a sweep, have no meaning."""
    with pytest.raises(ValueError, match="collects pieces of a hold, once"):
        Capture("x", collect=Collect(9), **more)


def test_cells_are_counted_row_by_row():
    """The second axis runs fastest."""
    spec = Collect(9, (Axis("a", (0, 1, 2)), Axis("b", (0, 1, 2, 3))), 1, ((1, 2), (0, 1)))
    assert Pieces(spec, ()).wanted == [5, 1]
    assert len(Pieces(spec, ()).dwell_us) == 6
