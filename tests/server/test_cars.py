"""What is kept of a car between drives, and how it gets into the drive: facts, pedal, dial, units."""

from __future__ import annotations

import json
import threading

import pytest

from coach.facts import confirmed_revision, facts_of
from coach.server.cars import Car, Cars, DialRead, car_key, with_learned
from coach.shown import IMPERIAL
from coach.sources.base import Ended, Instant
from coach.store.model import DriveRow
from coach.vehicle import parse_vehicle
from coach.vehicle.model import Vehicle
from coach.vehicle.pedal_ends import PedalEnds

SOURCE = "replay:everything-qualifies"
PEDAL = PedalEnds(14.9, 85.1)
S = 1_000_000


def test_a_car_is_kept_and_changed(tmp_path):
    """A change keeps the rest; another car knows nothing of it; a folder of another program start has it still."""
    cars = Cars(tmp_path)
    assert cars.get("label Blue") == Car()
    cars.change("label Blue", facts={"octane": "98"})
    cars.change("label Blue", pedal=PEDAL, dial=DialRead(80.0, 86.0))
    assert Cars(tmp_path).get("label Blue") == Car({"octane": "98"}, None, PEDAL, DialRead(80.0, 86.0))
    assert cars.get("label Red") == Car()


@pytest.mark.parametrize(
    "body", ["", "[]", "{", '{"pedal": {"x": 1}}', '{"dial": {"reported_kmh": 80, "shows_kmh": 70}}']
)
def test_a_spoilt_file_is_as_none(tmp_path, body):
    """Nobody is kept from driving by it: it is asked and learned again."""
    cars = Cars(tmp_path)
    cars.change("label Blue", facts={"octane": "98"})
    next((tmp_path / "cars").iterdir()).write_text(body)
    assert cars.get("label Blue") == Car()


def test_a_car_is_told_by_its_label_else_by_its_place():
    assert car_key("link:0", Vehicle(label="Blue")) == "label Blue"
    assert car_key("link:0", Vehicle()) == car_key("link:0", None) == "source link:0"


def test_what_was_learned_stands_in_the_vehicle_file():
    """Before what the file says, with the rest of it untouched; a car without a file gets one."""
    body = b'label = "Blue"  # mine\n[pedal]\nreleased = "1 %"\nfloored = "99 %"\n'
    made = with_learned(body, Car(pedal=PEDAL, dial=DialRead(80.0, 86.0)), IMPERIAL)
    vehicle = parse_vehicle(made)
    assert (vehicle.label, vehicle.released_pct, vehicle.floored_pct, vehicle.units) == ("Blue", 14.9, 85.1, IMPERIAL)
    assert vehicle.dial is not None
    assert vehicle.dial.shows(80.0) == pytest.approx(86.0)
    assert b"# mine" in made
    assert parse_vehicle(with_learned(None, Car(), IMPERIAL)).units == IMPERIAL
    assert with_learned(body, Car(), None) == body
    assert with_learned(None, Car(), None) is None


# --- over the API


def test_facts_are_kept_and_stored_with_the_drive_once_confirmed(client, services, drive, recipe):
    """Declared once; each drive carries them, and whether a person confirmed them for this revision."""
    facts = {"octane": "98", "tyre_size": "225/45R17", "parts_changed": "none"}
    kept = client.post(f"/api/cars/{SOURCE}/facts", json={"facts": facts}).json
    assert kept["facts"] == facts
    assert kept["confirmed"] is None
    assert {one["name"] for one in kept["asked"]} >= {"fuel", "plug_gap", "same_road"}
    before = drive(SOURCE)
    marks = services.store.marks(before.id)
    assert (facts_of(marks), confirmed_revision(marks)) == (facts, None)
    after = drive(SOURCE, confirmed=True)
    assert confirmed_revision(services.store.marks(after.id)) == 2
    assert client.get(f"/api/cars/{SOURCE}").json["confirmed"] == recipe
    changed = client.post(f"/api/cars/{SOURCE}/facts", json={"facts": {"octane": "95", "tyre_size": ""}}).json
    assert changed["facts"] == {"octane": "95", "parts_changed": "none"}
    assert changed["confirmed"] is None, "what is new was confirmed for nothing yet"


