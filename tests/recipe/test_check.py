"""The check without a vehicle: what can never be met, what contradicts itself, what is not safe to ask."""

from __future__ import annotations

from dataclasses import replace

import pytest

from coach.catalogue import default_catalogue, wide_manifold_pressure
from coach.recipe import check_recipe, parse_recipe
from coach.recipe.reach import reach
from tests.recipe.making import EXAMPLE, RECORD, codes, found, hold, sweep

CATALOGUE = default_catalogue()
WARM = '[capture.start]\ncoolant_temp = { min = "80 degC" }\n'


def limit(text: str) -> str:
    """A limit table under the one capture."""
    return f"[capture.limit]\n{text}\n"


@pytest.mark.parametrize(
    ("text", "code"),
    [
        (hold(keep='road_speed = { min = "88 km/h", max = "72 km/h" }'), "band_upside_down"),
        (hold(keep='coolant_temp = { min = "300 degC" }'), "never_met"),
        (hold(keep='manifold_pressure = { min = "255 kPa" }'), "never_met"),
        (
            hold(keep='manifold_pressure = { min = "30 psi abs", max = "40 psi abs" }')
            + limit('manifold_pressure = { max = "3 bar" }'),
            "limit_out_of_sight",
        ),
        (hold(keep='gauge_boost = { min = "220 kPa" }'), "never_met"),
        (hold(keep='road_speed = { max = "-1 km/h" }'), "never_met"),
        (hold(keep='coolant_temp = { max = "-40 degC" }'), "never_met"),
        (hold(keep='road_speed = { min = "72.2 km/h", max = "72.8 km/h" }'), "no_reading_fits"),
        (hold(keep="gear = { min = 3.2, max = 3.8 }"), "no_reading_fits"),
        (hold() + '[capture.start]\nroad_speed = { max = "70 km/h" }\n', "start_against_keep"),
        (hold() + '[capture.start]\nroad_speed = { wander = "5 km/h" }\n', "wander_at_start"),
        (hold() + limit('road_speed = { max = "80 km/h" }'), "limit_inside_band"),
        (hold() + limit('road_speed = { max = "60 km/h" }'), "limit_inside_band"),
        (hold() + limit('road_speed = { min = "80 km/h" }'), "limit_inside_band"),
        (hold() + limit('road_speed = { min = "90 km/h" }'), "limit_inside_band"),
        (
            hold()
            + '[capture.start]\ncoolant_temp = { min = "90 degC" }\n'
            + limit('coolant_temp = { max = "85 degC" }'),
            "limit_inside_band",
        ),
        (hold() + limit('gauge_boost = { max = "150 kPa" }'), "limit_out_of_sight"),
        (hold() + limit('manifold_pressure = { max = "256 kPa" }'), "limit_out_of_sight"),
        (hold() + limit('coolant_temp = { min = "-41 degC" }'), "limit_out_of_sight"),
        (hold() + limit('coolant_temp = { max = "108 degC", after = "60 s" }'), "limit_never_watched"),
        (hold('grace = "60 s"'), "hold_under_grace"),
        (hold('grace = "2 min"'), "hold_under_grace"),
        (hold('then = "1 s"'), "kind"),
        (hold('piece = "1 s"'), "kind"),
        (hold('cells = { dwell = "9 s", edges = { road_speed = ["70 km/h", "90 km/h"] } }'), "kind"),
        (hold('collect = "5 min"'), "kind"),
        (hold().replace('hold = "60 s"', ""), "kind"),
        (hold().replace('hold = "60 s"', 'hold = "0 s"'), "no_time"),
        (hold('stale_after = "0 s"'), "stale_under_period"),
        (hold('stale_after = { road_speed = "200 ms" }'), "stale_under_period"),
        (hold('needs = ["b"]'), "unknown_id"),
        (hold('needs = ["a"]'), "needs_in_a_circle"),
        (
            hold('needs = ["b"]')
            + '[[capture]]\nid = "b"\nneeds = ["a"]\nhold = "9 s"\nkeep = { pedal = { max = "9 %" } }\n',
            "needs_in_a_circle",
        ),
        (hold() + '[[capture]]\nid = "a"\nhold = "9 s"\nkeep = { pedal = { max = "9 %" } }\n', "duplicate_id"),
        (hold(keep='fuel_level = { min = "50 %" }'), "not_recorded"),
        (hold(keep='oil_temp = { min = "50 degC" }'), "not_recorded"),
        (hold() + limit('oil_temp = { max = "120 degC" }'), "not_recorded"),
        (hold() + "[capture.start]\ncode_count = { max = 0 }\n", "not_recorded"),
        (hold() + '[capture.record]\npedal = "1 Hz"\n', "not_recorded"),
        (hold() + '[capture.record]\nroad_speed = { rate = "1 Hz", gap = "0.5 s" }\n', "gap_under_period"),
        (hold().replace('"4 Hz"', '{ rate = "4 Hz", gap = "0.2 s" }'), "gap_under_period"),
        (hold().replace(RECORD, 'format = 1\ntitle = "t"\n'), "nothing_recorded"),
        (hold(keep='pedal_travel = { min = "90 %" }'), "full_pedal_place"),
        (hold('place = "parked"', keep='pedal = { min = "80 %" }'), "full_pedal_place"),
        (hold('place = "parked"'), "parked_moving"),
        (sweep('from = "2200 rpm", to = "2200 rpm"'), "no_span"),
        (sweep('from = "2200 rpm", to = "20000 rpm"'), "never_met"),
        (sweep('from = "50 kPa", to = "255 kPa"', signal="manifold_pressure"), "never_met"),
        (sweep("from = 2, to = 5", signal="gear"), "sweep_of_steps"),
        (sweep('from = "2200 rpm", to = "4600 rpm", dip = "2400 rpm"'), "dip_over_span"),
        (sweep('from = "2200 rpm", to = "4600 rpm", late = "2400 rpm"'), "late_over_span"),
        (sweep('from = "2200 rpm", to = "4600 rpm", within = "0 s"'), "no_time"),
        (sweep(tables='[capture.keep]\nengine_speed = { max = "4000 rpm" }'), "sweep_leaves_band"),
        (sweep(tables='[capture.start]\nengine_speed = { max = "1000 rpm" }'), "sweep_leaves_band"),
        (sweep(tables=limit('engine_speed = { max = "4500 rpm" }')), "limit_inside_sweep"),
        (
            sweep('from = "4600 rpm", to = "2200 rpm"', tables=limit('engine_speed = { min = "2300 rpm" }')),
            "limit_inside_sweep",
        ),
        (sweep('from = "0.5 lambda", to = "1 lambda"', signal="lambda"), "not_recorded"),
    ],
)
def test_what_cannot_be_met_is_an_error(text, code):
    """One thing is wrong with each of these, and exactly that is found."""
    assert set(codes(text, "error")) == {code}, found(text)


