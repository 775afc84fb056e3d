"""`coach adapter`: started as a person starts it, spoken to, and ended with Ctrl-C."""

from __future__ import annotations

import re
import signal
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from coach.cli import cmd_adapter, main
from coach.clock import HandClock
from coach.errors import CoachError
from coach.sources.adapter import RecordingCar, SimulatedCar
from tests.adapter.peer import Peer
from tests.cli.programs import running

ROOT = Path(__file__).parents[2]
UNTIL = "Ctrl-C"


def test_it_says_where_it_is_and_answers():
    """A port, a control line and a fault in store; latency by the real clock."""
    words = ("--port", 0, "--control", 0, "--latency", "1ms", "--jitter", "0ms", "--fault", "can-error")
    with running("adapter", *words, until=UNTIL) as said:
        address, control = re.findall(r"socket://\S+", said)
        assert address != control
        with Peer(address) as peer:
            peer.ask("ATE0")
            assert peer.ask("010C") == b"CAN ERROR\r\r"
            assert peer.ask("010D") == b"SEARCHING...\r41 0D 00 \r\r"


@pytest.mark.skipif(sys.platform == "win32", reason="it has no ptys")
def test_a_pseudo_terminal_is_a_path():
    """It can be opened as a serial port is."""
    words = ("--pty", "--bits", "29", "--ecus", "2", "--latency", "0 ms", "--jitter", "0 ms")
    with running("adapter", *words, until=UNTIL) as said, Peer(re.search(r"is at (\S+)", said)[1]) as peer:
        peer.ready()
        peer.ask("ATH1")
        assert peer.ask("010D") == b"18 DA F1 10 03 41 0D 00 AA AA AA AA \r18 DA F1 18 03 41 0D 00 AA AA AA AA \r\r"
        assert peer.ask("ATI") == b"virtual adapter 1\r\r"


@pytest.fixture
def started(monkeypatch):
    """Runs the command up to the point where it would wait, and gives its servers."""
    made = []

    class Once:
        def __init__(self, car, **settings):
            made.append((car, settings))

        def start(self):
            return "socket://127.0.0.1:1"

        def stop(self):
            made.append("stopped")

    @cmd_adapter.contextmanager
    def at_once():
        stop = cmd_adapter.threading.Event()
        stop.set()
        yield stop

    monkeypatch.setattr("coach.sources.adapter.AdapterServer", Once)
    monkeypatch.setattr(cmd_adapter, "_signals", at_once)
    return made


def test_options_reach_the_adapter(started):
    """Times in their units, headers as a number, faults in their order; it is stopped in the end."""
    words = [
        "--latency",
        "60ms",
        "--jitter",
        "0.005 s",
        "--bits",
        "29",
        "--ecus",
        "2",
        "--bus",
        "can",
        "--seed",
        "4",
        "--each",
        "3 ms",
    ]
    faults = ["--fault", "silence@60x3", "--fault", "late"]
    done = CliRunner().invoke(main, ["adapter", *words, *faults, "--scenario", "dropout"], standalone_mode=False)
    assert done.exception is None
    (car, settings), stopped = started
    assert stopped == "stopped"
    assert isinstance(car, SimulatedCar)
    assert settings["faults"].waiting() == ("silence", "late")
    wanted = {
        "latency_s": 0.06,
        "jitter_s": 0.005,
        "bits": 29,
        "ecus": 2,
        "bus": "can",
        "seed": 4,
        "each_s": 0.003,
        "batch": 6,
    }
    assert {name: settings[name] for name in wanted} == wanted
    assert not settings["pty"]


def test_a_recorded_drive_can_be_repeated(started):
    """Any table that the coach reads."""
    file = next((ROOT / "replay_traces").glob("wrong-gear.csv*"))
    done = CliRunner().invoke(main, ["adapter", "--drive", str(file), "--after", "off"], standalone_mode=False)
    assert done.exception is None
    assert isinstance(started[0][0], RecordingCar)


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["--scenario", "nowhere"], "there is no scenario 'nowhere'; there are: everything-qualifies"),
        (["--scenario", "dropout", "--drive", "x.csv"], "leave out --drive or --scenario"),
        (["--fault", "gremlin@3"], "--fault: there is no fault 'gremlin'"),
        (["--fault", "silence@soon"], "--fault: 'silence@soon' is no fault"),
        (["--latency", "40"], "--latency: "),
        (["--jitter", "2 min"], "latency, jitter and the time of each parameter are from 0 to 60 s"),
        (["--drive", "nowhere.csv"], "nowhere.csv: there is no such file"),
        (["--speed", "0"], "speed: a drive's speed is a number above 0"),
    ],
)
def test_bad_input_gets_a_sentence(words, sentence):
    """What is wrong and what would be right."""
    done = CliRunner().invoke(main, ["adapter", "--port", "0", *words], standalone_mode=False)
    assert isinstance(done.exception, CoachError)
    assert sentence in str(done.exception)


def test_signals_are_left_alone_in_other_threads():
    """Only the main thread may set handlers; and they are put back."""
    import threading

    seen = []

    def other():
        with cmd_adapter._signals() as stop:
            seen.append(stop.is_set())

    thread = threading.Thread(target=other)
    thread.start()
    thread.join()
    before = signal.getsignal(signal.SIGINT)
    with cmd_adapter._signals() as stop:
        signal.raise_signal(signal.SIGINT)
        assert stop.is_set()
    assert signal.getsignal(signal.SIGINT) is before
    assert seen == [False]


def test_signals_of_a_vehicle_file_are_simulated_and_repeated(tmp_path):
    """By `--vehicle`, in a simulated car and in one that repeats a drive with such a column."""
    vehicle, drive = tmp_path / "car.toml", tmp_path / "drive.csv"
    vehicle.write_text(
        '[signals.wastegate_duty]\nidentifier = "1074"\nlength = 1\nscale = 0.5\nunit = "%"\n'
        'min = "0 %"\nmax = "100 %"\n'
    )
    drive.write_text("t_s,engine_speed [rpm],wastegate_duty [%]\n0,800,42\n1,800,42\n")
    clock = HandClock()
    for path, name in ((None, None), (drive, None)):
        car = cmd_adapter._car(path, name, vehicle, clock, 1.0, "hold")
        value = car.answer(0x22, 0x1074, 0)
        assert value == (bytes([84]) if path else bytes([10]))
        assert car.answer(0x22, 0x1075, 0) is None
