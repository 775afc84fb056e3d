"""The gear as it is told from engine speed over road speed."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from coach.core.derive import AT_CEILING, OK, OUT_OF_RANGE, UNREADABLE, Cut, Derived, Feed, Held
from coach.recording import Recording, Series
from coach.vehicle import GearDerivation, learn_ratios, number_from
from coach.vehicle.ratios import Gears

DATA = Path(__file__).parents[1] / "data"
RATIOS = {1: 118.0, 2: 62.0, 3: 41.5, 4: 31.0, 5: 24.9, 6: 20.5}

# Package co2mpas 4.3.7, demo sheet (EUPL 1.1+): 1 Hz, the gear labelled by a model, not measured.
# Median rpm per km/h of gears 1 to 6 of the same table.
NEDC_RATIOS = {1: 119.1031, 2: 61.6118, 3: 38.5564, 4: 28.4186, 5: 23.0554, 6: 19.3600}


def nedc():
    """Recording and labels of the labelled drive."""
    rows = np.genfromtxt(DATA / "labelled_gears_nedc.csv", delimiter=",", skip_header=1)
    t_us = np.round(rows[:, 0] * 1e6).astype(np.int64)
    return Recording({"road_speed": Series(t_us, rows[:, 1]), "engine_speed": Series(t_us, rows[:, 3])}), rows[:, 2]


def gears_of(recording, ratios, delay_us=0):
    """The estimated gear at each stamp, 0 where there is none."""
    feeds = [
        Feed(s.t_us, s.value, np.zeros(len(s), dtype=np.uint8), (name,), (s.t_us,))
        for name, s in ((n, recording.series[n]) for n in ("engine_speed", "road_speed"))
    ]
    result = GearDerivation(ratios, delay_us).array(feeds, (2_000_000, 2_000_000))
    gear = np.zeros(len(recording.series["road_speed"]))
    gear[np.searchsorted(recording.series["road_speed"].t_us, result.t_us)] = result.value
    return gear


@pytest.mark.parametrize("whole_kmh", [False, True])
@pytest.mark.parametrize("learned", [False, True])
def test_labelled_gears(learned, whole_kmh):
    """At least 99 % of the moving, clutched samples get the labelled gear, with given and with learned ratios."""
    recording, label = nedc()
    if whole_kmh:
        road = recording.series["road_speed"]
        recording = Recording({**recording.series, "road_speed": Series(road.t_us, np.round(road.value))})
    ratios = number_from(learn_ratios(recording)) if learned else NEDC_RATIOS
    gear = gears_of(recording, ratios)
    speed = recording.series["road_speed"].value
    rpm = recording.series["engine_speed"].value
    # Clutched: a gear is labelled and the engine turns with the wheels, not at idle with the clutch slipping.
    clutched = (label > 0) & (speed > 0) & (rpm > 805)
    assert clutched.sum() > 800
    assert (gear[clutched] == label[clutched]).mean() >= 0.99
    assert not gear[speed == 0].any()


def stepping(samples, derivation):
    """What the step form says to `(t_us, rpm, kmh)`, both samples of one instant."""
    stepper = derivation.stepper()
    return [stepper.step(t, (Held(t, rpm, OK), Held(t, kmh, OK)), (True, True)) for t, rpm, kmh in samples]


def test_one_cut_for_a_row_of_misfits():
    """The first sample that fits no gear sets the end of what was said last; the others say nothing."""
    said = stepping(
        [(0, 62.0 * 50, 50), (100_000, 900, 50), (200_000, 900, 49), (300_000, 41.5 * 48, 48)], GearDerivation(RATIOS)
    )
    assert said == [Derived(2.0, OK), Cut(until_us=500_000, since_us=100_000), None, Derived(3.0, OK)]


@pytest.mark.parametrize(
    ("rpm", "kmh"),
    [(850, 0), (850, 2), (300, 10), (4500, 30), (1700, 31), (6500, 140 * 2)],
    ids=["standing", "creeping", "stalling", "clutch slipping up", "between gears", "saturated"],
)
def test_no_gear(rpm, kmh):
    """Standing, creeping, stalling or slipping, there is no gear."""
    held = (Held(0, rpm, OK), Held(0, kmh, AT_CEILING if kmh > 255 else OK))
    assert GearDerivation(RATIOS).stepper().step(0, held, (True, True)) == Cut(400_000, 0)


@pytest.mark.parametrize("flag", [UNREADABLE, OUT_OF_RANGE])
def test_lost_input(flag):
    """An input without a value makes the gear unreadable, not unknown."""
    held = (Held(0, 2000.0, flag), Held(0, 50.0, OK))
    said = GearDerivation(RATIOS).stepper().step(0, held, (True, True))
    assert isinstance(said, Derived)
    assert said.flag == UNREADABLE
    assert said.value != said.value


def test_hysteresis_at_a_boundary():
    """On the boundary between two close gears the gear stays what it was; well past it, it changes."""
    ratios = {5: 24.0, 6: 22.0}
    middle = Gears.of(ratios).middle[0]
    for start, other in ((24.0, 22.0), (22.0, 24.0)):
        told = {24.0: 5.0, 22.0: 6.0}
        away = (other / start) ** 0.1  # a little past the middle, seen from the start
        said = stepping(
            [(0, start * 100, 100), (1, middle * 100, 100), (2, middle * away * 100, 100), (3, other * 100, 100)],
            GearDerivation(ratios),
        )
        assert [s.value for s in said] == [told[start]] * 3 + [told[other]]


def test_engine_speed_is_taken_at_the_time_of_the_road_speed():
    """In a fast pull with a late, slow road speed the gear stays right, where the samples of now would say another."""
    t_us = np.arange(0, 6_000_000, 50_000)
    delay_us = 400_000
    rpm = 2000 + 700 * t_us / 1e6
    late = np.maximum(2000 + 700 * (t_us - delay_us) / 1e6, 2000) / RATIOS[2]
    recording = Recording({"engine_speed": Series(t_us, rpm), "road_speed": Series(t_us, np.round(late))})
    assert set(gears_of(recording, RATIOS, delay_us)[8:].tolist()) == {2.0}
    assert (gears_of(recording, RATIOS, 0) != 2.0).any()


def test_clutch_is_noticed_between_road_samples():
    """With road speed once a second, an engine that falls to idle in between ends the gear before the next one."""
    stepper = GearDerivation(RATIOS).stepper()
    road = Held(0, 80.0, OK)
    assert stepper.step(0, (Held(0, 80 * 24.9, OK), road), (True, True)) == Derived(5.0, OK)
    assert stepper.step(200_000, (Held(200_000, 850.0, OK), road), (True, False)) == Cut(600_000, 200_000)


def test_no_gear_is_entered_on_an_engine_sample_of_another_moment():
    """A new gear waits for the engine sample that encloses the road sample's own moment."""
    stepper = GearDerivation(RATIOS).stepper()
    engine = Held(0, 2000.0, OK)
    assert stepper.step(100_000, (engine, Held(100_000, 80.0, OK)), (False, True)) == Cut(500_000, 100_000)
    said = stepper.step(200_000, (Held(200_000, 1990.0, OK), Held(100_000, 80.0, OK)), (True, False))
    assert said == Derived(5.0, OK)