def test_a_hold_of_nothing_is_an_error():
    """A hold without any band under keep would be secured by standing still."""
    assert codes(f'{RECORD}[[capture]]\nid = "a"\nhold = "60 s"\n') == ["no_condition"]


@pytest.mark.parametrize(
    ("text", "code"),
    [
        (hold(keep='road_speed = { min = "72 km/h", max = "75 km/h" }'), "narrow_band"),
        (hold(keep='road_speed = { min = "72 km/h", max = "72 km/h" }'), "narrow_band"),
        (hold(keep='road_speed = { min = "72 km/h", wander = "0.5 km/h" }'), "narrow_wander"),
        (hold("max_excursions = 2"), "excursions_without_grace"),
        (sweep(tables='[capture.keep]\npedal_travel = { min = "90 %" }'), "cold_full_pedal"),
        (sweep(tables='[capture.keep]\npedal = { min = "90 %" }\ncoolant_temp = { min = "80 degC" }'), "raw_pedal"),
        (sweep('from = "2200 rpm", to = "4600 rpm", within = "2 s"'), "rate_under_sweep"),
    ],
)
def test_what_is_unwise_is_a_warning(text, code):
    """The recipe can be used; its writer should know."""
    assert set(codes(text)) == {code}
    assert set(codes(text, "error")) == set()


