from __future__ import annotations

import pytest

from coach.catalogue import default_catalogue, wide_manifold_pressure
from coach.clock import US, HandClock
from coach.errors import BadInput
from coach.recording import from_pairs
from coach.sources.adapter import Identity, RecordingCar, SimulatedCar
from coach.sources.adapter.services import BITMAPS
from coach.sources.simulator import scenario

CATALOGUE = default_catalogue()
S = US


@pytest.fixture
def clock():
    return HandClock(now_us=5_000 * S)


def value(car, name):
    """A signal as a client decodes it, or None."""
    reading = CATALOGUE[name].reading
    data = car.answer(1, reading.pid, 0)
    return None if data is None else reading.decode(data)


def recording(**more):
    fast = [(k * 100_000, "engine_speed", 800.0 + k) for k in range(51)]
    slow = [(k * S, "coolant_temp", 80.0 + k) for k in range(6)]
    return from_pairs([*fast, *slow, (0, "adapter_voltage", 13.9), (0, "lambda_1", 0.99)], **more)


def test_a_recorded_drive_is_repeated_from_the_first_value_asked_for(clock):
    """Connecting costs nothing of it; between samples a value stays as it was."""
    car = RecordingCar(recording(), CATALOGUE, clock)
    clock.now_us += 60 * S
    assert car.offers(1, 0) == {0x01, 0x05, 0x0C, 0x1C, 0x24}
    assert car.answer(9, 2, 0) is not None
    assert value(car, "engine_speed") == 800.0
    clock.now_us += 1_250_000
    assert (value(car, "engine_speed"), value(car, "coolant_temp")) == (812.0, 81.0)
    clock.now_us += 2 * S
    assert (value(car, "engine_speed"), value(car, "coolant_temp")) == (832.0, 83.0)


@pytest.mark.parametrize(("after", "rpm"), [("hold", 850.0), ("again", 800.0), ("off", None)])
def test_when_the_drive_is_over(clock, after, rpm):
    """The car stays as it is, drives once more, or is switched off."""
    car = RecordingCar(recording(), CATALOGUE, clock, after=after)
    value(car, "engine_speed")
    clock.now_us += 9 * S
    assert value(car, "engine_speed") == rpm
    assert bool(car.offers(1, 0)) == (rpm is not None)
    assert car.volts() == 13.9


def test_a_drive_can_be_begun_anew_and_go_by_faster(clock):
    car = RecordingCar(recording(), CATALOGUE, clock, speed=2.0)
    value(car, "engine_speed")
    clock.now_us += 1 * S
    assert value(car, "engine_speed") == 820.0
    car.restart()
    assert value(car, "engine_speed") == 800.0


def test_a_gap_of_the_recording_is_a_car_that_does_not_answer(clock):
    """Where nothing was recorded for longer than two seconds nothing is known, so nothing is said."""
    pairs = [(k * S, "road_speed", 50.0) for k in (0, 1, 2, 8, 9)]
    car = RecordingCar(from_pairs(pairs), CATALOGUE, clock)
    seen = []
    for _ in range(10):
        seen.append(value(car, "road_speed"))
        clock.now_us += S
    assert seen == [50.0, 50.0, 50.0, None, None, None, None, None, 50.0, 50.0]


def test_a_sample_that_could_not_be_read_is_no_answer(clock):
    """NaN in the recording."""
    car = RecordingCar(from_pairs([(0, "road_speed", float("nan")), (1, "engine_speed", 900.0)]), CATALOGUE, clock)
    assert value(car, "road_speed") is None
    assert value(car, "engine_speed") == 900.0


def test_a_drive_without_any_parameter_is_refused(clock):
    """A gear alone cannot be asked for."""
    with pytest.raises(BadInput, match="no signal that a car could be asked for"):
        RecordingCar(from_pairs([(0, "gear", 5.0), (0, "unheard_of", 1.0)]), CATALOGUE, clock)
    with pytest.raises(BadInput, match="a number above 0"):
        RecordingCar(recording(), CATALOGUE, clock, speed=0.0)


def test_other_parameters_of_a_signal(clock):
    """A car whose first sensor answers as 34 instead of 24; and manifold pressure in two bytes."""
    car = RecordingCar(recording(), CATALOGUE, clock, prefer={0x34})
    assert car.offers(1, 0) == {0x01, 0x05, 0x0C, 0x1C, 0x34}
    assert car.answer(1, 0x34, 0) == bytes.fromhex("7EB88000")
    wide = CATALOGUE.with_signals([wide_manifold_pressure()])
    car = RecordingCar(from_pairs([(0, "manifold_pressure", 281.5)]), wide, clock)
    assert car.answer(1, 0x87, 0) == bytes([1, *round(281.5 * 32).to_bytes(2, "big"), 0, 0])


