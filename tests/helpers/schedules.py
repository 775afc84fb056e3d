"""The four published drive schedules in tests/data as recordings, for tests that need real traces with known figures.

Sources: UDDS, HWFET and US06 are 40 CFR Part 86 Appendix I and Part 600 Appendix I (US government work, taken by way of
the package fastsim 2.1.5), in mph at 1 Hz. WLTC class 3b is UN GTR No. 15, Annex 1, in km/h at 1 Hz.

Traps: the tables are in the published unit with one decimal (mph) and must stay so. A schedule that went through m/s
has to be rounded to 0.1 mph before it is compared with a bound, or HWFET 45 to 55 mph has 75 samples instead of 76.
Bounds are inclusive: with strict ones HWFET 40 to 50 mph has 86 samples instead of 140. US06 is published as 596 s; the
table runs from 0 to 600 s.
"""

from __future__ import annotations

import csv
from pathlib import Path

from coach.catalogue import default_catalogue
from coach.recording import Recording
from coach.signals import Catalogue, Signal
from coach.sources.columns import Columns, Rule
from coach.sources.table import read_table

DATA = Path(__file__).parents[1] / "data"

FILES = {
    "UDDS": "schedule_udds.csv",
    "HWFET": "schedule_hwfet.csv",
    "US06": "schedule_us06.csv",
    "WLTC3b": "schedule_wltc_class_3b.csv",
}
"""By the names that speed_windows.csv, speed_spans.csv and idle_windows.csv use."""

RAW_SPEED = Signal(
    "schedule_speed", "Schedule speed", "Schedule", "", "ratio", 0, 200, note="The published number, in its own unit."
)


def raw_catalogue() -> Catalogue:
    """The default catalogue and `schedule_speed`."""
    return default_catalogue().with_signals([RAW_SPEED])


def schedule_kmh(name: str) -> Recording:
    """A schedule as `road_speed` in km/h: mph times 1.609344, rounded to 1e-9 as quantities of a recipe are."""
    return read_table(DATA / FILES[name], default_catalogue())


def schedule_raw(name: str) -> Recording:
    """A schedule as `schedule_speed`, the published numbers: mph, for WLTC3b km/h. Needs `raw_catalogue`."""
    rules = {"speed_mph": Rule("schedule_speed"), "speed_kmh": Rule("schedule_speed")}
    return read_table(DATA / FILES[name], raw_catalogue(), columns=Columns(rules=rules))


def rows(name: str) -> list[dict[str, str]]:
    """The rows of a table of check values in tests/data, such as `speed_windows.csv`, by column."""
    with (DATA / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))
