"""Signals of one maker in the vehicle file: what becomes of a definition, and the sentence and line for a bad one."""

from __future__ import annotations

import pytest

from coach.catalogue import default_catalogue
from coach.errors import VehicleError
from coach.sources.link.wire import allowed
from coach.vehicle import parse_vehicle, vehicle_schema
from coach.vehicle.signals import MakerSignal, maker_signals

GOOD = """label = "The blue hatchback"

[signals.knock_retard]
title = "Knock retard, cylinder 1"
identifier = "203c"
length = 2
value = "s16(0) * 0.1"
unit = "deg"
min = "-30 deg"
max = "30 deg"
columns = ["Knock Retard #1"]

[signals.wastegate_duty]
identifier = "1074"
ecu = "7e1"
length = 1
scale = 0.392157
unit = "%"
min = "0 %"
max = "100 %"

[signals.charge_air_temp]
identifier = "1003"
length = 3
value = "u8(2) * 1.8 - 40"
unit = "degF"
min = "-40 degF"
max = "302 degF"

[signals.boost_target]
ecu = "18DA10F1"
identifier = "F40B"
length = 4
signed = true
scale = -0.5
offset = 12.25
unit = "psi gauge"
min = -5
max = "30 psi gauge"
"""


def test_definitions_become_signals_of_the_catalogue() -> None:
    good = GOOD.replace("min = -5", 'min = "-5 psi gauge"')
    car = parse_vehicle(good)
    catalogue = car.catalogue(default_catalogue())
    knock, duty, air, target = car.signals
    assert len(catalogue) == len(default_catalogue()) + 3
    assert [s.name for s in maker_signals(catalogue)] == [
        "charge_air_temp",
        "knock_retard",
        "wastegate_duty",
        "boost_target",
    ]
    assert (knock.title, knock.short, knock.unit, knock.quantity) == (
        "Knock retard, cylinder 1",
        "Knock",
        "deg",
        "angle",
    )
    assert (knock.low, knock.high, knock.stale_us, knock.inputs) == (-30, 30, 2_000_000, ())
    assert knock.identified is not None
    assert (knock.identified.identifier, knock.identified.header) == (0x203C, "7E0")
    assert knock.identified.decode(bytes.fromhex("FFCE")) == pytest.approx(-5.0)
    assert catalogue.by_column("knock retard #1") is knock
    assert catalogue.by_column("knock_retard_deg") is knock
    assert duty.title == "Wastegate duty"
    assert duty.short == "Wastegate"
    assert duty.identified is not None
    assert duty.identified.header == "7E1"
    assert duty.identified.decode(b"\xff") == pytest.approx(100, abs=1e-4)
    # A signal that the catalogue has keeps its name, words and usual reading, and gets this way and range.
    usual = default_catalogue()["charge_air_temp"]
    assert (air.title, air.reading, air.unit, air.stale_us) == (usual.title, usual.reading, "degC", usual.stale_us)
    assert (air.low, air.high) == (-40, 150)
    assert air.identified is not None
    assert air.identified.decode(bytes([0, 0, 140])) == pytest.approx((140 * 1.8 - 40 - 32) / 1.8)
    assert catalogue.by_column(usual.columns[0]) is air
    assert target.quantity == "pressure_gauge"
    assert target.identified is not None
    psi = -0.5 * -7 + 12.25
    assert target.identified.decode((-7).to_bytes(4, "big", signed=True)) == pytest.approx(psi * 6.894757, rel=1e-6)
    with pytest.raises(ValueError, match="takes 4 bytes"):
        target.identified.decode(b"\x00")


def test_a_car_without_any_leaves_the_catalogue_as_it_is() -> None:
    base = default_catalogue()
    assert parse_vehicle('label = "plain"').catalogue(base) is base


@pytest.mark.parametrize("header", [f"7E{n}" for n in range(8)] + ["18DA10F1", "DA18F1", "18dafff1"])
def test_every_header_that_is_taken_may_be_sent(header: str) -> None:
    """What the file allows, the gate in front of the adapter allows too."""
    car = parse_vehicle(GOOD.replace("7e1", header).replace("min = -5", 'min = "-5 psi gauge"'))
    reading = car.signals[1].identified
    assert reading is not None
    assert allowed(f"ATSH{reading.header.removeprefix('18')}")
    assert allowed(f"22{reading.identifier:04X}")