@pytest.mark.parametrize("ratios", [{}, {1: 0.0}, {1: -3.0}, {1: float("nan")}, {1: 50.0, 2: 50.0}])
def test_ratios_that_cannot_be(ratios):
    """Ratios that tell no gear are refused."""
    with pytest.raises(ValueError, match=r"gear|ratio"):
        GearDerivation(ratios)


def test_negative_delay_is_refused():
    """Road speed is never ahead of the engine."""
    with pytest.raises(ValueError, match="negative"):
        GearDerivation(RATIOS, -1)


@pytest.mark.parametrize(("slip", "share", "told"), [
    (0.0, 0.05, 3), (0.0, 0.11, 0), (0.12, 0.11, 3), (0.12, -0.1, 0), (0.12, 0.2, 0), (0.5, 0.2, 0),
])  # fmt: skip
def test_a_converter_may_slip(slip, share, told):
    """11 % ahead is in gear with a converter and in none with a clutch; behind or past the midpoint in none."""
    t_us = np.arange(0, 60) * 100_000
    kmh = np.full(60, 80.0)
    recording = Recording({
        "engine_speed": Series(t_us, kmh * 41.5 * (1 + share)), "road_speed": Series(t_us, kmh),
    })  # fmt: skip
    feeds = [
        Feed(s.t_us, s.value, np.zeros(len(s), dtype=np.uint8), (name,), (s.t_us,))
        for name, s in recording.series.items()
    ]
    result = GearDerivation({2: 55.0, 3: 41.5, 4: 31.0}, slip=slip).array(feeds, (2_000_000, 2_000_000))
    assert set(result.value.tolist()) == ({told} if told else set())
    with pytest.raises(ValueError, match="slip"):
        GearDerivation(RATIOS, slip=-0.1)
