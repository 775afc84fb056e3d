"""`coach link`: what it finds at a virtual adapter, as text and as JSON, and one sentence when there is none."""

from __future__ import annotations

import json
import sys
from types import SimpleNamespace

import pytest
from click.testing import CliRunner

from coach.cli import main
from coach.sources.adapter import AdapterServer, Identity
from coach.sources.link import find as module
from coach.sources.link.find import find_paired, find_ports
from tests.link.wired import KNOCK_AND_WASTEGATE, table_car

RECIPE = """
format = 1
title = "Second revision"
revision = 1
[record]
engine_speed = "8 Hz"
oil_temp = "0.5 Hz"
[[capture]]
id = "a"
title = "Steady"
hold = "3 min"
[capture.keep]
road_speed = { min = "72 km/h", max = "88 km/h" }
"""


@pytest.fixture
def recipe(tmp_path):
    path = tmp_path / "request.toml"
    path.write_text(RECIPE)
    return str(path)


def run(*words):
    return CliRunner().invoke(main, ["link", *words])


def test_a_car_is_described_with_its_number_masked(recipe):
    identity = Identity(stored=("P0171",))
    with AdapterServer(table_car(identity=identity, answers={(1, 0x0C, 1): b"\x00\x04"}), ecus=2) as server:
        done = run("test", server.url, "--recipe", recipe)
    assert done.exit_code == 0, done.output
    text = done.stdout
    assert "Adapter         virtual adapter 1" in text
    assert "ISO 15765-4 (CAN, 11 bit, 500 kbit/s)" in text
    assert "Battery         12.6 V" in text
    assert identity.vin not in text
    assert f"Vehicle         *************{identity.vin[-4:]}" in text
    assert "COACH-ENGINE-01 (1791BC82), engine" in text
    assert "COACH-GEARBOX-1 (2A04D0F6)\n" in text
    assert "stored: P0171; pending: none" in text
    assert "6 signals a request" in text
    assert "0C      engine_speed             1726 rpm" in text
    assert "  engine_speed               asked 8 Hz, expected 8 Hz" in text
    assert "! oil_temp                   asked 0.5 Hz; the car does not offer it" in text


def test_the_same_as_json(recipe):
    with AdapterServer(table_car()) as server:
        done = run("test", server.url, "--recipe", recipe, "--json")
    found = json.loads(done.stdout)
    assert found["batch"] == 6
    assert found["voltage"] == 12.6
    assert {"signal": "engine_speed", "title": "Engine speed", "parameter": "0C", "value": 1726.0, "unit": "rpm"} in (
        found["signals"]
    )
    assert found["recipe"]["missing"] == ["oil_temp"]
    assert found["recipe"]["advice"] == ""
    assert found["refused"] == []
    assert "1C" in found["offered"]


def test_what_no_car_tells_needs_the_vehicle_file(tmp_path):
    """A gear is no fault of the car: without a vehicle file it is said where it comes from, with one it is there."""
    recipe, car = tmp_path / "request.toml", tmp_path / "car.toml"
    recipe.write_text(RECIPE + "gear = 5\n")
    car.write_text("rpm_per_kmh = { 5 = 24.9 }\n")
    with AdapterServer(table_car()) as server:
        without = run("test", server.url, "--recipe", str(recipe)).stdout
        told = run("test", server.url, "--recipe", str(recipe), "--vehicle", str(car)).stdout
    assert "! gear                       no car tells it: it is worked out from what the vehicle file says" in without
    assert "--vehicle" in without
    assert "  gear" not in told


