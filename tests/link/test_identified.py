"""Signals of one maker on the link: asked by identifier, checked, decoded, timed; headers changed only when needed."""

from __future__ import annotations

from dataclasses import replace

import pytest

from coach.clock import US
from coach.core.afterwards import judge_recording
from coach.core.events import Code, Outcome
from coach.plan import resolve
from coach.plan.rates import asked_hz
from coach.recipe import parse_recipe
from coach.signals import Catalogue, Identified
from coach.sources.adapter import SimulatedCar, TableCar
from coach.sources.link.discover import Found, discover
from coach.sources.link.rates import model_of, pids_of
from coach.sources.link.source import LinkSource
from coach.sources.link.trouble import Failure
from coach.sources.simulator.scenarios import scenario
from coach.vehicle import parse_vehicle
from tests.link.test_source import Heard
from tests.link.test_supervision import Judged
from tests.link.wired import CATALOGUE, KNOCK_AND_WASTEGATE, URL, Rig, table_car

VEHICLE = (
    KNOCK_AND_WASTEGATE
    + """\
[signals.oil_temp]
identifier = "115C"
ecu = "7E1"
length = 1
value = "u8(0) - 60"
unit = "degC"
min = "-40 degC"
max = "190 degC"
"""
)
ANSWERS: dict[tuple[int, ...], bytes] = {
    (0x22, 0x203C): bytes.fromhex("FFDD"), (0x22, 0x1074): b"\x80", (0x22, 0x115C, 1): bytes([150]),
}  # fmt: skip


def catalogue(text: str = VEHICLE) -> Catalogue:
    return parse_vehicle(text).catalogue(CATALOGUE)


def rig(answers: dict[tuple[int, ...], bytes] | None = None, **more: object) -> Rig:
    car = table_car()
    return Rig(replace(car, answers={**car.answers, **(ANSWERS if answers is None else answers)}), ecus=2, **more)  # type: ignore[arg-type]


def test_they_are_found_with_their_values_beside_the_usual_ones() -> None:
    one = rig()
    car = discover(one.session(), catalogue())
    assert car.first_values["knock_retard"] == pytest.approx(-3.5)
    assert car.first_values["wastegate_duty"] == pytest.approx(50.2, abs=0.05)
    assert car.first_values["oil_temp"] == 90
    assert car.first_values["engine_speed"] == 1726
    assert car.refused == {}
    assert car.batch == 6
    keys = pids_of(car)
    assert len({keys[n] for n in ("knock_retard", "wastegate_duty", "oil_temp")}) == 3
    assert min(keys[n] for n in ("knock_retard", "wastegate_duty", "oil_temp")) > 0xFFFF


def test_the_engines_header_serves_its_parameters_too() -> None:
    """Nothing is changed from request to request where all is asked of the engine's control."""
    text = VEHICLE.partition("[signals.oil_temp]")[0]
    one = rig()
    car = discover(one.session(), catalogue(text))
    assert car.home == "7E0"
    assert car.alone_us == pytest.approx(car.single_us, abs=5_000)
    heard = drive(one, car, catalogue(text), {"engine_speed": 5.0, "knock_retard": 5.0}, 10.0)
    drive_from = len(one.heard) - one.heard[::-1].index("0100") - 1
    assert sum(line.startswith("ATSH") for line in one.heard[drive_from:]) == 1
    assert count(heard, "knock_retard") == pytest.approx(50, abs=3)
    assert count(heard, "engine_speed") == pytest.approx(50, abs=3)
    assert all(set(i.values) in ({"engine_speed"}, {"knock_retard"}) for i in heard.instants())


def test_where_the_engine_does_not_answer_its_own_header_the_usual_one_stays() -> None:
    one = rig()
    real = one.adapter.hear

    def hear(text: str, since_us: int) -> object:
        if text.startswith("01") and one.adapter.settings.header == "7E0":
            one.faults.now("no-data", 1)
        return real(text, since_us)

    one.adapter.hear = hear  # type: ignore[method-assign,assignment]
    car = discover(one.session(), catalogue())
    assert car.home == ""
    assert car.alone_us > 2 * car.single_us
    assert "engine_speed" in car.signals
    assert "knock_retard" in car.signals


