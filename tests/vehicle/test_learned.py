"""What drives teach about a car: numbers only where somebody vouches for them, and conflicts by name."""

from __future__ import annotations

import csv
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from coach.errors import BadInput, VehicleError
from coach.recording import Recording, Series
from coach.vehicle import Vehicle, parse_vehicle
from coach.vehicle.known import known_of, missing_of
from coach.vehicle.learned import learn_car
from coach.vehicle.merged import merged
from tests.vehicle.test_learn import PUBLISHED, open_drive

DATA = Path(__file__).parents[1] / "data"
RATIOS = {1: 110.0, 2: 60.0, 3: 40.0, 4: 30.0, 5: 24.0}
# Median rpm per km/h by labelled gear: demo sheet of package co2mpas 4.3.7 (computed by a model, not measured).
LABELLED = {1: 119.1031, 2: 61.6118, 3: 38.5564, 4: 28.4186, 5: 23.0554, 6: 19.3600}


def driven(
    ratios=RATIOS, *, seed=1, noise=0.002, delay_us=0, step_s=0.1, road_step_s=0.1, minutes=8, reported=None
):  # fmt: skip
    """A drive through all gears with stops, shifts, whole km/h and noise."""
    rng = np.random.Generator(np.random.PCG64(seed))
    t = np.arange(0, minutes * 60, 0.05)
    kmh, gear, v = np.zeros(len(t)), np.zeros(len(t), dtype=int), 0.0
    top = len(ratios)
    for i, second in enumerate(t.tolist()):
        phase = second % (20.0 * top + 8)
        step = min(top, 1 + int(max(0.0, phase - 8) // 20))
        target = 0.0 if phase < 6 else 18.0 * step + 3.0 * np.sin(second)
        v += max(-0.4, min(0.18, target - v))
        kmh[i], gear[i] = max(v, 0.0), min(top - 1, max(0, int(v // 19)))
    values = np.array(list(ratios.values()))
    rpm = np.maximum(kmh * values[gear] * (1 + rng.normal(0, noise, len(t))), 800)
    for i in np.flatnonzero(np.diff(gear) != 0).tolist():
        rpm[i - 4 : i + 12] = rng.uniform(900, 4000, len(rpm[i - 4 : i + 12]))
    every, road_every = round(step_s / 0.05), round(road_step_s / 0.05)
    t_us = np.round(t * 1e6).astype(np.int64)
    series = {
        "engine_speed": Series(t_us[::every], np.round(rpm[::every] * 4) / 4),
        "road_speed": Series(t_us[::road_every] + delay_us, np.round(kmh[::road_every])),
    }
    if reported is not None:
        said = np.where(kmh > 5, np.array([reported[g] for g in range(1, top + 1)])[gear], 0)
        series["gear_reported"] = Series(t_us[::every], said[::every].astype(float))
    return Recording(series)


def pulled(slip, *, falling=False, times=5):
    """Roll-ons in third between holds at 45 and 75 km/h; in the middle of each the engine runs ahead by `slip`."""
    t = np.arange(0, times * 30, 0.1)
    phase = t % 30
    kmh = np.interp(phase, [0, 8, 18, 26, 30], [45, 45, 75, 75, 45])
    start, end = (26.2, 29.8) if falling else (10.0, 14.0)
    inside = (phase > start) & (phase < end)
    rpm = kmh * 40.0 * (1 + slip * np.where(inside, np.sin(np.pi * (phase - start) / (end - start)), 0.0))
    t_us = np.round(t * 1e6).astype(np.int64)
    return Recording({"engine_speed": Series(t_us, np.round(rpm)), "road_speed": Series(t_us, np.round(kmh))})


def labelled():
    """The labelled schedule as a drive: 1 Hz, speed, engine speed and gear."""
    with (DATA / "labelled_gears_nedc.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    t = np.array([round(float(r["t_s"]) * 1e6) for r in rows], dtype=np.int64)
    columns = {"road_speed": "road_speed_kmh", "engine_speed": "engine_speed_rpm", "gear_reported": "gear"}
    return Recording({name: Series(t, np.array([float(r[c]) for r in rows])) for name, c in columns.items()})


def codes(learned):
    """The codes of the conflicts."""
    return [c.code for c in learned.conflicts]


def test_labelled_schedule_numbers_itself():
    """The labels, taken as a reported gear, agree with the clusters, and each ratio is the published median to 1 %.

    Source: labelled_gears_nedc.csv, demo sheet of package co2mpas 4.3.7.
    """
    learned = learn_car([labelled()])
    assert {g.by for g in learned.gears} <= {"reported"}
    found = learned.ratios()
    assert len(found) >= 4
    for gear, ratio in found.items():
        assert ratio == pytest.approx(LABELLED[gear], rel=0.01)


@pytest.mark.parametrize("number", [1, 2, 3, 4])
def test_open_drives_against_their_published_clusters(number):
    """With the published ratios as the car's file every cluster gets its number, and nothing is in conflict.

    Source: Automotive OBD-II Dataset, doi 10.35097/1130.
    """
    car = Vehicle(ratios=dict(enumerate(PUBLISHED, 1)))
    learned = learn_car([open_drive(number)], car)
    assert [g.number for g in learned.gears] == ([2, 3, 4, 5, 6] if number == 2 else [1, 2, 3, 4, 5, 6])
    assert all(abs(g.off) < 0.02 and g.by == "file" for g in learned.gears)
    assert codes(learned) == []


def test_a_cluster_has_no_number_of_its_own():
    """Without a file, a reported gear or a word of the operator no gear is named; the word must fit the clusters."""
    drive = driven()
    alone = learn_car([drive])
    assert [g.number for g in alone.gears] == [None] * 5
    assert alone.ratios() == {}
    given = learn_car([drive], numbers=[1, 2, 3, 4, 5])
    assert given.ratios() == pytest.approx(RATIOS, rel=0.01)
    assert {g.by for g in given.gears} == {"operator"}
    with pytest.raises(BadInput, match="5 clusters were found, and the gears of 2 were given"):
        learn_car([drive], numbers=[1, 2])
    with pytest.raises(BadInput, match="rise"):
        learn_car([drive], numbers=[1, 2, 3, 5, 4])


def test_count_spread_and_confidence():
    """A gear seen for long, often and sharply is good; the same drive twice counts twice."""
    one, two = learn_car([driven()]), learn_car([driven(), driven(seed=2)])
    assert all(g.confidence == "good" and g.cluster.spread < 0.02 for g in two.gears[1:])
    for a, b in zip(one.gears, two.gears, strict=True):
        assert b.cluster.count > 1.6 * a.cluster.count
        assert b.cluster.stretches > a.cluster.stretches
    short = learn_car([driven(minutes=1.2)])
    assert short.gears
    assert all(g.confidence != "good" for g in short.gears if g.cluster.seconds < 20)
    assert {g.confidence for g in learn_car([driven(minutes=0.8)]).gears} <= {"fair", "weak"}


def test_a_reported_gear_must_prove_itself():
    """One that agrees numbers the clusters; one that is mixed up, or falls while gears rise, numbers nothing."""
    good = learn_car([driven(reported={1: 1, 2: 2, 3: 3, 4: 4, 5: 5})])
    assert sorted(good.ratios()) == [1, 2, 3, 4, 5]
    assert {g.by for g in good.gears} == {"reported"}
    for bad in ({1: 5, 2: 4, 3: 3, 4: 2, 5: 1}, {1: 0, 2: 0, 3: 0, 4: 0, 5: 0}):
        assert learn_car([driven(reported=bad)]).ratios() == {}
    shifted = learn_car([driven(reported={1: 2, 2: 3, 3: 4, 4: 5, 5: 6})], Vehicle(ratios=RATIOS))
    assert sorted(shifted.ratios()) == [1, 2, 3, 4, 5]
    assert codes(shifted) == ["reported_disagrees"] * 5


def test_wrong_tyre():
    """All gears off by one factor is a tyre or a final drive, not five new gears; numbers stay those of the file."""
    car = Vehicle(ratios={g: r / 1.06 for g, r in RATIOS.items()})
    learned = learn_car([driven()], car)
    assert [g.number for g in learned.gears] == [1, 2, 3, 4, 5]
    (conflict,) = learned.conflicts
    assert (conflict.code, conflict.gears) == ("wrong_tyre", (1, 2, 3, 4, 5))
    assert conflict.value == pytest.approx(0.06, abs=0.008)


def test_other_conflicts_with_the_file():
    """One gear off, a cluster that the file has no gear for, and a delay that is another one."""
    off = learn_car([driven()], Vehicle(ratios={**RATIOS, 3: 41.5}))
    assert [(c.code, c.gears) for c in off.conflicts] == [("other_ratio", (3,))]
    fewer = learn_car([driven()], Vehicle(ratios={g: r for g, r in RATIOS.items() if g < 5}))
    assert codes(fewer) == ["not_in_file", "more_than_file"]
    late = learn_car([driven(delay_us=600_000)], Vehicle(ratios=RATIOS, delay_us=100_000))
    assert codes(late) == ["delay_differs"]
    assert late.delay_us == pytest.approx(600_000, abs=100_000)
    cvt = learn_car([driven()], Vehicle(ratios=RATIOS, transmission="CVT"))
    assert codes(cvt) == ["cvt_steady"]
    assert cvt.ratios() == {}


def test_slipping_clutch():
    """An engine that runs up to 12 % ahead under power and returns is named with its gear; a converter too."""
    car = Vehicle(ratios={2: 60.0, 3: 40.0, 4: 30.0})
    slipping = learn_car([pulled(0.12)], car)
    assert [(c.code, c.gears) for c in slipping.conflicts] == [("slipping", (3,))]
    assert 5 * 2.0 < slipping.conflicts[0].value < 5 * 4.0
    assert slipping.ratios() == pytest.approx({3: 40.0}, rel=0.01)
    automatic = learn_car([pulled(0.12)], replace(car, transmission="automatic"))
    assert codes(automatic) == ["converter_slip"]


def test_what_is_no_slip():
    """Nothing, a trace of it, an engine revved while slowing down, and two slips alone are no slipping clutch."""
    car = Vehicle(ratios={2: 60.0, 3: 40.0, 4: 30.0})
    for drive in (pulled(0.0), pulled(0.02), pulled(0.12, falling=True), pulled(0.12, times=2)):
        assert codes(learn_car([drive], car)) == []


@settings(max_examples=8, phases=[Phase.generate])
@given(
    st.integers(0, 10_000), st.sampled_from([0, 150_000, 500_000]), st.floats(0, 0.006),
    st.sampled_from([(0.1, 0.1), (0.1, 0.25), (0.25, 0.5)]),
    st.sampled_from([RATIOS, {1: 118.0, 2: 62.0, 3: 41.5, 4: 31.0, 5: 24.9}, {1: 125.0, 2: 75.0, 3: 50.0, 4: 38.0}]),
)  # fmt: skip
def test_simulated_drives_with_noise(seed, delay_us, noise, steps, ratios):
    """Whatever the noise, the delay and the rates: every gear comes out within 1 %, first gear within 2.5 %."""
    drive = driven(ratios, seed=seed, delay_us=delay_us, noise=noise, step_s=steps[0], road_step_s=steps[1])
    learned = learn_car([drive], Vehicle(ratios=ratios))
    assert [g.number for g in learned.gears] == list(ratios)
    found = learned.ratios()
    assert found.pop(1) == pytest.approx(ratios[1], rel=0.025)  # half a km/h is 3 % at 17 km/h
    assert found == pytest.approx({g: r for g, r in ratios.items() if g > 1}, rel=0.01)
    assert not {"slipping", "wrong_tyre", "other_ratio"} & set(codes(learned))


def test_nothing_to_learn():
    """A drive without the two signals, or none at all, teaches nothing and does not fail."""
    empty = Recording({"pedal": Series(np.array([0, 1], dtype=np.int64), np.array([14.9, 85.1]))})
    learned = learn_car([empty], Vehicle(ratios=RATIOS))
    assert (learned.gears, learned.idle_rpm, learned.conflicts) == ((), None, ())
    assert (learned.lowest_pedal, learned.highest_pedal) == (14.9, 85.1)
    assert learn_car([]).gears == ()


FILE = """# My car.
label = "The blue one" # as it is

[rpm_per_kmh]
1 = 110.0
2 = 60.0
"""


def test_merged_with_the_file():
    """What the file leaves open is added, what it says stays, comments too; twice is once."""
    drive = driven(delay_us=300_000)
    numbered = learn_car([drive], numbers=[1, 2, 3, 4, 5])
    text, added = merged(FILE, numbered)
    assert added == ["idle_speed", "speed_delay", "rpm_per_kmh.3", "rpm_per_kmh.4", "rpm_per_kmh.5"]
    car = parse_vehicle(text)
    assert "# as it is" in text
    assert (car.ratios[1], car.ratios[2]) == (110.0, 60.0)
    assert car.ratios[4] == pytest.approx(30, rel=0.01)
    assert (car.idle_rpm, car.delay_us) == (800, numbered.delay_us)
    assert merged(text, numbered) == (text, [])


def test_merged_leaves_a_gearbox_alone():
    """A file that computes its ratios gets no others; one that would come out upside down is refused."""
    box = (
        'tyre = { circumference = "2 m" }\ngearbox = { ratios = { 1 = 3 }, final_drive = 4 }\nidle_speed = "800 rpm"\n'
    )
    numbered = learn_car([driven()], numbers=[1, 2, 3, 4, 5])
    assert merged(box, replace(numbered, delay_us=0)) == (box, [])
    assert parse_vehicle(merged("", numbered)[0]).ratios.keys() == set(RATIOS)
    with pytest.raises(VehicleError, match="each gear's ratio must be smaller"):
        merged("rpm_per_kmh = { 6 = 200.0 }", numbered)


def test_what_is_known_and_what_is_missing():
    """Every missing value that matters is named; what is there is said in short."""
    assert missing_of(Vehicle()) == [
        "label", "transmission", "fuel", "induction", "start_stop", "idle_rpm", "rev_limit_rpm", "ratios", "mass_kg",
        "road_load", "full_load_kw", "range_km", "released_pct", "dial", "offers",
    ]  # fmt: skip
    assert known_of(Vehicle()) == {}
    car = Vehicle(label="x", hybrid=True, transmission="CVT", mass_kg=1400)
    assert not {"start_stop", "ratios", "mass_kg"} & set(missing_of(car))
    assert known_of(car) == {"label": "x", "transmission": "CVT", "hybrid": "yes", "mass": "1400 kg"}


def test_whole_kmh_at_a_crawl_is_no_slip():
    """At 10 to 16 km/h half a km/h is up to 5 % of the ratio: what the reading hides is no slipping clutch."""
    t = np.arange(0, 400, 0.2)
    kmh = 13 + 3 * np.sin(t * 0.25)
    t_us = np.round(t * 1e6).astype(np.int64)
    crawl = Recording({
        "engine_speed": Series(t_us, np.round(kmh * 110)),
        "road_speed": Series(t_us[::5], np.floor(kmh[::5])),
    })  # fmt: skip
    learned = learn_car([crawl], Vehicle(ratios={1: 114.0, 2: 60.0}))
    assert [g.number for g in learned.gears] == [1]
    assert "slipping" not in codes(learned)