def test_a_slow_car_gets_advice_and_what_cannot_be_used_is_said(tmp_path, monkeypatch):
    monkeypatch.setattr("coach.sources.adapter.session.KLINE_S", 0.02)
    recipe = tmp_path / "request.toml"
    recipe.write_text(RECIPE.replace("8 Hz", "80 Hz"))
    car = table_car(answers={(1, 0x0D): b"\x50\x00"}, identity=Identity(vin=""))
    with AdapterServer(car, bus="k-line") as server:
        done = run("test", server.url, "--recipe", str(recipe))
    assert done.exit_code == 0, done.output
    assert "does not tell its number" in done.stdout
    assert "one signal a request" in done.stdout
    assert "0D      cannot be used: An answer is 2 bytes long and not 1." in done.stdout
    assert "engine_speed too rarely" in done.stdout


def test_no_adapter_is_one_sentence():
    with AdapterServer(table_car()) as server:
        url = server.url
    for words in (("test", url), ("test", "http://x"), ("test", "/dev/there-is-no-such-port")):
        with pytest.raises(SystemExit) as ended:
            main.main(["link", *words])
        assert ended.value.code == 2


def port(device, description, vid=None, manufacturer=None):
    return SimpleNamespace(device=device, description=description, vid=vid, manufacturer=manufacturer)


def test_ports_that_look_like_adapters_come_first():
    ports = find_ports(
        lambda: [port("/dev/ttyS0", "n/a"), port("/dev/ttyUSB0", "FT232R", 0x0403, "FTDI"),
                 port("COM7", "Standard Serial over Bluetooth link")]
    )  # fmt: skip
    there = [(p.url, p.likely) for p in ports if "rfcomm" not in p.url]
    assert there == [("/dev/ttyUSB0", True), ("COM7", True), ("/dev/ttyS0", False)]
    assert {p.text for p in ports} >= {"FT232R, FTDI", "serial port"}


def test_find_says_how_to_reach_the_others(monkeypatch):
    monkeypatch.setattr(module.glob, "glob", lambda _: ["/dev/rfcomm0"])
    monkeypatch.setattr(module.sys, "platform", "linux")
    monkeypatch.setattr(module, "_system", lambda: [port("/dev/ttyS0", "n/a")])
    monkeypatch.setattr(module, "_said_by", lambda _: PAIRED)
    done = run("find")
    assert "paired" not in done.stdout.partition("Over Bluetooth")[0]
    assert "* /dev/rfcomm0" in done.stdout
    assert "  /dev/ttyS0" in done.stdout
    assert "coach link test PORT" in done.stdout
    assert "socket://192.168.0.10:35000" in done.stdout
    found = json.loads(run("find", "--json").stdout)
    assert found["ports"][0] == {"url": "/dev/rfcomm0", "text": "Bluetooth", "likely": True}
    monkeypatch.setattr(module.glob, "glob", lambda _: [])
    alone = run("find").stdout
    assert "* looks like an adapter" not in alone
    assert "try it all the same with: coach link test PORT" in alone
    monkeypatch.setattr(module, "_system", list)
    told = run("find").stdout
    assert "No serial port here" in told
    assert "* 00:1D:A5:68:98:8B    OBDII, paired over Bluetooth\n  7C:2F" in told
    assert "sudo rfcomm bind 0 00:1D:A5:68:98:8B; then coach link test /dev/rfcomm0" in told
    first = json.loads(run("find", "--json").stdout)["paired"][0]
    assert first == {"address": "00:1D:A5:68:98:8B", "name": "OBDII", "likely": True, "url": "/dev/rfcomm0",
                     "bind": "sudo rfcomm bind 0 00:1D:A5:68:98:8B"}  # fmt: skip


PAIRED = "Device 7C:2F:80:11:22:33 Headset\x1b[31m red\nDevice 00:1D:A5:68:98:8B OBDII\nDevice nonsense\n"