@pytest.mark.parametrize(
    ("old", "new", "where", "says"),
    [
        ("s16(0) * 0.1", "s16(1) * 0.1", "knock_retard.value, line 7", "it reads byte 2, and the answer has 2"),
        ("s16(0) * 0.1", "s16(0) * ", "knock_retard.value, line 7", "missing at its end"),
        ("s16(0) * 0.1", "s16(0) + 400", "knock_retard.max, line 10", None),
        ("s16(0) * 0.1", "u16(0) + 400", "knock_retard.value, line 7", "no answer gives a value between min and max"),
        ('"203c"', '"203"', "knock_retard.identifier, line 5", "four hex digits"),
        ('"203c"', "203", "knock_retard.identifier, line 5", "string"),
        ('ecu = "7e1"', 'ecu = "7DF"', "wastegate_duty.ecu, line 15", "7E0 to 7E7"),
        ('ecu = "7e1"', 'ecu = "750"', "wastegate_duty.ecu, line 15", "7E0 to 7E7"),
        ("length = 2", "length = 0", "knock_retard.length, line 6", "1 to 64 bytes"),
        ("length = 2", 'length = "2"', "knock_retard.length, line 6", "not a number"),
        ("length = 2", "lenght = 2", "knock_retard.lenght, line 6", "allowed are title, short, identifier"),
        ("length = 2\n", "", "knock_retard.length, line 3", "this key is missing"),
        ('unit = "deg"', 'unit = "kPa"', "knock_retard.unit, line 8", 'write "kPa abs" or "kPa gauge"'),
        ('unit = "deg"', 'unit = "furlong"', "knock_retard.unit, line 8", "not a unit"),
        ('unit = "degF"', 'unit = "kPa abs"', "charge_air_temp.unit, line 26", "does not fit charge_air_temp"),
        ('min = "-30 deg"', 'min = "-30"', "knock_retard.min, line 9", "has no unit"),
        ('max = "30 deg"', 'max = "-31 deg"', "knock_retard.max, line 10", "above min"),
        ("scale = 0.392157", "scale = 0", "wastegate_duty.scale, line 17", "every answer the same"),
        ("scale = 0.392157", "scale = inf", "wastegate_duty.scale, line 17", "not a number"),
        ("scale = 0.392157", 'scale = 1\nvalue = "u8(0)"', "wastegate_duty.value, line 18", "not both"),
        ("scale = 0.392157\n", "", "wastegate_duty, line 13", "give value or scale"),
        ("length = 1", "length = 5", "wastegate_duty.scale, line 17", "1 to 4 bytes"),
        ("signals.knock_retard", "signals.gauge_boost", "gauge_boost, line 3", "derived"),
        ("signals.knock_retard", "signals.Knock-1", "Knock-1, line 3", "small letters"),
        ('"1074"\necu = "7e1"', '"203C"', "wastegate_duty, line 13", "same identifier and another length"),
        ('title = "Knock retard, cylinder 1"', 'title = ""', "knock_retard.title, line 4", "at least 1 character"),
    ],
)  # fmt: skip
def test_what_cannot_be_decoded_is_refused_with_its_line(old: str, new: str, where: str, says: str | None) -> None:
    good = GOOD.replace("min = -5", 'min = "-5 psi gauge"')
    assert old in good
    text = good.replace(old, new, 1)
    if says is None:
        parse_vehicle(text)  # -32768 + 400 to 33167: some of it is in range
        return
    with pytest.raises(VehicleError) as caught:
        parse_vehicle(text, name="car.toml")
    assert caught.value.where == f"car.toml, signals.{where}"
    assert says in caught.value.message


def test_a_bare_number_is_no_pressure() -> None:
    with pytest.raises(VehicleError, match="has no unit") as caught:
        parse_vehicle(GOOD, name="car.toml")
    assert caught.value.where == "car.toml, signals.boost_target.min, line 38"


def test_too_many_are_refused() -> None:
    one = '[signals.s{n}]\nidentifier = "{n:04X}"\nlength = 1\nscale = 1\nunit = ""\nmin = 0\nmax = 255\n'
    parse_vehicle("".join(one.format(n=n) for n in range(64)))
    with pytest.raises(VehicleError, match="at most 64"):
        parse_vehicle("".join(one.format(n=n) for n in range(65)))


def test_the_schema_has_every_key() -> None:
    schema = vehicle_schema()
    assert set(schema["$defs"]["MakerSignal"]["properties"]) == set(MakerSignal.model_fields)
