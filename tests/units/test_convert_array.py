from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.errors import UnitError
from coach.unit_factors import UNITS, convert, convert_array

PAIRS = [(unit, next(iter(units))) for units in UNITS.values() for unit in units]


@pytest.mark.parametrize(("unit", "to"), PAIRS)
@given(values=st.lists(st.integers(-(10**6), 10**6).map(lambda n: n / 100), max_size=20))
def test_arrays_are_converted_as_single_values_are(unit, to, values):
    """A sample of a table and a bound of a recipe in the same unit become the same number, to the last bit."""
    assert convert_array(np.array(values), unit, to).tolist() == [convert(v, unit, to) for v in values]


def test_unknown_units():
    """A unit that is not known is refused, on either side."""
    for unit, to in (("furlong", "km"), ("km", "furlong")):
        with pytest.raises(UnitError, match="furlong"):
            convert_array(np.zeros(1), unit, to)