def test_monitors_codes_and_freeze_frame(clock):
    """Lamp and count follow the stored codes; the frame kept with the first of them is the drive's beginning."""
    who = Identity(stored=("P0171", "P0300"))
    car = RecordingCar(recording(), CATALOGUE, clock, identity=who)
    assert car.answer(1, 0x01, 0) == bytes.fromhex("82076100")
    assert car.answer(1, 0x01, 1) == bytes.fromhex("00076100")
    assert car.answer(1, 0x1C, 0) == b"\x06"
    assert car.answer(3, 0, 0) == bytes.fromhex("01710300")
    assert car.answer(3, 0, 1) == b""
    clock.now_us += 3 * S
    assert car.answer(2, 0x02, 0) == bytes.fromhex("0171")
    assert car.answer(2, 0x0C, 0) == bytes.fromhex("0C80")
    assert car.answer(2, 0x11, 0) is None
    assert car.answer(2, 0x0C, 1) is None
    assert car.offers(2, 0) == {0x02, 0x05, 0x0C, 0x24}
    sound = RecordingCar(recording(), CATALOGUE, clock)
    assert sound.answer(2, 0x02, 0) == b"\0\0"
    assert sound.answer(2, 0x0C, 0) is None
    assert sound.offers(2, 0) == {0x02}


def test_the_second_unit_is_a_gearbox(clock):
    """It knows speeds and gear, not the coolant."""
    car = RecordingCar(recording(), CATALOGUE, clock)
    assert car.offers(1, 1) == {0x01, 0x0C, 0x1C}
    assert car.answer(1, 0x0C, 1) == car.answer(1, 0x0C, 0)
    assert car.answer(1, 0x05, 1) is None
    assert car.answer(9, 0x0A, 1).startswith(b"TCM")
    assert car.answer(9, 0x0A, 7) is None


def test_answers_beside_the_signals(clock):
    """Identifiers of mode 22 are handed in as they are; unit 0 gives them."""
    car = RecordingCar(recording(), CATALOGUE, clock, more={(0x22, 0xF190): b"abc", (0x01, 0x9D): b"\1\2\3\4"})
    assert car.answer(0x22, 0xF190, 0) == b"abc"
    assert car.answer(0x22, 0xF190, 1) is None
    assert 0x9D in car.offers(1, 0)
    assert 0x9D not in car.offers(1, 1)


def test_supply_without_a_signal_of_it(clock):
    """A running car charges; one that is switched off does not."""
    car = RecordingCar(from_pairs([(0, "road_speed", 1.0)]), CATALOGUE, clock, after="off")
    value(car, "road_speed")
    assert car.volts() == 14.1
    clock.now_us += S
    assert car.volts() == 12.4


def test_everything_offered_is_answered(clock):
    """Whatever the bitmaps promise has an answer, for each unit and mode."""
    car = RecordingCar(scenario("wrong-gear").recording(), CATALOGUE, clock, identity=Identity(stored=("P0171",)))
    promised = [(mode, pid, ecu) for mode in (1, 2, 9) for ecu in (0, 1) for pid in car.offers(mode, ecu) - BITMAPS]
    assert len(promised) > 30
    assert all(car.answer(*one) is not None for one in promised)


def test_the_simulated_car_follows_its_script(clock):
    """It idles, sets off and holds its speed; the same script again begins where it began."""
    car = SimulatedCar(scenario("wrong-gear"), CATALOGUE, clock, after="again")
    assert (value(car, "road_speed"), value(car, "coolant_temp")) == (0.0, 85.0)
    assert value(car, "lambda") if CATALOGUE["lambda"].reading else True
    clock.now_us += 60 * S
    assert 76 <= value(car, "road_speed") <= 84
    car.restart()
    assert value(car, "road_speed") == 0.0
    clock.now_us += 60 * S
    assert 76 <= value(car, "road_speed") <= 84
    clock.now_us += 600 * S
    value(car, "road_speed")
    assert value(car, "road_speed") == 0.0


def test_the_simulated_car_is_switched_off_at_the_end(clock):
    car = SimulatedCar(scenario("wrong-gear"), CATALOGUE, clock, after="off", speed=1_000.0)
    value(car, "road_speed")
    clock.now_us += S
    assert value(car, "road_speed") is None
    assert car.offers(1, 0) == frozenset()


def test_a_lost_link_of_the_script_is_a_car_that_does_not_answer(clock):
    """The scenario `dropout` is silent for six seconds."""
    car = SimulatedCar(scenario("dropout"), CATALOGUE, clock)
    seen = []
    for _ in range(1_400):
        seen.append(value(car, "road_speed") is not None)
        clock.now_us += S // 10
    assert 58 <= seen.count(False) <= 62
    assert seen[0]
    assert seen[-1]
