"""What stored drives know of a car's pulls, as a task: plain data; a drive that is not there is said."""

import json

import pytest

from coach.drive.tasks import run_task
from coach.errors import NotFound
from coach.sources.base import Ended, Instant

CAR = "rpm_per_kmh = { 3 = 40.0 }\n"
STEP_US = 100_000


def test_a_pull_in_a_stored_drive(bench):
    """Full pedal in third, 300 rpm a second more: 300 / 40 km/h a second, 2.08 m/s2, in every bin it went through."""
    for n in range(100):
        rpm = 2000.0 + 30.0 * n
        values = {"engine_speed": rpm, "road_speed": rpm / 40.0, "pedal_travel": 100.0}
        bench.loop.take(Instant(n * STEP_US, values))
    bench.loop.take(Ended("finished"))
    bench.settle()
    folder = bench.store.folder
    found = run_task(folder, "pulls", {"drives": [bench.id], "vehicle": CAR})
    assert [(one["gear"], one["count"]) for one in found] == [(3, 1)]
    assert found[0]["rpm"][0] == 2100.0
    assert found[0]["ms2"] == pytest.approx([300 / 40 / 3.6] * len(found[0]["rpm"]), rel=1e-6)
    assert json.loads(json.dumps(found))[0]["gear"] == 3
    with pytest.raises(NotFound):
        run_task(folder, "pulls", {"drives": ["none"], "vehicle": CAR})
