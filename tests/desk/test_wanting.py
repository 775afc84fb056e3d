"""What a capture lacks, in a few words, and what to ask for next: every reason has both, in every language."""

from __future__ import annotations

import pytest

from coach.catalogue import default_catalogue
from coach.core.events import Code
from coach.desk.wanting import wanting
from coach.shown import IMPERIAL
from coach.words import languages, load_words, own_words

CATALOGUE = default_catalogue()
EN = load_words()
SIGNALS = ("road_speed", "coolant_temp", "gear", "pedal", None)
ALONE = (Code.DRIVE_ENDED, Code.DISARMED, Code.PAUSED, Code.SKIPPED, Code.SLOW)
"""Reasons that name no signal."""


def near(outcome="missed", reason=None, **more):
    told = {
        "outcome": outcome, "progress": 0.5, "did": 41.0, "of": 60.0, "swept": None, "reason": None,
        "engine_speed": None, "never": [],
    }  # fmt: skip
    if reason is not None:
        code, signal, value, bound = reason
        told["reason"] = {"code": code, "signal": signal, "value": value, "bound": bound, "t_s": 62.0, "upper": True}
    return told | more


def said(*args, words=EN, **more):
    found = wanting(near(*args, **more), CATALOGUE, words)
    return found["text"], found["next"]


PULL = {"swept": "engine_speed", "did": 4310.0, "of": 4600.0, "progress": (4310 - 2200) / 2400}


@pytest.mark.parametrize(
    ("made", "text", "asks"),
    [
        (
            near("stopped", ("limit", "gauge_boost", 99.0, 95.0), engine_speed=4312.0, **PULL),
            "limit passed at 4310 rpm. Gauge boost 99 kPa, limit 95.",
            "Ask for a sweep to 4300 rpm, or for all of it once the calibration is changed.",
        ),
        (
            near("stopped", ("limit", "coolant_temp", 109.0, 108.0)),
            "limit passed. Coolant 109 °C, limit 108.",
            "Ask for it again after a rest.",
        ),
        (
            near("missed", ("high", "road_speed", 91.0, 88.0)),
            "19 s short. Road speed 91 km/h against 88.",
            "Ask for the same again, or for a wider band.",
        ),
        (
            near("missed", ("low", "pedal_travel", 80.0, 90.0), **PULL),
            "came to 4310 of 4600 rpm. Pedal travel 80 % against 90.",
            "Ask for the pedal to stay down to the end.",
        ),
        (
            near("sparse", ("rate", "pedal", 2.1, 8.0)),
            "too thin to judge. Pedal, raw: 2.1 a second, 8 needed.",
            "Ask for fewer signals, or slower ones.",
        ),
        (near("part", did=101.0, of=180.0), "1:19 still to collect.", "Ask for the rest."),
        (
            near("todo", never=[{"signal": "coolant_temp", "low": 80.0, "high": None, "wander": None}]),
            "coolant was never 80 °C or more.",
            "Ask for it warm: a warm-up before it.",
        ),
        (
            near("todo", never=[{"signal": "road_speed", "low": 170.0, "high": None, "wander": None}]),
            "road speed was never 170 km/h or more.",
            "Ask whether it can be driven there at all.",
        ),
        (near("todo"), "never begun.", "Ask whether it can be driven there at all."),
    ],
)
def test_near_in_figures_then_why_then_what_to_ask(made, text, asks):
    """As a calibrator would say it of the best attempt."""
    assert wanting(made, CATALOGUE, EN) == {"outcome": made["outcome"], "text": text, "next": asks}


@pytest.mark.parametrize(
    "made",
    [
        near("stopped", ("limit", "gauge_boost", 99.0, 95.0), engine_speed=2600.0, swept="engine_speed", did=2600.0,
             of=4600.0, progress=400 / 2400),
        near("stopped", ("limit", "gauge_boost", 99.0, 95.0), engine_speed=4700.0, **PULL),
        near("stopped", ("limit", "gauge_boost", 99.0, 95.0), engine_speed=2600.0, swept="engine_speed", did=2600.0,
             of=4600.0, progress=0.0),
    ],
)  # fmt: skip
def test_a_shorter_sweep_is_proposed_only_where_one_is_left(made):
    """From 2200 rpm, one that ends at 2600 is none; nor is one beyond the end, or one that hardly began."""
    assert wanting(made, CATALOGUE, EN)["next"] == "Ask again once the calibration is changed."


def test_units_are_the_readers():
    """91 km/h is 57 mph, and 88 is 54."""
    found = wanting(near("missed", ("high", "road_speed", 91.0, 88.0)), CATALOGUE, EN, IMPERIAL)
    assert found["text"] == "19 s short. Road speed 57 mph against 54."


def test_a_signal_that_this_desk_does_not_know_is_named():
    """Defined in the customer's vehicle file: no unit and no title of it is known here."""
    assert said("missed", ("high", "knock_of_theirs", 5.0, 3.0))[0] == "19 s short. It was knock_of_theirs."
    assert said("missed", ("high", "theirs", 5.0, 3.0), swept="theirs")[0].startswith("came to 41 of 60.")
    never = [{"signal": "theirs", "low": 1.0, "high": None, "wander": None}]
    assert said("todo", never=never)[0] == "never begun."


@pytest.mark.parametrize("language", languages())
@pytest.mark.parametrize(("code", "signal"), [(c, s) for c in Code for s in SIGNALS if s is not None or c in ALONE])
def test_every_reason_has_its_words(code, signal, language):
    """Both sentences whole, nothing left to fill in; every language its own."""
    words = load_words(language)
    text, asks = said("missed", (code.value, signal, 3.0, 4.0), words=words)
    assert text.endswith(".")
    assert asks.endswith(".")
    assert "{" not in text + asks
    assert own_words(language)["desk"]["next"][code.value]
