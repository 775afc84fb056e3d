"""The vehicle file: what loads, what follows from it, and the sentence for what does not."""

from __future__ import annotations

import json

import pytest

from coach.catalogue import default_catalogue
from coach.errors import BadInput, VehicleError
from coach.shown import Units
from coach.vehicle import PedalTravel, Vehicle, load_vehicle, parse_vehicle, rpm_per_kmh, vehicle_schema
from coach.vehicle.gear import GearDerivation
from coach.vehicle.tyre import circumference_m, outer_diameter_mm

WHOLE = """
label = "The blue one"
transmission = "manual"
fuel = "petrol"
induction = "turbocharged"
idle_speed = "800 rpm"
rev_limit = "6500 rpm"
mass = "1450 kg"
speed_delay = "200 ms"
[gearbox]
ratios = { 1 = 3.5, 2 = 1.036 }
final_drive = 3.94
[tyre]
size = "225/45R17"
circumference = "1934.6 mm"
[pedal]
released = "14.9 %"
floored = "85.1 %"
[units]
system = "imperial"
pressure = "bar"
"""


ALLOWED = (
    'car, colour: "colour" is not a key here; allowed are label, transmission, fuel, induction, '
    "hybrid, start_stop, idle_speed, rev_limit, mass, range, speed_delay, rpm_per_kmh, gearbox, tyre, road_load, "
    "rotating, driveline, full_load, pedal, dial, fixed_barometric, manifold_pressure_bytes, offers, units"
)


def test_whole_file(tmp_path):
    """Every key comes out in the catalogue's units, and the file is kept as received."""
    path = tmp_path / "car.toml"
    path.write_text(WHOLE)
    car = load_vehicle(path)
    assert (car.label, car.transmission, car.fuel, car.induction) == (
        "The blue one",
        "manual",
        "petrol",
        "turbocharged",
    )
    assert (car.idle_rpm, car.rev_limit_rpm, car.mass_kg, car.delay_us) == (800, 6500, 1450, 200_000)
    assert (car.released_pct, car.floored_pct) == (14.9, 85.1)
    assert car.units == Units("mph", "bar", "degF")
    assert car.source == WHOLE.encode()
    gear, pedal = car.derivations()
    assert isinstance(gear, GearDerivation)
    assert (gear.name, gear.delay_us, gear.least_rpm) == ("gear", 200_000, pytest.approx(880))
    assert pedal == PedalTravel(14.9, 85.1)


def test_speed_in_gear():
    """3000 rpm, gear 1.036, final drive 3.94, 1934.6 mm: 85.312 km/h (arithmetic)."""
    assert parse_vehicle(WHOLE).kmh(2, 3000) == pytest.approx(85.312, abs=0.0005)
    assert 3000 / rpm_per_kmh(1.036, 3.94, 1.9346) == pytest.approx(85.312, abs=0.0005)


def test_tyre_size():
    """225/45R17: outer diameter 634.3 mm (ETRTO), 1934.6 mm around (package co2mpas: 3.05 times the diameter)."""
    assert outer_diameter_mm("225/45R17") == pytest.approx(634.3, abs=0.01)
    assert circumference_m("225/45 R17 91W") == pytest.approx(1.9346, abs=0.0001)
    assert circumference_m("P225/45ZR17") == circumference_m("225/45R17")


