"""What the check says of captures that collect pieces, in all or by cell."""

from __future__ import annotations

import pytest

from coach.core.spec import Axis
from coach.recipe import parse_recipe
from tests.recipe.making import RECORD, codes, found, hold

EDGES = 'road_speed = ["70 km/h", "75 km/h", "80 km/h"]'


def collect(more: str = "", *, time: str = "5 min") -> str:
    """A recipe with one capture that collects, `more` being further lines of it."""
    return hold(more).replace('hold = "60 s"', f'collect = "{time}"')


def cells(edges: str = EDGES, *, dwell: str = "20 s", more: str = "") -> str:
    """The same, by cells."""
    return collect(f'cells = {{ dwell = "{dwell}", edges = {{ {edges} }}{more} }}')


@pytest.mark.parametrize(
    ("text", "code"),
    [
        (collect("times = 2"), "kind"),
        (collect(time="0 s"), "no_time"),
        (collect('piece = "0 s"'), "no_time"),
        (collect('piece = "6 min"'), "piece_over_collect"),
        (collect(time="2 s"), "piece_over_collect"),
        (collect('piece = "5 s"\ngrace = "5 s"'), "hold_under_grace"),
        (collect('grace = "3 s"'), "hold_under_grace"),
        (f'{RECORD}[[capture]]\nid = "a"\ncollect = "60 s"\n', "no_condition"),
        (cells(dwell="0 s"), "no_time"),
        (cells('road_speed = ["70 km/h", "70 km/h"]'), "cell_edges"),
        (cells('road_speed = ["70 km/h", "80 km/h", "75 km/h"]'), "cell_edges"),
        (cells('road_speed = ["70 km/h", "80 rpm"]'), "bad_unit"),
        (cells('road_sped = ["70 km/h", "80 km/h"]'), "unknown_signal"),
        (cells('road_speed = ["40 km/h", "72 km/h", "80 km/h"]'), "cell_never_visited"),
        (cells('road_speed = ["80 km/h", "89 km/h", "95 km/h"]'), "cell_never_visited"),
        (cells('oil_temp = ["100 degC", "120 degC"]'), "not_recorded"),
        (cells("gear = [2, 4]"), "cell_signal"),
        (cells(more=', without = [{ road_speed = "72 km/h" }, { road_speed = "78 km/h" }]'), "no_cell"),
        (cells(more=', without = [{ engine_speed = "72 rpm" }]'), "cell_point"),
        (cells(more=', without = [{ road_speed = "80 km/h" }]'), "cell_point"),
        (cells(more=', without = [{ road_speed = "72 rpm" }]'), "bad_unit"),
        (cells('road_speed = ["70 km/h"]'), "bad_value"),
        (collect('cells = { dwell = "9 s", edges = {} }'), "bad_value"),
    ],
)
def test_what_cannot_be_collected_is_an_error(text, code):
    """One thing is wrong with each of these, and that is found."""
    assert code in codes(text, "error"), found(text)


@pytest.mark.parametrize("text", [collect(), collect('piece = "5 min"'), cells(), cells(more=", without = []")])
def test_what_can_be_collected_passes(text):
    """No error, with a piece as long as everything too."""
    assert codes(text, "error") == []


def test_a_band_edge_inside_a_cell_is_no_fault():
    """72 to 88 km/h reaches into 70 to 75: that cell can be visited."""
    assert codes(cells(), "error") == []


def test_cells_are_read_row_by_row_without_those_left_out():
    """Units become the catalogue's; a cell is named by any value within it, the lower edge included."""
    text = cells(
        EDGES + ', engine_speed = ["1500 rpm", "2000 rpm", "2500 rpm"]',
        more=', without = [{ engine_speed = "2000 rpm", road_speed = "46.7 mph" }]',
    )
    recipe = parse_recipe(text)
    asked = recipe.captures[0].cells
    assert asked is not None
    assert asked.axes == (Axis("road_speed", (70.0, 75.0, 80.0)), Axis("engine_speed", (1500.0, 2000.0, 2500.0)))
    assert asked.dwell_us == 20_000_000
    assert asked.wanted == ((0, 0), (0, 1), (1, 0))
    assert recipe.captures[0].signals()[-2:] == ("road_speed", "engine_speed")
