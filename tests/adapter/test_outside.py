"""The dialect against a client that this project did not write: python-obd's parsers and its whole connection."""

from __future__ import annotations

import logging
import sys

import pytest

from coach.catalogue import default_catalogue
from coach.clock import Clock, HandClock
from coach.recording import from_pairs
from coach.sources.adapter import AdapterServer, Identity, RecordingCar, TableCar
from coach.sources.adapter.car import example_vin

obd = pytest.importorskip("obd", reason="python-obd is not installed: the dialect is not checked against it")
from obd import protocols  # noqa: E402 - only where it is installed
from obd.protocols import ECU  # noqa: E402

PARSERS = {
    3: protocols.ISO_9141_2,
    5: protocols.ISO_14230_4_fast,
    6: protocols.ISO_15765_4_11bit_500k,
    7: protocols.ISO_15765_4_29bit_500k,
}
VALUES = {
    "engine_speed": (obd.commands.RPM, 1726.0),
    "road_speed": (obd.commands.SPEED, 80.0),
    "coolant_temp": (obd.commands.COOLANT_TEMP, 83.0),
    "manifold_pressure": (obd.commands.INTAKE_PRESSURE, 99.0),
    "timing_advance": (obd.commands.TIMING_ADVANCE, 12.5),
    "mass_airflow": (obd.commands.MAF, 69.04),
    "short_trim_1": (obd.commands.SHORT_FUEL_TRIM_1, -3.125),
    "module_voltage": (obd.commands.CONTROL_MODULE_VOLTAGE, 13.812),
    "run_time": (obd.commands.RUN_TIME, 6904.0),
}


def driven():
    return RecordingCar(
        from_pairs([(0, name, value) for name, (_, value) in VALUES.items()]),
        default_catalogue(),
        HandClock(),
        identity=Identity(stored=("P0171", "C1234", "U0100", "B0011")),
    )


@pytest.fixture(params=PARSERS)
def parsed(request, talk):
    """Asks the adapter and gives python-obd's messages; headers are on, as that library wants them."""

    def make(*commands, ecus=2, pad=0xAA):
        t = talk(ecus=ecus, protocol=request.param, car=driven(), pad=pad).set(*commands, "ATH1")
        parser = PARSERS[request.param]([line.replace(" ", "") for line in t("0100")])
        return lambda text: parser([line.strip() for line in t(text)])

    make.can = request.param >= 6
    return make


on_can = pytest.mark.parametrize("parsed", [6, 7], indirect=True)


@pytest.mark.parametrize("spaces", ["ATS0", "ATS1"])
@pytest.mark.parametrize("pad", [None, 0x00, 0xAA, 0x55])
def test_units_and_single_values(parsed, spaces, pad):
    """Two units are told apart, the engine's is found, and the data are those that were encoded."""
    ask = parsed(spaces, pad=pad)
    engine, gearbox = ask("010C")
    assert engine.ecu == ECU.ENGINE
    assert gearbox.ecu != ECU.ENGINE
    assert bytes(engine.data)[:4] == bytes(gearbox.data)[:4] == bytes.fromhex("410C1AF8")


@on_can
def test_batches_over_several_frames(parsed):
    """Six parameters: three frames from the engine, one from the gearbox, in turn on the bus."""
    engine, gearbox = parsed()("010C0D0B0E0510")
    assert bytes(engine.data) == bytes.fromhex("410C1AF80D500B630E99057B101AF8")
    assert bytes(gearbox.data) == bytes.fromhex("410C1AF80D50")


def test_identity_over_several_frames(parsed):
    """Number of the car, calibration and codes put together from their frames."""
    ask = parsed()
    (number,) = ask("0902")
    start = 3 if parsed.can else 2
    assert bytes(number.data[start:]).strip(b"\0") == example_vin().encode()
    engine, gearbox = ask("0904")
    assert bytes(engine.data[start:]) == b"COACH-ENGINE-01\0"
    assert bytes(gearbox.data[start:]) == b"COACH-GEARBOX-1\0"
    assert bytes(ask("03")[0].data[2:10]) == bytes.fromhex("01715234C1008011")


def test_refusals_are_messages_too(parsed):
    """Clearing codes is turned down by each unit."""
    assert [bytes(m.data) for m in parsed()("04")] == [bytes.fromhex("7F0411")] * 2


@pytest.mark.parametrize("protocol", [6, 7])
def test_every_length_comes_together_again(talk, protocol):
    """ISO-TP over one to ten frames, the last one full or not."""
    bodies = {0xF400 + size: bytes(range(100, 100 + size)) for size in range(1, 67)}
    car = TableCar({(1, 0x05): b"\1", **{(0x22, name): body for name, body in bodies.items()}})
    t = talk(protocol=protocol, car=car).set("ATH1", "ATS0")
    parser = PARSERS[protocol](t("0100"))
    assert len(t("22F442")) == 10
    for name, body in bodies.items():
        (message,) = parser(t(f"22{name:04X}"))
        assert bytes(message.data) == bytes([0x62, name >> 8, name & 0xFF]) + body