def test_empty_file():
    """Nothing is known, nothing is derived, and that is no error."""
    car = parse_vehicle("")
    assert car == Vehicle()
    assert car.derivations() == ()


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ('colour = "red"', ALLOWED),
        ('[tyre]\nsizes = "x"', 'car, tyre.sizes: "sizes" is not a key here; allowed are size, circumference'),
        ('[units]\nmass = "x"', 'car, units.mass: "mass" is not a key here; allowed are system, '),
        ("idle_speed = 800", "car, idle_speed: 800 is not text: write it in quotes, with its unit if it has one"),
        ('idle_speed = "800 kPa"', "car, idle_speed: "),
        ('idle_speed = "0 rpm"', 'car, idle_speed: "0 rpm" is not an engine speed between 0 and 20000 rpm'),
        ('idle_speed = "800 rpm"\nrev_limit = "700 rpm"', "car, rev_limit: the rev limit must be above the idle speed"),
        ('speed_delay = "3 s"', "car, speed_delay: a road speed more than 2 s late cannot be used"),
        ('mass = "1450"', 'car, mass: "1450" is not a mass: one number above 0 in kg or t or lb'),
        ('mass = "0 kg"', 'car, mass: "0 kg" is not a mass'),
        ('[tyre]\nsize = "big"', 'car, tyre.size: "big" is not a tyre size: write it as on its side, "225/45R17"'),
        ('[tyre]\ncircumference = "19 mm"', "car, tyre.circumference: a tyre's circumference lies between"),
        ("[gearbox]\nratios = { 1 = 3.5 }\nfinal_drive = 4", "car, gearbox: gearbox needs the tyre too"),
        ("[gearbox]\nratios = { 1 = 3.5 }", "car, gearbox.final_drive: this key is missing"),
        ('[tyre]\nsize = "225/45R17"\n[gearbox]\nratios = { 1 = 3.5 }\nfinal_drive = { 2 = 4 }',
         "car, gearbox.final_drive: final_drive by gear must name the gears that ratios names"),
        ("rpm_per_kmh = { 1 = 100 }\n[gearbox]\nratios = { 1 = 3.5 }\nfinal_drive = 4", "car, gearbox: give either"),
        ("rpm_per_kmh = { 0 = 100 }", 'car, rpm_per_kmh.0: "0" is not a gear: a whole number from 1 to 12'),
        ("rpm_per_kmh = { first = 100 }", 'car, rpm_per_kmh.first: "first" is not a gear'),
        ('rpm_per_kmh = { 1 = "100" }', 'car, rpm_per_kmh.1: "100" is not a number above 0'),
        ("rpm_per_kmh = { 1 = -1 }", "car, rpm_per_kmh.1: -1 is not a number above 0"),
        ("rpm_per_kmh = { 1 = nan }", "car, rpm_per_kmh.1: NaN is not a number above 0"),
        (f"rpm_per_kmh = {{ 1 = {10**400} }}", "car, rpm_per_kmh.1: "),
        ("rpm_per_kmh = { 1 = 50, 2 = 60 }", "car, rpm_per_kmh: each gear's ratio must be smaller"),
        ("rpm_per_kmh = {}", "car, rpm_per_kmh: there is no gear in it"),
        ('[pedal]\nreleased = "80 %"\nfloored = "20 %"', "car, pedal: the floored pedal must read more"),
        ('transmission = "auto"', "car, transmission: \"auto\" is not one of 'manual', 'dual-clutch'"),
        ("pedal = 3", "car, pedal: 3 is not a table"),
        (f'label = "{"x" * 81}"', "car, label: this is longer than 80 characters"),
        ("label = ", "car: this is not TOML: "),
        ("label = " + "[" * 50_000, "car: this is not TOML: tables or lists are nested too deeply"),
        ("a." * 2000 + "a = 1", "car: this is not TOML: tables or lists are nested too deeply"),
        (f"mass = {'9' * 5000}", "car: this is not TOML: a number has too many digits"),
        (b"label = '\xff'", "car: this is not text in UTF-8"),
        ('hybrid = "no"', 'car, hybrid: "no" is neither true nor false'),
        ('offers = "pedal"', 'car, offers: "pedal" is not a list'),
        ('offers = ["Pedal"]', 'car, offers.0: "Pedal" is not the name of a signal'),
        ("rotating = 2.0", "car, rotating: 2.0 is not a share between 0 and 1"),
        ('driveline = "40 %"', "car, driveline: between 50 and 100 % of the power"),
        ('range = "5 km"', "car, range: a tank takes a car between 10 and 5000 km"),
        ('fixed_barometric = "9 kPa"', "car, fixed_barometric: the air's own pressure lies between"),
        ('dial = { reported = "20 km/h", shows = "22 km/h" }', "car, dial: read the dial at 30 km/h or faster"),
        ('dial = { reported = "80 km/h", shows = "78 km/h" }', "car, dial: a dial does not read low"),
        ('dial = { reported = "80 km/h", shows = "94 km/h" }', "car, dial: no dial reads that much high"),
        ('[road_load]\nconstant = "165 N"', "car, road_load: constant and square are both needed"),
        ('[road_load]\nrolling = 0.011', "car, road_load: give constant and square, or drag_area and rolling"),
        ('[road_load]\nconstant = "165 N"\nrolling = 0.011', "car, road_load: give either the three"),
        ('[road_load]\ndrag_area = "0.6 m2"\nrolling = 0.011', "car, road_load.rolling: a rolling coefficient needs"),
        ('mass = "1 t"\n[road_load]\ndrag_area = "0.6 m2"\nrolling = 0.3', "car, road_load.rolling: a rolling coeff"),
        ('[road_load]\nconstant = "165"\nsquare = "1 N"', 'car, road_load.constant: "165" is not a force: one number'),
        ("[full_load]\nrpm = [1000, 2000]", "car, full_load: give one of power_kw and torque_nm"),
        ("[full_load]\nrpm = [1000, 2000]\npower_kw = [1]", "car, full_load.power_kw: one number is needed"),
        ("[full_load]\nrpm = [2000, 1000]\npower_kw = [1, 2]", "car, full_load.rpm: engine speeds must rise"),
    ],
)  # fmt: skip
def test_one_sentence(text, sentence):
    """What is wrong, where, and what would be right."""
    with pytest.raises(BadInput) as caught:
        parse_vehicle(text, name="car")
    assert str(caught.value).startswith(sentence)
    assert "\n" not in str(caught.value)


