"""Four real drives, read whole. Source: Automotive OBD-II Dataset, M. Weber, KIT, doi 10.35097/1130, CC BY 4.0.

They are not part of the repository; without them these tests are skipped.
"""

from __future__ import annotations

import gzip
import resource
import sys
import time

import numpy as np
import pytest

from coach.catalogue import default_catalogue
from coach.recording import US
from coach.sources.table import read_table

SIGNALS = {
    "coolant_temp", "manifold_pressure", "engine_speed", "road_speed", "intake_temp", "mass_airflow", "throttle",
    "ambient_temp", "pedal", "pedal_e",
}  # fmt: skip

# rows after the header, first time of day, seconds from the first row to the last
DRIVES = {1: (54784, "17:22:57.475", 4837.854), 2: (19645, "19:04:23.903", 2315.740),
          3: (56676, "07:15:55.513", 4819.086), 4: (59634, "07:00:41.381", 5398.682)}  # fmt: skip


@pytest.fixture(scope="module")
def drives(shared):
    """The drives that are there, read, with the seconds that it took."""
    folder = shared / "open_data"
    if not folder.is_dir():
        pytest.skip("the open drives in shared/open_data are not here: real recordings are not checked")
    read = {}
    for number in DRIVES:
        began = time.perf_counter()
        path = folder / f"road_drive_{number}.csv.gz"
        read[number] = (read_table(path, default_catalogue()), path, time.perf_counter() - began)
    return read


@pytest.mark.parametrize("number", DRIVES)
def test_rows_signals_and_duration(drives, number):
    """Every row is read, every signal is known, time of day becomes microseconds to the millisecond."""
    recording, path, _ = drives[number]
    rows, starts, lasts_s = DRIVES[number]
    with gzip.open(path, "rb") as file:
        assert sum(1 for _ in file) - 1 == rows
    assert recording.meta["rows"] == rows
    assert recording.meta["starts"] == starts
    assert set(recording.series) == SIGNALS
    assert recording.duration_us == round(lasts_s * US)
    assert recording.wall_us is None
    assert recording.marks is None
    assert not recording.meta["unread"]


@pytest.mark.parametrize("number", [2, 4])
def test_headers_with_broken_characters(drives, number):
    """Drives 2 and 4 write the degree sign as two characters; they are degrees Celsius all the same."""
    recording, _, _ = drives[number]
    assert recording.meta["columns"]["coolant_temp"] == "Engine Coolant Temperature [Â°C]"
    assert 0 < recording.series["coolant_temp"].value.max() < 110


@pytest.mark.parametrize("number", DRIVES)
def test_cells_are_what_the_file_has(drives, number):
    """Cell by cell as the standard library's own csv module reads it: empty ones are no samples."""
    import csv
    import io

    recording, path, _ = drives[number]
    with gzip.open(path, "rb") as file:
        rows = list(csv.DictReader(io.StringIO(file.read().decode("utf-8"))))
    for name in ("engine_speed", "pedal", "coolant_temp"):
        header = recording.meta["columns"][name]
        expected = [float(row[header]) for row in rows if row[header]]
        assert recording.series[name].value.tolist() == expected


@pytest.mark.parametrize("number", DRIVES)
def test_values_are_carried_along(drives, number):
    """Rows come at about ten a second, but engine speed changes about once a second, and the notes say so."""
    recording, _, _ = drives[number]
    series = recording.series["engine_speed"]
    lasted_s = (series.t_us[-1] - series.t_us[0]) / US
    assert 8 < len(series) / lasted_s < 12.5
    assert 0.7 < np.count_nonzero(np.diff(series.value)) / lasted_s < 1.1
    held = {note.signal for note in recording.notes if note.code == "held_over"}
    assert {"engine_speed", "manifold_pressure", "road_speed", "pedal"} <= held
    assert "coolant_temp" not in held


def test_the_drive_with_a_fault_has_gaps(drives):
    """Drive 4, which its authors mark as faulty, has gaps of more than a minute; they are told."""
    recording, _, _ = drives[4]
    gap = next(note for note in recording.notes if note.code == "gap")
    steps = np.diff(np.unique(np.concatenate([s.t_us for s in recording.series.values()])))
    assert gap.count == np.count_nonzero(steps > 1_000_000) == 27
    assert "the longest 73.500 s" in gap.text


def test_time_and_memory_are_told(drives, capsys):
    """Prints how long reading took, and the most memory that this process has used; no bound is asserted."""
    with capsys.disabled():
        for number, (recording, path, seconds) in drives.items():
            size = path.stat().st_size / 1e6
            sys.stdout.write(f"\ndrive {number}: {recording.samples} samples, {size:.1f} MB packed, {seconds:.2f} s")
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        sys.stdout.write(f"; most memory of the test process {peak:.0f} MB\n")
    assert all(recording.samples > 9 * DRIVES[number][0] * 0.9 for number, (recording, _, _) in drives.items())