def test_frame_numbers_wrap(talk):
    """Behind F comes 0, with headers and without."""
    car = TableCar({(1, 0x05): b"\1", (0x22, 0xF400): bytes(range(200))})
    t = talk(car=car).set("ATS0")
    assert [line[0] for line in t("22F400")[1:19]] == list("0123456789ABCDEF01")
    joined = "".join(line[2:] for line in t("22F400")[1:])
    assert t("22F400")[0] == "0CB"
    assert bytes.fromhex(joined)[:0xCB] == bytes.fromhex("62F400") + bytes(range(200))
    t.set("ATH1")
    assert [line[3:5] for line in t("22F400")][14:18] == ["2E", "2F", "20", "21"]


def test_without_flow_control_only_the_first_frame_comes(talk):
    """CFC0: nobody tells the unit to go on."""
    t = talk().set("ATH1", "ATS0", "ATCFC0")
    assert t("0902") == ["7E81014490201585858"]


def test_unformatted_the_sender_frames_by_hand(talk):
    """CAF0: the length byte is typed in and shown."""
    t = talk().set("ATCAF0", "ATS0")
    assert t("02010C") == ["04410C1AF8AAAAAA"]
    assert t("02010C0000000000") == ["04410C1AF8AAAAAA"]
    assert t("0000") == ["NO DATA"]


def test_only_wanted_headers_come_through(talk):
    """CRA with a full header or with places that may be anything; AR and an empty CRA lift it."""
    t = talk(ecus=2).set("ATH1", "ATS0", "ATCRA7E9")
    assert [line[:3] for line in t("010C")] == ["7E9"]
    assert [line[:3] for line in t.set("ATCRA7EX")("010C")] == ["7E8", "7E9"]
    assert t.set("ATCRA7E1")("010C") == ["NO DATA"]
    assert len(t.set("ATAR")("010C")) == len(t.set("ATCRA7E9", "ATCRA")("010C")) == 2


def test_a_count_behind_the_request_limits_the_answers(talk):
    """A last lone digit says how many answers are waited for."""
    t = talk(ecus=2)
    assert t("010C") == ["41 0C 1A F8 ", "41 0C 1A F0 "]
    assert t("010C1") == ["41 0C 1A F8 "]
    assert t("010C0") == ["41 0C 1A F8 ", "41 0C 1A F0 "]


def test_k_line_headers_have_their_checksum(talk):
    """Two forms: fixed header bytes, or one with the length; the last byte is the sum of all before."""
    fixed, counted = (talk(protocol=protocol).set("ATH1", "ATS0")("010C")[0] for protocol in (3, 5))
    assert (fixed[:6], counted[:6]) == ("486B10", "84F110")
    for line in map(bytes.fromhex, (fixed, counted)):
        assert line[-1] == sum(line[:-1]) & 0xFF


@pytest.fixture
def quiet():
    """Python-obd logs what it finds odd to a handler of its own."""
    obd.logger.setLevel(logging.CRITICAL)
    yield
    obd.logger.setLevel(logging.WARNING)


@pytest.fixture
def impatient(monkeypatch):
    """It waits whole seconds while it connects, whatever was answered already."""
    monkeypatch.setattr("obd.elm327.time.sleep", lambda seconds: None)


@pytest.mark.skipif(sys.platform == "win32", reason="it has no ptys")
@pytest.mark.parametrize("more", [{}, {"bits": 29, "ecus": 2}, {"bus": "k-line"}], ids=str)
def test_the_whole_library_connects_and_reads(quiet, impatient, more):
    """python-obd over a pty: it finds protocol, parameters and codes, and decodes what was encoded."""
    with AdapterServer(driven(), pty=True, clock=HandClock(), **more) as server:
        link = obd.OBD(server.url, baudrate=38400, fast=False, timeout=5)
        try:
            assert link.status() == obd.OBDStatus.CAR_CONNECTED
            assert link.protocol_id() == {"": "6", "bits": "7", "bus": "5"}[next(iter(more), "")]
            for command, value in VALUES.values():
                assert link.supports(command)
                assert link.query(command).value.magnitude == pytest.approx(value)
            assert not link.supports(obd.commands.FUEL_LEVEL)
            assert [code for code, _ in link.query(obd.commands.GET_DTC).value] == ["P0171", "C1234", "U0100", "B0011"]
            assert link.query(obd.commands.ELM_VOLTAGE).value.magnitude == pytest.approx(13.8)
            status = link.query(obd.commands.STATUS).value
            assert (status.MIL, status.DTC_count) == (True, 4)
        finally:
            link.close()


def test_it_connects_over_tcp_too(quiet, impatient):
    """The address as pyserial writes it, at the system's own clock."""
    with AdapterServer(driven(), clock=Clock()) as server:
        link = obd.OBD(server.url, baudrate=38400, fast=True, timeout=5)
        try:
            assert link.query(obd.commands.RPM).value.magnitude == 1726.0
            assert link.query(obd.commands.RPM).value.magnitude == 1726.0
        finally:
            link.close()
