"""The step form and the array form of every derivation give the same samples, to the last bit."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from coach.core.derive import AT_CEILING, OK, OUT_OF_RANGE, UNREADABLE, Cut, Derived, Feed, Held
from coach.vehicle.gear import GearDerivation
from coach.vehicle.gear_array import NEVER_US
from coach.vehicle.pedal import PedalTravel
from coach.vehicle.speed_ratio import SpeedRatio
from coach.vehicle.stand_in import FixedBarometric

RATIOS = {1: 118.0, 2: 62.0, 3: 41.5, 4: 31.0, 5: 24.9, 6: 20.5}


def feed(name, samples):
    """A measured feed from `(t_us, value, flag)`."""
    t, value, flag = zip(*samples, strict=True) if samples else ((), (), ())
    stamps = np.array(t, dtype=np.int64)
    return Feed(stamps, np.array(value, dtype=np.float64), np.array(flag, dtype=np.uint8), (name,), (stamps,))


def stepped(derivation, feeds, fresh_us):
    """What the step form says over a drive, as rows; a cut is written to the sample that it cuts."""
    stepper, rows = derivation.stepper(), []
    held = [None] * len(feeds)
    columns = [
        {t: Held(t, v, f) for t, v, f in zip(x.t_us.tolist(), x.value.tolist(), x.flag.tolist(), strict=True)}
        for x in feeds
    ]
    for t in sorted(set().union(*columns)):
        held = [column.get(t, last) for column, last in zip(columns, held, strict=True)]
        if any(h is None or t - h.t_us > age for h, age in zip(held, fresh_us, strict=True)):
            continue
        said = stepper.step(t, held, [h.t_us == t for h in held])
        if isinstance(said, Derived):
            rows.append([t, said.value, said.flag, tuple(h.t_us for h in held), NEVER_US, NEVER_US])
        elif isinstance(said, Cut) and rows:
            assert rows[-1][4] == NEVER_US
            rows[-1][4:] = [said.until_us, said.since_us]
    return rows


def rows_of(result):
    """The array form's samples as the same rows."""
    n = len(result.t_us)
    until = result.until_us if result.until_us is not None else np.full(n, NEVER_US)
    since = result.since_us if result.since_us is not None else np.full(n, NEVER_US)
    stamps = list(zip(*(s.tolist() for s in result.input_t_us), strict=True))
    return [
        [t, v, f, i, u, s]
        for t, v, f, i, u, s in zip(
            result.t_us.tolist(), result.value.tolist(), result.flag.tolist(), stamps, until.tolist(), since.tolist(),
            strict=True,
        )
    ]  # fmt: skip


def same(a, b):
    """Equal rows, where not-a-number equals itself."""
    return len(a) == len(b) and all(
        x[0] == y[0] and (x[1] == y[1] or (math.isnan(x[1]) and math.isnan(y[1]))) and x[2:] == y[2:]
        for x, y in zip(a, b, strict=True)
    )


flags = st.sampled_from([OK] * 12 + [UNREADABLE, OUT_OF_RANGE, AT_CEILING])


@st.composite
def drives(draw):
    """A random drive: pieces in gear, slipping, standing or wild, each signal at its own stamps, with gaps."""
    engine, road, t = [], [], 0
    for _ in range(draw(st.integers(1, 12))):
        gear = draw(st.sampled_from([None, *RATIOS]))
        kmh = draw(st.floats(0, 140))
        slip = draw(st.sampled_from([1.0, 1.0, 1.0, 1.01, 1.05, 1.061, 0.93, 1.09, 1.2]))
        acceleration = draw(st.sampled_from([0.0, 0.0, 1.5, 9.0, -8.0, -40.0]))
        for _ in range(draw(st.integers(1, 10))):
            step = draw(st.sampled_from([20_000, 100_000, 125_000, 250_000, 1_000_000, 2_500_000]))
            t += step
            kmh = max(0.0, kmh + acceleration * step / 1e6)
            rpm = kmh * RATIOS[gear] * slip if gear else draw(st.floats(0, 7000))
            which = draw(st.sampled_from(["both", "both", "engine", "road"]))
            if which != "road":
                flag = draw(flags)
                rpm = round(rpm * 4) / 4 if flag != UNREADABLE else math.nan
                engine.append((t, rpm, flag))
            if which != "engine":
                flag = draw(flags)
                road.append((t, float(round(kmh)) if flag != UNREADABLE else math.nan, flag))
    return feed("engine_speed", engine), feed("road_speed", road)