def test_another_control_unit_is_asked_by_its_own_header_and_only_its_answer_counts() -> None:
    one = rig()
    car = discover(one.session(), catalogue())
    heard = drive(one, car, catalogue(), {"engine_speed": 5.0, "knock_retard": 2.0, "oil_temp": 1.0}, 10.0)
    assert count(heard, "oil_temp") == pytest.approx(10, abs=2)
    assert {i.values["oil_temp"] for i in heard.instants() if "oil_temp" in i.values} == {90.0}
    knocks = [i.values["knock_retard"] for i in heard.instants() if "knock_retard" in i.values]
    assert knocks == pytest.approx([-3.5] * len(knocks))
    headers = [line for line in one.heard if line.startswith("ATSH")]
    assert set(headers) == {"ATSH7E0", "ATSH7E1", "ATSH7DF"}


@pytest.mark.parametrize(
    ("answers", "why"),
    [
        ({}, "The car refuses the request: it does not have this identifier (31)."),
        ({(0x22, 0x203C): b"\x01"}, "An answer is 1 bytes long and not 2."),
        ({(0x22, 0x203C): b"\x01\x02\x03"}, "An answer is 3 bytes long and not 2."),
    ],
)  # fmt: skip
def test_what_the_car_does_not_have_as_defined_is_refused_with_the_reason(answers: dict, why: str) -> None:  # type: ignore[type-arg]
    one = rig(answers)
    car = discover(one.session(), catalogue())
    key = next(k for k in car.refused if k & 0xFFFF == 0x203C)
    assert car.refused[key] == why
    assert "knock_retard" not in car.signals
    assert "engine_speed" in car.signals


@pytest.mark.parametrize("fault", ["wrong-parameter", "foreign", "negative", "pending"])
def test_a_wrong_echo_a_stranger_and_a_refusal_are_no_values(fault: str) -> None:
    """The identifier that was asked for, from the unit that was asked, or nothing; more time is given."""
    one = rig()
    session = one.session()
    reading = catalogue()["knock_retard"].identified
    assert reading is not None
    assert session.identified(reading)[0] == bytes.fromhex("FFDD")
    one.faults.now(fault, 1)
    if fault == "pending":
        assert session.identified(reading)[0] == bytes.fromhex("FFDD")
        return
    with pytest.raises(Failure) as caught:
        session.identified(reading)
    assert caught.value.code == fault.replace("-", "_")


def test_long_headers_and_a_car_that_has_others() -> None:
    """29 bits: DA10F1; a car with short headers, or without CAN, cannot be addressed so, and that is said."""
    long = VEHICLE.replace('identifier = "203C"', 'identifier = "203C"\necu = "18DA10F1"').replace("7E1", "18DA18F1")
    one = rig(bits=29)
    car = discover(one.session(), catalogue(long))
    assert car.first_values["knock_retard"] == pytest.approx(-3.5)
    assert car.first_values["oil_temp"] == 90
    assert "cannot be addressed as 7E0" in next(iter(car.refused.values()))
    assert car.home == "DA10F1"
    assert "ATSHDA18F1" in one.heard
    car = discover(rig().session(), catalogue(long))
    assert "cannot be addressed as 18DA10F1" in " ".join(car.refused.values())
    car = discover(rig(bus="k-line").session(), catalogue())
    assert len(car.refused) == 3
    assert "engine_speed" in car.signals


def test_an_adapter_that_does_not_know_the_setting_costs_only_these_signals() -> None:
    one = rig()
    real = one.adapter.dialect.command
    one.adapter.dialect.command = lambda text: "?" if text.startswith("SH") else real(text)  # type: ignore[method-assign]
    car = discover(one.session(), catalogue())
    assert len(car.refused) == 3
    assert "engine_speed" in car.signals
    assert car.home == ""


def test_a_car_with_nothing_else_is_polled_for_these() -> None:
    bare = TableCar(dict(ANSWERS))
    one = Rig(bare, ecus=2)
    one.adapter.car = bare
    bare.answers[(1, 0x1C)] = b"\x06"  # type: ignore[index]
    car = discover(one.session(), catalogue())
    assert set(car.signals) == {"knock_retard", "wastegate_duty", "oil_temp"}
    assert model_of(car).single_us > 0


def test_one_identifier_may_carry_several_signals() -> None:
    """They come together, from one answer."""
    text = VEHICLE + VEHICLE[: VEHICLE.index("[signals.wastegate_duty]")].replace("knock_retard", "knock_two").replace(
        "s16(0) * 0.1", "u8(1) / 100"
    )
    one = rig()
    car = discover(one.session(), catalogue(text))
    heard = drive(one, car, catalogue(text), {"knock_retard": 4.0, "knock_two": 4.0}, 5.0)
    assert all(set(i.values) == {"knock_retard", "knock_two"} for i in heard.instants())
    assert one.heard.count("22203C") < 40


