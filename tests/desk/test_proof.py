"""A recipe proved on an earlier drive."""

from __future__ import annotations

from coach.catalogue import default_catalogue
from coach.desk.proof import proof_json, proof_text
from coach.shown import IMPERIAL
from tests.review.driving import drive, recipe

CATALOGUE = default_catalogue()
SHORT = drive(range(80), speed=lambda t: 80.0 if t < 50 else 95.0)


def test_what_is_not_met_is_offered_less():
    """Held for 49 of 60 s: a shorter hold or a wider band; the pull never happened, and nothing helps."""
    made = proof_json(recipe(), SHORT, CATALOGUE)
    assert [c["qualified"] for c in made["verdict"]["captures"]] == [0, 0]
    assert {r["key"] for r in made["less"]["part-load"]} >= {"hold", "keep.road_speed.max"}
    shares = [r["share"] for r in made["less"]["part-load"]]
    assert shares == sorted(shares)
    assert made["less"]["pull"] == []


def test_what_is_met_is_not_in_the_list():
    """Nothing to ask less of."""
    made = proof_json(recipe(), drive(), CATALOGUE)
    assert "part-load" not in made["less"]


def test_it_reads_as_sentences():
    """In the reader's units."""
    text = proof_text(proof_json(recipe(), SHORT, CATALOGUE, units=IMPERIAL), CATALOGUE, units=IMPERIAL)
    assert "Met with road speed up to 59 mph; 54 mph are asked for." in text
    assert "A pull: no single change would have done." in text