@given(
    drives(),
    st.sampled_from([0, 0, 80_000, 300_000, 1_200_000]),
    st.sampled_from([(2_000_000, 2_000_000), (500_000, 1_250_000), (10_000_000, 300_000)]),
    st.sampled_from([0.0, 0.0, 0.12]),
)
def test_gear_forms_agree(feeds, delay_us, fresh_us, slip):
    """Whatever was driven, however sampled, both forms say the same gears, cuts and input stamps."""
    derivation = GearDerivation(RATIOS, delay_us, slip=slip)
    assert same(stepped(derivation, feeds, fresh_us), rows_of(derivation.array(feeds, fresh_us)))


@given(st.lists(st.tuples(st.integers(1, 50), st.floats(0, 100), flags), max_size=60), st.floats(0, 40))
@example([(1, math.nan, UNREADABLE)], 10.0)
def test_pedal_forms_agree(samples, released):
    """The two forms of pedal travel agree on any samples."""
    stamps = np.cumsum([dt for dt, _, _ in samples]).tolist()
    feeds = [feed("pedal", [(t * 10_000, v, f) for t, (_, v, f) in zip(stamps, samples, strict=True)])]
    derivation = PedalTravel(released, 85.1)
    assert same(stepped(derivation, feeds, [200_000]), rows_of(derivation.array(feeds, [200_000])))


@given(drives(), st.sampled_from([(2_000_000, 2_000_000), (500_000, 1_250_000)]))
def test_speed_ratio_forms_agree(feeds, fresh_us):
    """The two forms of the speed ratio agree on any drive."""
    assert same(stepped(SpeedRatio(), feeds, fresh_us), rows_of(SpeedRatio().array(feeds, fresh_us)))


@given(st.lists(st.tuples(st.integers(1, 50), st.floats(0, 255), flags), max_size=60), st.floats(60, 105))
def test_fixed_barometric_forms_agree(samples, baro):
    """The two forms of gauge boost over one fixed reading agree on any samples."""
    stamps = np.cumsum([dt for dt, _, _ in samples]).tolist()
    feeds = [feed("manifold_pressure", [(t * 10_000, v, f) for t, (_, v, f) in zip(stamps, samples, strict=True)])]
    assert same(
        stepped(FixedBarometric(baro), feeds, [200_000]), rows_of(FixedBarometric(baro).array(feeds, [200_000]))
    )


def test_empty_feeds_give_no_gear():
    """A drive without road speed has no gear, and nothing breaks."""
    result = GearDerivation(RATIOS).array([feed("engine_speed", [(0, 900.0, OK)]), feed("road_speed", [])], (1, 1))
    assert len(result.t_us) == 0


@pytest.mark.parametrize("delay_us", [0, 200_000])
def test_long_drive_agrees(delay_us):
    """A long seeded drive through all gears agrees too, and has every kind of answer in it."""
    rng = np.random.Generator(np.random.PCG64(7))
    n = 4_000
    kmh = np.abs(np.cumsum(rng.normal(0, 0.6, n)) + 40) % 120
    gear = np.repeat(rng.integers(0, 7, n // 50), 50)
    ratio = np.array([60.0, *RATIOS.values()])[gear] * np.where(gear == 0, rng.uniform(0.5, 1.5, n), 1)
    t = np.arange(n) * 100_000
    engine = feed("engine_speed", list(zip(t, np.round(kmh * ratio * 4) / 4, [OK] * n, strict=True)))
    road = feed("road_speed", list(zip(t[::3] + 10_000, np.round(kmh[::3]), [OK] * len(t[::3]), strict=True)))
    derivation = GearDerivation(RATIOS, delay_us)
    result = derivation.array([engine, road], (2_000_000, 2_000_000))
    assert same(stepped(derivation, [engine, road], (2_000_000, 2_000_000)), rows_of(result))
    assert {1.0, 2.0, 3.0, 4.0, 6.0} <= set(result.value.tolist())
    assert (result.until_us != NEVER_US).sum() > 20