@pytest.mark.parametrize(
    ("facts", "where"),
    [({"octane": "12"}, "facts.octane"), ({"colour": "blue"}, "facts.colour"), ({"fuel": "coal"}, "facts.fuel")],
)
def test_a_fact_that_cannot_be_gets_its_sentence(client, facts, where):
    answer = client.post(f"/api/cars/{SOURCE}/facts", json={"facts": facts})
    assert (answer.status_code, answer.json["error"]["where"]) == (400, where)
    assert client.get(f"/api/cars/{SOURCE}").json["facts"] == {}
    assert client.get("/api/cars/nothing").status_code == 404


def test_units_chosen_stand_in_the_drive(client, services, drive):
    """What the driver reads is in the stored vehicle file, so that everything read later says the same."""
    made = drive(SOURCE, units={"speed": "mph", "pressure": "psi", "temperature": "degF"})
    row: DriveRow = services.store.drive(made.id)
    assert parse_vehicle(row.vehicle).units == IMPERIAL
    window = client.get(f"/api/drives/{made.id}/windows/part-load/0").json
    assert {s["unit"] for s in window["signals"] if s["signal"] == "road_speed"} == {"mph"}


def test_sentences_come_in_the_units_asked_for(client, recipe):
    """The header X-Units; without it, or with nonsense in it, as before."""
    plain = client.get(f"/api/recipes/{recipe}").json["captures"][0]["sentence"]
    mph = client.get(f"/api/recipes/{recipe}", headers={"X-Units": "mph,psi,degF"}).json["captures"][0]["sentence"]
    assert "km/h" in plain
    assert "mph" in mph
    assert client.get(f"/api/recipes/{recipe}", headers={"X-Units": "x"}).json["captures"][0]["sentence"] == plain


