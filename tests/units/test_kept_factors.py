"""The factors that stand in the code are pint's, to the last bit, and with them pint is not loaded."""

from __future__ import annotations

import subprocess
import sys

import pytest

from coach import unit_factors
from coach.unit_factors import _KEPT, KNOWN, UNITS, _asked, convert


@pytest.mark.parametrize("pair", sorted(_KEPT), ids=lambda p: f"{p[0]}-{p[1]}")
def test_kept_factors_are_those_of_pint(pair: tuple[str, str]) -> None:
    """Source: package pint 0.24.4."""
    factor, offset = _KEPT[pair]
    assert tuple(_asked(*pair, difference=False)) == (factor, offset)
    assert tuple(_asked(*pair, difference=True)) == (factor, 0.0)


def test_every_unit_of_a_recipe_is_kept() -> None:
    """Whatever unit a recipe or a vehicle file may use: its factor to the canonical one stands here."""
    pairs = {(KNOWN[u], KNOWN[next(iter(t))]) for t in UNITS.values() for u in t}
    assert {(a, b) for a, b in pairs if a != b} <= set(_KEPT)


def test_another_pair_is_asked_of_pint(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two units of which neither is the canonical one: 1 psi is 0.0689... bar."""
    monkeypatch.setattr(unit_factors, "_KEPT", {})
    unit_factors._scale.cache_clear()
    assert convert(1.0, "psi", "bar") == pytest.approx(0.06894757293, abs=1e-9)
    unit_factors._scale.cache_clear()


def test_pint_stays_outside() -> None:
    """Reading a recipe and showing it in miles loads no pint: a server would pay for it in memory."""
    code = (
        "import sys\n"
        "from coach.shown import show\n"
        "from coach.units import parse_quantity, parse_duration_us\n"
        "parse_quantity('45 mph', 'speed'); parse_duration_us('60 ms'); parse_quantity('1 bar', 'pressure_gauge')\n"
        "show(80.0, 'km/h', 'imperial'); show(80.0, 'degC', 'imperial')\n"
        "print('pint' in sys.modules)\n"
    )
    told = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert told.stdout.strip() == "False"
