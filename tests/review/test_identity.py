"""What is in the car: stored facts read again, compared between drives, and the sentences about it."""

from __future__ import annotations

from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from coach.catalogue import default_catalogue
from coach.recipe import Recipe, parse_recipe
from coach.review.identity import Before, Identity, Unit, identity_of, identity_warnings, same_calibration
from coach.shown import IMPERIAL

ENGINE = Unit("00", ("COACH-ENGINE-01",), ("1791BC82",))
GEARBOX = Unit("01", ("COACH-GEARBOX-1",), ("2A04D0F6",))
CAR = Identity("XXXC0ACH0P0000042", (ENGINE, GEARBOX), since_clear_km=400.0, revision=2, flashed="2026-05-04")
NEW = replace(CAR, ecus=(replace(ENGINE, verifications=("00000001",)), GEARBOX))
META = {
    "url": "socket://127.0.0.1:35000", "vin": CAR.vin, "since_clear_km": 400.0,
    "codes": {"stored": ["P0171"], "pending": []},
    "ecus": [
        {"address": "01", "calibrations": ["COACH-GEARBOX-1"], "verifications": ["2A04D0F6"]},
        {"address": "00", "calibrations": ["COACH-ENGINE-01"], "verifications": ["1791BC82"]},
    ],
}  # fmt: skip


def recipe(more: str = "", revision: int = 2, place: str = "road") -> Recipe:
    text = f"""
format = 1
title = "Steady"
revision = {revision}
{more}
[record]
road_speed = "4 Hz"
[[capture]]
id = "a"
title = "Steady"
place = "{place}"
hold = "5 s"
[capture.keep]
road_speed = {{ {'min = "72 km/h"' if place == "road" else 'max = "0 km/h"'} }}
"""
    return parse_recipe(text, name="r.toml", catalogue=default_catalogue())


def codes(asked: Recipe, now: Identity, *before: Before) -> list[str]:
    return [w.code for w in identity_warnings(asked, now, before)]


def drive(revision: int, identity: Identity, day: str = "2026-05-01T10:00:00Z") -> Before:
    return Before(revision, "Steady", day, identity)


def test_what_is_stored_with_a_drive_is_read_again() -> None:
    stored = {"kind": "link", "id": "link:0", "meta": META, "flashed": {"revision": 2, "date": "2026-05-04"}}
    assert identity_of(stored) == replace(CAR, stored=("P0171",))
    assert identity_of({"kind": "replay", "meta": META}) is None
    # Drives from before anything was asked.
    assert identity_of({"kind": "link"}) == Identity()
    assert identity_of({"kind": "link", "meta": META, "flashed": None}) == replace(
        CAR, stored=("P0171",), revision=None, flashed=None
    )


def test_a_new_revision_with_the_old_numbers_is_a_warning() -> None:
    """Not the other way round: a changed number shows a new calibration; an unchanged one proves nothing."""
    asked = recipe(revision=3)
    said = replace(CAR, revision=3)
    assert codes(asked, said, drive(2, CAR)) == ["same_calibration"]
    assert codes(asked, replace(NEW, revision=3), drive(2, CAR)) == []
    warned = identity_warnings(asked, said, [drive(2, CAR)])[0]
    assert "revision 2 on 2026-05-01" in warned.text
    assert warned.json() == {"code": "same_calibration", "text": warned.text}
    # The newest earlier revision counts, not the one before it; another car, or one that tells nothing, does not.
    assert codes(asked, said, drive(2, NEW), drive(1, CAR)) == []
    assert codes(asked, said, drive(2, replace(CAR, vin="XXXC0ACH0P0000043"))) == []
    assert codes(asked, said, drive(2, replace(CAR, ecus=(Unit("00"), Unit("01"))))) == []
    assert codes(asked, said, drive(4, CAR)) == []


def test_the_same_revision_with_other_numbers_is_a_warning() -> None:
    assert codes(recipe(), CAR, drive(2, NEW)) == ["changed_calibration"]
    assert codes(recipe(), CAR, drive(2, CAR)) == []


def test_the_recipe_may_name_what_should_be_in_the_car() -> None:
    """By the name of a calibration, or by its number, of any control unit."""
    assert codes(recipe('calibration = ["COACH-ENGINE-01", "2A04D0F6"]'), CAR) == []
    assert codes(recipe('calibration = ["COACH-ENGINE-02"]'), CAR) == ["other_calibration"]
    assert codes(recipe('calibration = ["COACH-ENGINE-01"]'), replace(CAR, ecus=(Unit("00"),))) == [
        "calibration_unknown"
    ]
    text = identity_warnings(recipe('calibration = ["COACH-ENGINE-02"]'), CAR, [])[0].text
    assert text == "The recipe is for COACH-ENGINE-02; the car reports COACH-ENGINE-01, COACH-GEARBOX-1."


def test_steady_captures_want_some_distance_since_trims_were_cleared() -> None:
    """Default 50 km (common practice, no source); a recipe may say another; sweeps and parked captures do not care."""
    assert codes(recipe(), replace(CAR, since_clear_km=49.0)) == ["not_settled"]
    assert codes(recipe(), replace(CAR, since_clear_km=50.0)) == []
    assert codes(recipe('settle = "500 km"'), CAR) == ["not_settled"]
    assert codes(recipe('settle = "500 km"'), replace(CAR, since_clear_km=None)) == ["settle_unknown"]
    assert codes(recipe(), replace(CAR, since_clear_km=None)) == []
    assert codes(recipe(place="parked"), replace(CAR, since_clear_km=3.0)) == []
    assert codes(recipe('settle = "50 km"', place="parked"), replace(CAR, since_clear_km=3.0)) == ["not_settled"]
    text = identity_warnings(recipe(), replace(CAR, since_clear_km=16.0), [], units=IMPERIAL)[0].text
    assert "10 mi ago" in text
    assert "31 mi on" in text


def test_what_a_person_says_is_held_against_the_recipe() -> None:
    assert codes(recipe(revision=3), replace(CAR, revision=2)) == ["other_revision"]
    assert codes(recipe(revision=3), replace(CAR, revision=None)) == []


UNITS = st.builds(
    Unit, st.sampled_from(["00", "01", "10"]), st.sampled_from([(), ("A",), ("A", "B")]), st.sampled_from([(), ("1",)])
)
CARS = st.builds(lambda some: Identity(ecus=tuple({u.address: u for u in some}.values())), st.lists(UNITS, max_size=3))


@given(CARS, CARS)
def test_comparing_is_the_same_both_ways_and_a_car_is_like_itself(a: Identity, b: Identity) -> None:
    assert same_calibration(a, b) == same_calibration(b, a)
    assert same_calibration(a, a) in {True, None}