@pytest.mark.parametrize(
    "text",
    [
        EXAMPLE,
        hold(),
        hold() + limit('road_speed = { max = "88 km/h" }'),
        hold() + limit('gauge_boost = { max = "145 kPa" }'),
        hold() + limit('manifold_pressure = { max = "255 kPa" }'),
        hold() + limit('gauge_boost = { min = "-80 kPa" }'),
        hold('place = "parked"', keep='road_speed = { max = "0 km/h" }'),
        hold(keep='road_speed = { min = "72 km/h", max = "76 km/h" }'),
        hold(keep="gear = 5"),
        hold('stale_after = "6 s"'),
        hold(keep='pedal_travel = { max = "1 %" }'),
        hold() + '[capture.start]\nroad_speed = { min = "80 km/h" }\n',
        hold('stale_after = { gear = "1 s" }'),
        sweep(tables=WARM + '[capture.keep]\npedal_travel = { min = "90 %" }'),
        sweep(tables=limit('engine_speed = { max = "6000 rpm" }')),
        sweep(tables='[capture.keep]\nengine_speed = { min = "2000 rpm" }'),
        sweep(tables='[capture.start]\nengine_speed = { max = "2500 rpm" }'),
        sweep('from = "4600 rpm", to = "1500 rpm"', tables='[capture.keep]\npedal_travel = { max = "1 %" }'),
    ],
)
def test_what_can_be_met_is_left_alone(text):
    """No finding where nothing is wrong."""
    assert found(text) == []


def test_a_band_upside_down_is_said_once():
    """What start and keep ask for together is not judged while one of them makes no sense."""
    text = hold() + '[capture.start]\nroad_speed = { min = "99 km/h", max = "98 km/h" }\n'
    assert codes(text) == ["band_upside_down"]


def test_a_derived_limit_is_refused_through_its_inputs():
    """Gauge boost plus the highest plausible barometric pressure must not pass the end of MAP; the sentence says so."""
    (finding,) = found(hold() + limit('gauge_boost = { max = "150 kPa" }'))
    assert finding.where == 'capture "a", limit.gauge_boost.max'
    assert finding.line is not None
    assert "surely seen only up to 145 kPa" in finding.message
    assert "manifold_pressure ends at 255 kPa and barometric_pressure may be 110 kPa" in finding.message


def test_a_car_with_a_wider_answer_may_have_a_higher_limit():
    """The same recipe against a catalogue in which manifold pressure has two bytes."""
    recipe = parse_recipe(hold() + limit('gauge_boost = { max = "150 kPa" }'))
    assert check_recipe(recipe, CATALOGUE.with_signals([wide_manifold_pressure()])) == []


def test_reach_of_measured_and_derived_signals():
    """Ends of encodings cap what is seen; of a difference both ends count, each in its direction."""
    boost = reach(CATALOGUE["gauge_boost"], CATALOGUE)
    assert (boost.low, boost.sure_low, boost.sure_high, boost.high) == (-110, -110, 145, 210)
    assert reach(CATALOGUE["gear"], CATALOGUE).high == 12
    assert reach(CATALOGUE["engine_speed"], CATALOGUE).high_open is False
    floored = CATALOGUE.with_signals([replace(CATALOGUE["lambda_1"], floor=0.5)])
    assert (reach(floored["lambda"], floored).sure_low, reach(floored["lambda"], floored).low_open) == (0.5, True)
    lam = reach(CATALOGUE["lambda"], CATALOGUE)
    assert (lam.high_open, lam.low_open) == (True, False)


def test_lambda_may_be_recorded_either_way():
    """A recipe that records the air-fuel ratio has what a band on lambda needs."""
    text = hold(keep='lambda = { max = "1 lambda" }')
    assert codes(text) == ["not_recorded"]
    for way in ("lambda_1", "air_fuel_ratio", "lambda"):
        assert codes(text.replace("[record]", f'[record]\n{way} = "1 Hz"')) == [], way


def test_only_the_missing_input_is_named():
    """With manifold pressure recorded, what gauge boost lacks is barometric pressure."""
    text = (hold() + limit('gauge_boost = { max = "95 kPa" }')).replace('barometric_pressure = "0.2 Hz"\n', "")
    assert [f.message for f in found(text)] == ["record does not ask for barometric_pressure"]
    text = text.replace('manifold_pressure = "8 Hz"\n', "")
    assert [f.message for f in found(text)] == [
        "record does not ask for gauge_boost (or manifold_pressure and barometric_pressure)"
    ]