class FakeCar:
    """A source that tells the pedal for some seconds."""

    kind = "link"

    def __init__(self, pedal, engine=0.0, speed=0.0, end=None):
        self.pedal, self.engine, self.speed, self.end = pedal, engine, speed, end

    def run(self, emit, stop, clock):
        """Four samples a second for five seconds."""
        if self.end is not None:
            emit(Ended("failed", self.end))
            return
        for n in range(20):
            value = self.pedal[n % len(self.pedal)]
            emit(Instant(n * S // 4, {"pedal": value, "engine_speed": self.engine, "road_speed": self.speed}))
        emit(Ended("finished"))


@pytest.fixture
def at_the_pedal(services, monkeypatch):
    """Says what the car tells in the next step."""

    def hold(*pedal, **more):
        monkeypatch.setattr(services.garage, "open", lambda source, speed: FakeCar(pedal, **more))

    return hold


def test_the_pedal_is_taught_in_four_steps_and_kept(client, services, drive, at_the_pedal):
    """Released and floored twice; then the drive's vehicle file has its ends."""
    readings = []
    for step, value in (("released", 14.9), ("floored", 85.1), ("released", 15.3), ("floored", 84.7)):
        at_the_pedal(value)
        answer = client.post(f"/api/cars/{SOURCE}/pedal/step", json={"step": step})
        assert answer.status_code == 200
        readings.append(answer.json["reading"])
    assert readings == [14.9, 85.1, 15.3, 84.7]
    kept = client.post(f"/api/cars/{SOURCE}/pedal", json={"readings": readings})
    assert kept.json["pedal"] == {"released": 15.1, "floored": 84.9}


def test_taught_ends_are_in_the_next_drive(client, services, drive):
    client.post(f"/api/cars/{SOURCE}/pedal", json={"readings": [15.1, 85.3, 15.5, 84.9]})
    made = drive(SOURCE)
    assert parse_vehicle(services.store.drive(made.id).vehicle).released_pct == 15.3


@pytest.mark.parametrize(
    ("held", "says"),
    [
        ({"engine": 800.0}, "the engine runs"),
        ({"speed": 3.0}, "the car moves"),
        ({"engine": float("nan")}, "switch the ignition on"),
        ({"end": "the adapter is silent"}, "the adapter is silent"),
    ],
)
def test_the_pedal_is_read_parked_with_the_engine_off(client, at_the_pedal, held, says):
    at_the_pedal(15.0, **held)
    answer = client.post(f"/api/cars/{SOURCE}/pedal/step", json={"step": "released"})
    assert answer.status_code == 400
    assert says in answer.json["error"]["message"]


def test_the_pedal_is_not_taught_during_a_drive(client, drive):
    made = drive(SOURCE, speed=1.0)
    assert client.post(f"/api/cars/{SOURCE}/pedal/step", json={"step": "released"}).status_code == 409
    made.finish()
    assert made.wait(60)


def test_the_dial_is_learned_at_a_steady_speed(client, services, drive, wait_for):
    """The passenger types what it shows; the next state is in the dial's numbers, and the next drive too."""
    made = drive(SOURCE, speed=60.0, role="passenger")
    typed = []

    def learned():
        # Sixty times as fast as life: the speed may move between the look and the answer, and then it is tried again.
        kmh = made.steady_kmh()
        if kmh is None or kmh <= 70:
            return False
        typed.append(round(kmh * 1.07))
        answer = client.post("/api/drives/current/dial", json={"shows": typed[-1]})
        assert answer.status_code in {200, 409}, answer.json
        return answer.status_code == 200

    wait_for(learned)
    shows = typed[-1]
    names = {row["name"] for row in services.state()["lead"]["rows"]} | {services.state()["lead"]["lane"]["name"]}
    assert "Speed" not in names  # a row of the road speed, where there is one now, is the dial's
    assert client.post("/api/drives/current/dial", json={"shows": 30}).status_code in {400, 409}
    made.finish()
    assert made.wait(60)
    kept = client.get(f"/api/cars/{SOURCE}").json["dial"]
    assert kept["shows_kmh"] == shows
    assert any(m.kind == "dial" for m in services.store.marks(made.id))
    again = drive(SOURCE)
    assert parse_vehicle(services.store.drive(again.id).vehicle).dial is not None
    assert next(m.text for m in services.store.marks(again.id) if m.kind == "dial").endswith(f"reads {shows} km/h")


def test_other_units_from_now_on(client, services, drive):
    made = drive(SOURCE, speed=1.0)
    assert client.post("/api/drives/current/read-as", json={"units": {"speed": "mph"}}).status_code == 200
    lead = services.state()["lead"]
    units = {row["unit"] for row in lead["rows"]} | {lead["lane"]["unit"]}
    assert "km/h" not in json.dumps(lead), units
    made.finish()
    assert made.wait(60)


def test_no_thread_is_left_by_a_reading(client, at_the_pedal):
    before = threading.active_count()
    at_the_pedal(15.0)
    client.post(f"/api/cars/{SOURCE}/pedal/step", json={"step": "released"})
    assert threading.active_count() == before


def test_a_car_that_tells_nothing_is_given_up():
    """After eight seconds by the clock: the ignition may be off, and that is said."""
    from coach.clock import HandClock
    from coach.errors import BadInput
    from coach.server.lesson import read_pedal
    from coach.sources.base import Advance

    class Silent:
        def run(self, emit, stop, hand):
            while True:
                hand.wait(stop, 1.0)
                emit(Advance(hand.steady_us()))

    hand = HandClock()
    with pytest.raises(BadInput, match="ignition on"):
        read_pedal(Silent(), hand)
    assert hand.now_us == 8 * S
