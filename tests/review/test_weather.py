"""The air and its corrections, against the worked values that were computed apart from this project with numpy.

Formulas: SAE J1349 JUN1990 and AUG2004 and DIN 70020 from copies of their text, ISO 1585 from memory. Saturation
pressure: WMO-No. 8. Worked values were made with another saturation formula: 0.3 % of it is tolerated.
"""

from __future__ import annotations

import pytest

from coach.review.weather import (
    STANDARDS,
    Weather,
    corrections,
    dry_pressure_kpa,
    saturation_kpa,
)

WORKED = [
    ((101.325, 15.0, 0.0), 101.325, {"j1349_1990": 0.95341, "j1349_2004": 0.95357, "iso_1585": 0.95281,
                                     "din_70020": 0.99119}),
    ((98.0, 30.0, 80.0), 94.6032, {"j1349_1990": 1.06516, "j1349_2004": 1.06494, "iso_1585": 1.06662,
                                   "din_70020": 1.05116}),
    ((84.0, 20.0, 20.0), 83.5322, {"j1349_1990": 1.20672, "j1349_2004": 1.20602, "iso_1585": 1.21375,
                                   "din_70020": 1.20595}),
]  # fmt: skip


@pytest.mark.parametrize(("air", "dry", "factors"), WORKED)
def test_worked_values(air, dry, factors):
    """Dry pressure and the four factors."""
    assert dry_pressure_kpa(*air) == pytest.approx(dry, rel=2e-4)
    for key, factor in factors.items():
        assert STANDARDS[key][1](*air) == pytest.approx(factor, abs=2e-5 if air[2] == 0 else 2e-4), key


def test_standard_air_needs_no_correction():
    """99 kPa dry at 25 degC is 1 in J1349 and ISO 1585; 1013 mbar at 20 degC in DIN 70020: by their definition."""
    for key in ("j1349_1990", "j1349_2004", "iso_1585"):
        assert STANDARDS[key][1](99.0, 25.0, 0.0) == pytest.approx(1.0, abs=1e-9)
    assert STANDARDS["din_70020"][1](101.3, 20.0, 0.0) == pytest.approx(1.0, abs=1e-9)


def test_saturation_pressure():
    """25 degC: 3160 to 3170 Pa across IAPWS, PsychroLib and MetPy."""
    assert 3.16 * 0.997 < saturation_kpa(25) < 3.17 * 1.003


def test_humidity_that_nobody_gave_is_a_range():
    """From dry to saturated; with a humidity there is no range, and DIN does not look at it."""
    unknown = {c.standard: c for c in corrections(Weather(98.0, 30.0))}
    c = unknown["j1349_2004"]
    assert c.low == pytest.approx(STANDARDS["j1349_2004"][1](98.0, 30.0, 0.0))
    assert c.high == pytest.approx(STANDARDS["j1349_2004"][1](98.0, 30.0, 100.0))
    assert c.low < c.factor < c.high
    assert unknown["din_70020"].low == unknown["din_70020"].high
    known = corrections(Weather(98.0, 30.0, 80.0))
    assert all(k.low == k.high == k.factor for k in known)


@pytest.mark.parametrize(("air", "inside"), [((98, 30), True), ((98, 36), False), ((88, 20), False), ((98, 14), False)])
def test_where_the_standard_holds(air, inside):
    """SAE J1349 (2004): 15 to 35 degC, 900 to 1050 mbar."""
    assert corrections(Weather(*air))[0].inside is inside


def test_without_weather_no_correction():
    assert corrections(Weather(98.0, None)) == []
    assert corrections(Weather(None, 20.0)) == []
