"""Judging a recording, with notes on what it can never show."""

from __future__ import annotations

from coach.catalogue import default_catalogue
from coach.recording import Mark, from_pairs
from coach.review.judging import judge_against, unrecorded
from tests.review.driving import TEXT, S, drive, judged, recipe


def test_signal_that_the_table_does_not_carry_is_noted():
    """So that nobody wonders why nothing began."""
    bare = from_pairs([(t * S, "road_speed", 80.0) for t in range(100)])
    _, verdict = judged(bare)
    codes = {n.code for n in verdict.notes}
    assert "not_offered" in codes
    assert all(n.text for n in verdict.notes)


def test_table_without_people_counts_as_armed_with_a_note():
    _, verdict = judged(drive())
    assert [n.code for n in verdict.notes] == ["counts_as_armed"]


def test_recorded_people_are_listened_to():
    """With a record of what people said, nothing is armed that nobody armed."""
    plan, verdict = judged(drive(rpm=lambda t: 2000.0 + 300.0 * (t % 20), marks=()))
    assert plan.captures[1].arming
    assert verdict.attempts["pull"] == ()
    assert [n.code for n in verdict.notes] == []
    armed = drive(rpm=lambda t: 2000.0 + 300.0 * (t % 20), marks=(Mark(1, "arm", "pull"),))
    assert judged(armed)[1].attempts["pull"]


def test_confirmations_count_as_given_with_a_note():
    asked = recipe(TEXT.replace("times = 2", 'times = 2\nconfirm = ["Air conditioning off"]'))
    notes = unrecorded(asked)
    assert [n.code for n in notes] == ["counts_as_armed", "counts_as_confirmed"]
    assert "A pull" in notes[1].text


def test_vehicle_hands_over_the_gear():
    from coach.vehicle import parse_vehicle

    vehicle = parse_vehicle('label = "x"\n[rpm_per_kmh]\n1 = 118\n2 = 62\n3 = 41.5\n4 = 31\n5 = 25\n')
    asked = recipe(TEXT.replace('coolant_temp = { min = "80 degC" }', "gear = 5", 1))
    driven = drive(rpm=lambda t: 2000.0)
    plan, verdict = judge_against(asked, driven, default_catalogue(), vehicle)
    assert [d.name for d in plan.derivations] == ["gear"]
    assert [a.outcome.value for a in verdict.attempts["part-load"]] == ["secured"]
    _, without = judge_against(asked, driven, default_catalogue())
    assert "not_derived" in {n.code for n in without.notes}


def test_converter_slip_is_marked():
    """In an automatic, what counts as in gear in spite of slip is said, with how far; in a manual nothing is."""
    from coach.vehicle import parse_vehicle

    ratios = "[rpm_per_kmh]\n4 = 31\n5 = 23\n"
    asked = recipe(TEXT.replace('coolant_temp = { min = "80 degC" }', "gear = 5", 1))
    driven = drive(rpm=lambda t: 2000.0)
    automatic = parse_vehicle(f'transmission = "automatic"\n{ratios}')
    _, verdict = judge_against(asked, driven, default_catalogue(), automatic)
    (note,) = [n for n in verdict.notes if n.code == "converter_slip"]
    assert "up to 9 %" in note.text
    assert [a.outcome.value for a in verdict.attempts["part-load"]] == ["secured"]
    _, manual = judge_against(asked, driven, default_catalogue(), parse_vehicle(ratios))
    assert "converter_slip" not in {n.code for n in manual.notes}
    assert [a.outcome.value for a in manual.attempts["part-load"]] != ["secured"]
