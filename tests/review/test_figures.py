"""Figures in the reader's units, plots' data, thinning, derived signals."""

from __future__ import annotations

import math

import numpy as np
import pytest

from coach.errors import BadInput
from coach.recording import Series
from coach.review.figures import Column, Figure, Maker, Table, converted, figure_json, shown, table_json, written
from coach.review.plots import over_json, traces_json
from coach.review.stats import moments
from coach.review.summary import summary_json, window_of
from coach.shown import IMPERIAL, METRIC
from coach.words import load_words
from tests.review.made import CAR, US, const, hold, series, subject, sweep

WORDS = load_words()


@pytest.mark.parametrize(
    ("value", "unit", "system", "text", "difference"),
    [(80.0, "km/h", METRIC, "80.0 km/h", False), (80.4672, "km/h", IMPERIAL, "50.0 mph", False),
     (20.0, "degC", IMPERIAL, "68.0 °F", False), (5.0, "degC", IMPERIAL, "9.0 °F", True),
     (100.0, "kPa", IMPERIAL, "14.50 psi", False), (0.9123, "lambda", METRIC, "0.912", False),
     (2.0, "degC/min", METRIC, "2.00 °C/min", False), (12.34, "points", METRIC, "12.3 %-points", False),
     (-0.0, "rpm", METRIC, "0 rpm", False)],
)  # fmt: skip
def test_a_number_in_the_readers_units(value, unit, system, text, difference):
    """Few digits, no minus nought; a difference of temperatures is no temperature."""
    assert str(shown(value, unit, system, difference=difference)) == text


def test_a_figure_and_a_table():
    """Spread and error are differences; what cannot be said has a sentence and no value."""
    f = figure_json(Figure("idle_speed", "degC", 20.0, spread=5.0, error=1.0, count=3), WORDS, IMPERIAL)
    assert (f["text"], f["spread_text"], f["error_text"], f["unit"]) == ("68.0 °F", "±9.0 °F", "±1.8 °F", "°F")
    make = Maker(WORDS, lambda n: n.title())
    assert make.put("slip", "%", math.nan, why="no_ratio").why.startswith("Cannot be said, because the car's ratios")
    assert make.put("slip", "%", None, why="As it is.").why == "As it is."
    assert make.of("slip", "%", None).why.startswith("Cannot be said, because there was no sample")
    assert make.of("own", "%", moments(np.array([1.0, 2.0]))).name == "Own"
    assert [x.id for x in make.take()] == ["slip", "slip", "slip", "own"]
    assert make.take() == ()
    t = table_json(Table("t", "T", (Column("a", "A", "degC"), Column("b", "B"), Column("c", "C", "degC", True)),
                         ((20.0, "x", 5.0), (None, 3, math.inf))), IMPERIAL)  # fmt: skip
    assert t["rows"] == [[68.0, "x", 9.0], [None, 3, None]]
    assert t["columns"][0]["unit"] == written("degC", IMPERIAL) == "°F"
    assert converted([100.0, math.nan], "degC", IMPERIAL) == [212.0, None]


def test_a_summary_in_imperial_units():
    """A car whose driver reads mph gets mph, psi and °F, with the same count of samples."""
    car = CAR + '[units]\nsystem = "imperial"\n'
    s = subject(hold("h", 20, 'road_speed = { min = "60 km/h" }'),
                {"road_speed": series(4, 60, const(80.4672)), "coolant_temp": series(1, 60, const(90))},
                car=car)  # fmt: skip
    made = summary_json(s, "h", 0)
    steady = {f["id"]: f for f in made["groups"][0]["figures"]}
    assert steady["road_speed"]["text"] == "50.0 mph"
    every = {f["id"]: f for f in made["groups"][-1]["figures"]}
    assert every["coolant_temp"]["text"] == "194.0 °F"


def drive():
    x = series(10, 100, lambda t: 60 + 20 * np.sin(t))
    x.value[333] = 250.0
    keep = (x.t_us < 50 * US) | (x.t_us > 60 * US)
    limit = '[capture.limit]\nroad_speed = { max = "300 km/h" }'
    return subject(sweep("p", "engine_speed", "2000 rpm", "4000 rpm", more=limit), {
        "road_speed": Series(x.t_us[keep], x.value[keep]),
        "engine_speed": series(5, 100, lambda t: np.interp(t, [10, 30], [1500, 4500])),
    })  # fmt: skip


def test_traces_keep_peaks_and_silences_at_any_zoom():
    """The peak stays in 20 points; a silence has an unknown point; a stretch has no other samples."""
    s = drive()
    road = next(x for x in traces_json(s, None, None, None, 20)["signals"] if x["signal"] == "road_speed")
    assert max(v for v in road["values"] if v is not None) == 250
    assert None in road["values"]
    part = traces_json(s, ["road_speed"], 30.0, 34.0)
    assert (part["from_s"], part["to_s"]) == (30, 34)
    assert len(part["signals"][0]["t_s"]) == 41
    assert traces_json(s, ["oil_temp"], None, None)["signals"] == []
    with pytest.raises(BadInput, match="end after it begins"):
        traces_json(s, None, 10.0, 5.0)
    with pytest.raises(BadInput, match="at most 40"):
        traces_json(s, ["a"] * 41, None, None)


def test_a_sweep_over_engine_speed():
    """Each signal at its own samples, engine speed between them; limits with it."""
    made = over_json(window_of(drive(), "p", 0))
    (road,) = made["signals"]
    assert made["over"]["signal"] == "engine_speed"
    assert road["limit"] == 300
    t, x = np.array(road["t_s"]), np.array(road["x"])
    assert x == pytest.approx(np.interp(t, [10, 30], [1500, 4500]), abs=0.02)
    assert over_json(window_of(drive(), "p", 0), "oil_temp")["signals"] == []