def test_file_that_cannot_be_read(tmp_path):
    """A missing file and one that is far too large are sentences too."""
    with pytest.raises(VehicleError, match="cannot be read"):
        load_vehicle(tmp_path / "none.toml")
    (tmp_path / "large.toml").write_bytes(b"#" * 300_000)
    with pytest.raises(VehicleError, match="too large"):
        load_vehicle(tmp_path / "large.toml")


def test_final_drive_by_gear():
    """A box with two final drives gives each gear its own."""
    car = parse_vehicle(
        'tyre = { circumference = "2 m" }\ngearbox = { ratios = { 1 = 3, 2 = 2 }, final_drive = { 1 = 4, 2 = 3 } }'
    )
    assert car.ratios == pytest.approx({1: 100.0, 2: 50.0})


def test_schema_is_json():
    """The schema names every key and refuses others."""
    schema = json.loads(json.dumps(vehicle_schema()))
    assert schema["additionalProperties"] is False
    assert {"label", "gearbox", "rpm_per_kmh", "pedal", "units"} <= set(schema["properties"])


def test_what_drives_and_what_holds_back():
    """Road load in newtons by km/h, the full-load curve in kilowatts, shares as shares, the rest as given."""
    car = parse_vehicle(
        """
        hybrid = false
        start_stop = true
        mass = "1460 kg"
        range = "340 mi"
        rotating = 0.03
        driveline = "92 %"
        fixed_barometric = "0.986 bar"
        offers = ["engine_speed", "road_speed"]
        dial = { reported = "80 km/h", shows = "84 km/h" }
        [road_load]
        constant = "165 N"
        linear = "0.6 N/(km/h)"
        square = "0.034 N/(km/h)^2"
        [full_load]
        rpm = [1000, 2000.5]
        power_kw = [20, 50]
        """
    )
    assert (car.hybrid, car.start_stop, car.rotating, car.driveline) == (False, True, 0.03, 0.92)
    assert car.range_km == pytest.approx(547.18, abs=0.01)
    assert car.road_load.at(100) == pytest.approx(165 + 60 + 340)
    assert car.full_load_kw == ((1000, 20), (2000.5, 50))
    assert car.dial.shows(100) == pytest.approx(105)
    assert car.offers == {"engine_speed", "road_speed"}
    assert [way.inputs for way in car.stand_ins()] == [("manifold_pressure",)]
    assert Vehicle().stand_ins() == ()


def test_road_load_from_drag_area_and_rolling():
    """0.011 x 1460 kg x 9.80665 is 157.5 N; 0.65 m2 x 1.2 kg/m3 / 2 at 100 km/h (27.78 m/s) is 300.9 N (arithmetic)."""
    car = parse_vehicle('mass = "1460 kg"\nroad_load = { drag_area = "0.65 m2", rolling = 0.011 }')
    assert car.road_load.at(0) == pytest.approx(157.5, abs=0.05)
    assert car.road_load.at(100) == pytest.approx(157.5 + 300.9, abs=0.1)


def test_torque_becomes_power():
    """200 N.m at 3000 rpm are 62.83 kW (arithmetic); between points torque runs linearly, so power does not."""
    car = parse_vehicle("full_load = { rpm = [1000, 3000], torque_nm = [100, 200] }")
    curve = dict(car.full_load_kw)
    assert curve[3000] == pytest.approx(62.83, abs=0.01)
    assert curve[2000] == pytest.approx(150 * 2000 * 3.14159265 / 30_000, abs=0.01)


def test_transmissions():
    """A converter may slip by 12 %; a continuously variable transmission has a speed ratio and never a gear."""
    ratios = "rpm_per_kmh = { 1 = 110, 2 = 60 }\n"
    assert parse_vehicle(ratios).derivations()[0].slip == 0
    assert parse_vehicle(ratios + 'transmission = "dual-clutch"').derivations()[0].slip == 0
    assert parse_vehicle(ratios + 'transmission = "automatic"').derivations()[0].slip == 0.12
    assert [way.name for way in parse_vehicle(ratios + 'transmission = "CVT"').derivations()] == ["speed_ratio"]


def test_manifold_pressure_in_two_bytes():
    """A car that gives it so is planned for beyond 255 kPa; one or two, nothing else."""
    base = default_catalogue()
    wide = parse_vehicle("manifold_pressure_bytes = 2").catalogue(base)["manifold_pressure"]
    assert wide.ceiling == pytest.approx(65535 / 32)
    assert parse_vehicle("manifold_pressure_bytes = 1").catalogue(base)["manifold_pressure"].ceiling == 255
    with pytest.raises(VehicleError, match="manifold_pressure_bytes"):
        parse_vehicle("manifold_pressure_bytes = 4")
