from __future__ import annotations

import csv
import json
import math
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.catalogue import default_catalogue, wide_manifold_pressure
from coach.signals import Reading
from coach.sources.adapter import encode

SIGNALS = [s for s in (*default_catalogue(), wide_manifold_pressure()) if s.reading is not None]
ALL = [r for s in SIGNALS for r in (s.reading, *s.readings)]
READINGS = [pytest.param(r, id=f"{s.name}-{r.pid:02X}") for s in SIGNALS for r in (s.reading, *s.readings)]
_TABLE = Path(__file__).parents[1] / "data/mode01_decoding.csv"
WORKED = {int(row["pid"], 16): row for row in csv.DictReader(_TABLE.read_text("utf-8").splitlines())}
# Of A4 the table gives another part of the answer than the signals that have their own bits.
PUBLISHED = [p for p in READINGS if p.values[0].pid in WORKED and p.values[0].pid != 0xA4]


@given(reading=st.sampled_from(ALL), part=st.floats(0, 1), filling=st.binary(max_size=9))
def test_what_is_encoded_decodes_to_the_nearest_step(reading, part, filling):
    """For every reading of the catalogue, over its whole encoding and whatever stands in the bytes around it."""
    value = reading.lowest + part * (reading.highest - reading.lowest)
    back = reading.decode(encode([(reading, value)], filling=filling))
    assert abs(back - value) <= reading.scale / 2 * (1 + 1e-9) + 1e-9 * abs(value)


@pytest.mark.parametrize("reading", READINGS)
def test_every_code_comes_back_as_itself(reading):
    """Decoding and encoding again gives the same whole number (each of a byte's, a spread of a wider one's)."""
    most = round((reading.highest - reading.lowest) / reading.scale)
    for raw in {*range(0, most + 1, max(1, most // 500)), most}:
        back = reading.decode(encode([(reading, raw * reading.scale + reading.offset)]))
        assert back == raw * reading.scale + reading.offset


@pytest.mark.parametrize("reading", READINGS)
def test_values_beyond_the_encoding_stay_at_its_ends(reading):
    """As a real sensor does: the end of the encoding says only: at least this."""
    assert reading.decode(encode([(reading, math.inf)])) == reading.highest
    assert reading.decode(encode([(reading, -math.inf)])) == reading.lowest


@pytest.mark.parametrize("reading", PUBLISHED)
def test_worked_bytes_of_published_formulas(reading):
    """The published examples of tests/data/mode01_decoding.csv encode to the very bytes they give."""
    row = WORKED[reading.pid]
    given_bytes = bytes.fromhex(row["example_bytes"])
    value = json.loads(row["value"])[0]
    kept = encode([(reading, value)], filling=given_bytes)
    assert kept == given_bytes
    assert encode([(reading, value)])[: reading.width] == given_bytes[: reading.width]


def test_several_signals_share_one_answer():
    """Lamp and count of codes are bits of the same byte, and neither disturbs the other or the monitors."""
    catalogue = default_catalogue()
    lamp, count = catalogue["lamp"].reading, catalogue["code_count"].reading
    assert encode([(lamp, 1.0), (count, 5.0)], filling=bytes.fromhex("FF076100")) == bytes.fromhex("85076100")


def test_nonsense_is_refused():
    """No number has no bytes; readings of two parameters make no answer."""
    with pytest.raises(ValueError, match="not a number"):
        encode([(Reading(0x0D, 1), math.nan)])
    with pytest.raises(ValueError, match="one parameter"):
        encode([(Reading(0x0D, 1), 1.0), (Reading(0x0C, 2, width=2), 1.0)])
    with pytest.raises(ValueError, match="one parameter"):
        encode([])
