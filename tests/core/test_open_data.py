"""Four recorded drives of real cars: the windows that were computed independently come out to the millisecond.

Automotive OBD-II Dataset, M. Weber, Karlsruhe Institute of Technology, doi 10.35097/1130, CC BY 4.0. The recordings
stay outside the project; without them these tests are skipped.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

import pytest

from coach.catalogue import default_catalogue
from coach.core.afterwards import judge_recording
from coach.core.events import Attempt
from coach.core.spec import Band, Capture, Facts, JudgePlan
from coach.recording import Recording
from coach.sources.table import read_table

PARTED_US = 1_500_000
STANDING = (Band("road_speed", None, 0.0), Band("engine_speed", 600.0, 950.0), Band("coolant_temp", 80.0))
CRUISING = (Band("road_speed", 70.0, 90.0),)
PRESSED = (Band("pedal", 75.0),)


@pytest.fixture
def open_data(shared) -> Path:
    folder = shared / "open_data"
    if not folder.is_dir():
        pytest.skip("the folder shared/open_data is not here: the recorded drives are not judged")
    return folder


@cache
def recording(path: Path) -> Recording:
    return read_table(path, default_catalogue())


def longest(drive: Recording, keep: tuple[Band, ...]) -> Attempt:
    """The longest window in which all of `keep` hold; samples more than 1.5 s apart part it."""
    facts = {s.name: Facts(s.low, s.high, s.ceiling, s.floor) for s in default_catalogue()}
    capture = Capture("x", hold_us=1, keep=keep, stale_us=dict.fromkeys((b.signal for b in keep), PARTED_US))
    attempts = judge_recording(JudgePlan((capture,), facts), drive).attempts["x"]
    return max(attempts, key=lambda a: a.end_us - a.start_us)


@pytest.mark.parametrize(
    ("number", "keep", "first_ms", "last_ms"),
    [(1, STANDING, 4_741_084, 4_832_740), (2, CRUISING, 73_861, 665_339), (3, PRESSED, 2_319_763, 2_350_422)],
)
def test_the_longest_window_is_where_the_table_has_it(open_data, number, keep, first_ms, last_ms):
    """First and last moment of the window, to the millisecond."""
    window = longest(recording(open_data / f"road_drive_{number}.csv.gz"), keep)
    assert (window.start_us / 1000, window.end_us / 1000) == (first_ms, last_ms)


def test_the_longest_cruise_of_the_first_drive_is_as_long_as_the_table_has_it(open_data):
    """The table gives its length alone: 293.55 s."""
    window = longest(recording(open_data / "road_drive_1.csv.gz"), CRUISING)
    assert (window.end_us - window.start_us) / 1000 == 293_550


def test_full_pedal_never_comes_on_this_car(open_data):
    """Its pedal ends at 85.1 %: a capture that asks for 90 % is never begun."""
    capture = Capture("x", hold_us=1, keep=(Band("pedal", 90.0),), stale_us={"pedal": PARTED_US})
    for number in (1, 2, 3, 4):
        drive = recording(open_data / f"road_drive_{number}.csv.gz")
        assert judge_recording(JudgePlan((capture,)), drive).events == ()
        assert drive.series["pedal"].value.max() <= 85.1


def test_the_long_pull_covers_what_the_table_says(open_data):
    """The window with the pedal down runs from 2119 to 3168 rpm, with manifold pressure up to 230 kPa."""
    drive = recording(open_data / "road_drive_3.csv.gz")
    window = longest(drive, PRESSED)
    inside = {}
    for name in ("engine_speed", "manifold_pressure"):
        series = drive.series[name]
        inside[name] = series.value[(series.t_us >= window.start_us) & (series.t_us <= window.end_us)]
    assert (inside["engine_speed"].min(), inside["engine_speed"].max()) == (2119, 3168)
    assert inside["manifold_pressure"].max() == 230