def test_paired_devices_without_a_port_are_listed_with_what_gives_them_one():
    """By the words of either version of the system's tool; control characters of a name are left out."""
    asked = []

    def older(words):
        asked.append(words)
        return PAIRED if words[1] == "paired-devices" else ""

    found = find_paired(older, taken=[])
    assert [(p.name, p.likely) for p in found] == [("OBDII", True), ("Headset[31m red", False)]
    assert asked == [("bluetoothctl", "devices", "Paired"), ("bluetoothctl", "paired-devices")]
    assert find_paired(lambda _: "Device 00:1D:A5:68:98:8B\n", taken=[])[0].name == "without a name"
    assert find_paired(older, taken=["/dev/rfcomm0"]) == []


def test_a_system_tool_that_is_missing_fails_or_hangs_is_nothing(monkeypatch):
    assert module._said_by(("there-is-no-such-tool",)) == ""
    assert module._said_by((sys.executable, "-c", "print(1); exit(1)")) == ""
    assert module._said_by((sys.executable, "-c", "print(1)")).strip() == "1"
    monkeypatch.setattr(module, "TOOL_S", 0.01)
    assert module._said_by((sys.executable, "-c", "input(); import time; time.sleep(9)")) == ""
    monkeypatch.setattr(module.sys, "platform", "win32")
    assert find_paired(taken=[]) == []


def test_the_systems_own_list_can_be_read():
    assert isinstance(find_ports(), list)


VEHICLE = (
    KNOCK_AND_WASTEGATE
    + """\
[rpm_per_kmh]
1 = 118.0
2 = 62.0
3 = 41.5
"""
)
PULL = """
format = 1
title = "Knock on the pull"
revision = 3
[record]
engine_speed = "8 Hz"
pedal = "8 Hz"
knock_retard = "4 Hz"
[[capture]]
id = "pull"
title = "Full pedal in second"
place = "closed course"
[capture.sweep]
engine_speed = { from = "2200 rpm", to = "4600 rpm", dip = "120 rpm", within = "15 s" }
[capture.keep]
pedal = { min = "80 %" }
gear = 2
[capture.limit]
knock_retard = { min = "-9 deg" }
"""


def test_signals_of_the_maker_and_what_a_sweep_needs(tmp_path):
    """Found by the vehicle file's identifiers; the sweep in second gear wants 6 Hz and 4 are asked."""
    vehicle, pull = tmp_path / "car.toml", tmp_path / "pull.toml"
    vehicle.write_text(VEHICLE)
    pull.write_text(PULL)
    with AdapterServer(table_car(answers={(0x22, 0x203C): bytes.fromhex("FFDD")})) as server:
        done = run("test", server.url, "--recipe", str(pull), "--vehicle", str(vehicle))
        found = json.loads(run("test", server.url, "--recipe", str(pull), "--vehicle", str(vehicle), "--json").stdout)
    assert done.exit_code == 0, done.output
    assert "  22 203C knock_retard             -3.5 deg" in done.stdout
    assert (
        "  22 1074 cannot be used: The car refuses the request: it does not have this identifier (31)." in done.stdout
    )
    assert "rises by about 761 rpm a second, so ask for knock retard at 6.1 Hz" in done.stdout
    assert found["recipe"]["sweeps"][0] == {
        "capture": "pull", "title": "Full pedal in second", "rise_rpm_s": 761, "need_hz": 6.09, "enough": False,
        "text": done.stdout.rstrip().rpartition("\n")[2],
    }  # fmt: skip
    assert {"parameter": "22 1074", "why": "The car refuses the request: it does not have this identifier (31)."} in (
        found["refused"]
    )


def test_without_the_vehicle_file_its_signals_are_unknown(tmp_path):
    pull = tmp_path / "pull.toml"
    pull.write_text(PULL)
    done = run("test", "socket://127.0.0.1:1", "--recipe", str(pull))
    assert done.exit_code == 2
    assert "knock_retard" in done.stderr


def test_another_tester_is_said_in_a_sentence():
    with AdapterServer(table_car()) as server:
        server.faults.now("other-tester", None)
        done = run("test", server.url)
    assert done.exit_code == 2
    assert "Another tester or program is talking to the car, so asking has stopped." in done.stderr
