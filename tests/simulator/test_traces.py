"""The bundled drives: the same bytes every time, small, and true to the car that made them."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from click.testing import CliRunner

from coach.assets import traces_root
from coach.catalogue import default_catalogue
from coach.core.derive import OK, Feed
from coach.recording import Recording
from coach.sources.simulator import SCENARIOS, Car, scenario, write_traces
from coach.sources.simulator.__main__ import main
from coach.sources.table import read_table
from coach.vehicle import estimate_delay_us, learn_ratios, load_vehicle, number_from

ROOT = traces_root()


@cache
def simulated(name):
    """The drive of a scenario, made once."""
    return scenario(name).recording()


@pytest.mark.slow
def test_written_again_byte_for_byte(tmp_path):
    """Simulating every bundled drive again gives exactly the files that are here."""
    written = write_traces(tmp_path)
    assert [path.name for path in written] == [f"{s.name}.csv" for s in SCENARIOS]
    for path in written:
        assert path.read_bytes() == (ROOT / path.name).read_bytes(), path.name


def test_small():
    """All bundled drives together stay below 1.5 MB."""
    assert sum(path.stat().st_size for path in ROOT.glob("*.csv")) < 1_500_000


def test_table_gives_back_the_recording():
    """Reading a written drive gives the samples that were simulated."""
    made = simulated("early-lift")
    table = read_table(ROOT / "early-lift.csv", default_catalogue())
    assert set(table.series) == set(made.series)
    for name, series in made.series.items():
        np.testing.assert_array_equal(table.series[name].t_us, series.t_us)
        np.testing.assert_array_equal(table.series[name].value, series.value)


def test_demo_vehicle_is_the_simulated_car():
    """The bundled vehicle file says what the car is; what is learned from the drive agrees with it."""
    vehicle, car = load_vehicle(ROOT / "demo-vehicle.toml"), Car()
    assert vehicle.ratios == car.ratios
    assert (vehicle.idle_rpm, vehicle.rev_limit_rpm, vehicle.mass_kg) == (car.idle_rpm, car.limit_rpm, car.mass_kg)
    assert vehicle.delay_us == car.speed_delay_us
    assert vehicle.released_pct == pytest.approx(car.released * 100 / 255, abs=0.05)
    assert vehicle.floored_pct == pytest.approx(car.floored * 100 / 255, abs=0.05)
    recording = simulated("everything-qualifies")
    learned = number_from(learn_ratios(recording), first=3)
    assert learned == pytest.approx({gear: car.ratios[gear] for gear in (3, 4, 5)}, rel=0.01)
    assert estimate_delay_us(recording) == pytest.approx(car.speed_delay_us, abs=100_000)


def test_gears_of_the_drive():
    """With the bundled vehicle, the drive goes through the gears of its script and through no other."""
    recording = simulated("everything-qualifies")
    gear = load_vehicle(ROOT / "demo-vehicle.toml").derivations()[0]
    feeds = [
        Feed(s.t_us, s.value, np.full(len(s), OK, dtype=np.uint8), (name,), (s.t_us,))
        for name, s in ((n, recording.series[n]) for n in gear.inputs)
    ]
    told = gear.array(feeds, (2_000_000, 2_000_000)).value
    order = [int(g) for i, g in enumerate(told) if i == 0 or g != told[i - 1]]
    # Up to the hold, the first pull, back to fourth, the second pull, back to fourth and stop.
    assert order == [1, 2, 3, 4, 5, 3, 4, 3, 4]


@pytest.mark.parametrize("name", [s.name for s in SCENARIOS])
def test_values_are_plausible(name):
    """Every bundled sample lies in its signal's range and on the encoding's steps."""
    catalogue = default_catalogue()
    recording = read_table(ROOT / f"{name}.csv", catalogue)
    assert isinstance(recording, Recording)
    for signal, series in recording.series.items():
        facts = catalogue[signal]
        assert series.value.min() >= facts.low, signal
        assert series.value.max() <= facts.high, signal
        if facts.step in (0.25, 0.5, 1):
            assert not np.any(series.value % facts.step), signal


def test_command(tmp_path, monkeypatch):
    """The command names what it wrote; a folder that cannot be made is one sentence and status 2."""
    monkeypatch.setattr("coach.sources.simulator.scenarios.SCENARIOS", (scenario("early-lift"),))
    result = CliRunner().invoke(main, ["--write", str(tmp_path / "new")])
    assert result.exit_code == 0, result.output
    assert "early-lift.csv" in result.output
    assert (tmp_path / "new" / "early-lift.csv").read_bytes() == (ROOT / "early-lift.csv").read_bytes()
    (tmp_path / "file").write_text("")
    result = CliRunner().invoke(main, ["--write", str(tmp_path / "file" / "below")])
    assert result.exit_code == 2
    assert "cannot be written" in result.stderr