@pytest.mark.parametrize("number", [1, 2, 3, 4, 5, 9])
@pytest.mark.parametrize("fault", ["disconnect", "other-tester"])
def test_a_connection_that_ends_or_is_not_ours_alone_ends_the_look_wherever_it_is(number: int, fault: str) -> None:
    """While lengths are learned, headers tried, round trips measured."""
    one = rig()
    session = one.session()
    real, count = one.adapter.hear, [0]

    def hear(text: str, since_us: int) -> object:
        count[0] += text.startswith("22") or one.adapter.settings.header == "7E0"
        if count[0] >= number and text[:2] in {"01", "22"}:
            one.faults.now(fault, 1)
        return real(text, since_us)

    one.adapter.hear = hear  # type: ignore[method-assign,assignment]
    with pytest.raises(Failure) as caught:
        discover(session, catalogue())
    assert caught.value.code == {"disconnect": "disconnected", "other-tester": "occupied"}[fault]


def test_a_stored_signal_reads_its_formula() -> None:
    reading = Identified(0x1234, "7E0", 2, "u16(0) / 4", 0.5, -1.0)
    assert reading.decode(bytes.fromhex("0010")) == 1.0


RECIPE = """
format = 1
title = "Knock on the pull"
revision = 3
[record]
engine_speed = "8 Hz"
pedal = "8 Hz"
knock_retard = "8 Hz"
wastegate_duty = "4 Hz"
coolant_temp = "0.5 Hz"
[[capture]]
id = "pull"
title = "Full pedal in third"
place = "closed course"
[capture.sweep]
engine_speed = { from = "2200 rpm", to = "4600 rpm", dip = "120 rpm", within = "15 s" }
[capture.keep]
pedal = { min = "80 %" }
coolant_temp = { min = "80 degC" }
[capture.limit]
knock_retard = { min = "MIN deg" }
"""


@pytest.mark.slow
@pytest.mark.parametrize(("least", "outcome"), [(-9, Outcome.SECURED), (-2, Outcome.STOPPED)])
def test_a_recipe_with_knock_is_judged_through_the_adapter(least: int, outcome: Outcome) -> None:
    """The whole chain: defined, asked for, answered by the simulated car, decoded, judged; live as afterwards.

    The simulated car takes back up to 6 degrees near full boost.
    """
    known = catalogue(VEHICLE.partition("[signals.oil_temp]")[0])
    one = Rig(TableCar({}))
    car = SimulatedCar(scenario("everything-qualifies"), known, one.clock)
    one = Rig(car, clock=one.clock)
    found = discover(one.session(), known)
    car.restart()
    recipe = parse_recipe(RECIPE.replace("MIN", str(least)), name="r.toml", catalogue=known)
    plan = resolve(recipe, known, measured=frozenset(found.signals), people_recorded=False)
    source = LinkSource(URL, found, asked_hz(plan, known), known, one.open)
    judged = Judged(one, plan, scenario("everything-qualifies").recording().duration_us / US, {})
    source.run(judged.emit, judged.stop, one.clock)
    judged.judge.end()
    recording = judged.recording()
    attempts = judge_recording(plan, recording).attempts["pull"]
    outcomes = [a.outcome for a in attempts if not a.small]
    assert outcomes.count(outcome) == 2
    assert set(recording.series) >= {"knock_retard", "wastegate_duty"}
    assert recording.series["wastegate_duty"].value.max() > 70
    if outcome is Outcome.STOPPED:
        stopped = next(a for a in attempts if a.outcome is Outcome.STOPPED)
        assert stopped.reason is not None
        assert (stopped.reason.code, stopped.reason.signal) == (Code.LIMIT, "knock_retard")
        assert stopped.reason.value is not None
        assert stopped.reason.value < -2
    assert not source.troubles


def drive(one: Rig, car: Found, known: Catalogue, asked: dict[str, float], until_s: float) -> Heard:
    heard = Heard(one, until_s)
    LinkSource(URL, car, asked, known, one.open).run(heard.emit, heard.stop, one.clock)
    return heard


def count(heard: Heard, name: str) -> int:
    return sum(name in i.values for i in heard.instants())
