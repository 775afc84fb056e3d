"""The link against an adapter that this project did not write: elmulator, scripted; it takes no batches."""

from __future__ import annotations

import argparse
import socket
import threading
from collections.abc import Iterator
from typing import Any

import pytest
from elmulator import Scenario, serve

from coach.clock import Clock
from coach.sources.base import Back, Ended, Instant, Lost
from coach.sources.link.look import look
from coach.sources.link.source import LinkSource
from tests.link.test_live import Ear
from tests.link.wired import CATALOGUE

END = "\r\r>"


def says(request: str, *lines: str, **more: Any) -> dict[str, Any]:
    return {"request": request, "delay_ms": 1, "response_chunks": ["\r".join(lines) + END], **more}


COMMANDS = [
    says("ATZ", "ELM327 v1.5", echo=True),
    says("ATE0", "OK", echo=True),
    says("ATI", "ELM327 v1.5"),
    says("ATDPN", "A6"),
    says("ATRV", "13.9V"),
    says("0100", "SEARCHING...", "7E8 06 41 00 08 18 00 01", "7E9 06 41 00 08 00 00 00"),
    says("0120", "7E8 06 41 20 00 00 00 00"),
    says("0900", "7E8 06 49 00 40 00 00 00"),
    says("0902", "7E8 10 14 49 02 01 31 47 34", "7E8 21 41 48 35 39 48 34 35", "7E8 22 47 31 31 38 33 34 31"),
    says("03", "7E8 04 43 01 01 71"),
    says("07", "7E8 02 47 00"),
    says("0105", "7E8 03 41 05 82"),
    says("010D", "7E8 03 41 0D 50"),
]
GOOD = says("010C", "7E8 04 41 0C 1A F8", "7E9 04 41 0C 00 04")


def _free() -> int:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        return int(taken.getsockname()[1])


@pytest.fixture
def peer() -> Iterator[Any]:
    """Starts a peer with more commands; gives its URL. All stop with the test."""
    stop, threads = threading.Event(), []

    def start(more: list[dict[str, Any]], split: int | None = None) -> str:
        data = {
            "schema_version": "obd2.sim_scenario.v1", "synthetic": True, "scenario_id": "here",
            "commands": COMMANDS + more, "defaults": {"at_response": "OK" + END, "obd_response": "NO DATA" + END},
            "stream_split_bytes": split,
        }  # fmt: skip
        port, ready = _free(), threading.Event()
        arguments = argparse.Namespace(
            host="127.0.0.1", port=port, echo="scenario", split=None, latency_ms=0, jitter_ms=0, seed=0
        )
        thread = threading.Thread(target=serve, args=(arguments, Scenario(data), ready, stop), daemon=True)
        thread.start()
        threads.append(thread)
        assert ready.wait(60)
        return f"socket://127.0.0.1:{port}"

    yield start
    stop.set()
    for thread in threads:
        thread.join(60)


def test_a_car_is_found_and_described(peer) -> None:
    """1G4AH59H45G118341 (49 CFR 565.15) in three frames; two control units, no batches."""
    found = look(peer([GOOD], split=3), CATALOGUE, Clock(), threading.Event())
    assert found.adapter == "ELM327 v1.5"
    assert found.vin == "1G4AH59H45G118341"
    assert found.ecus == (0, 1)
    assert found.batch == 1
    assert found.voltage == 13.9
    assert found.stored == ("P0171",)
    assert found.pending == ()
    assert found.first_values == {"coolant_temp": 90.0, "engine_speed": 1726.0, "road_speed": 80.0}


@pytest.mark.parametrize(
    ("wrong", "code"),
    [
        ({"request": "010C", "response_chunks": [], "post_action": "stall"}, "silent"),
        ({"request": "010C", "response_chunks": [], "post_action": "disconnect"}, "disconnected"),
        (says("010C", "7F 01 12", "what is this"), "garbage"),
        (says("010C", "7E8 04 41 0D 1A F8"), "wrong_parameter"),
        (says("010C", "7E8 04 41 0C 1A"), "short"),
        (says("010C", "7E8 03 7F 01 12"), "negative"),
    ],
    ids=["stall", "disconnect", "garbage", "wrong", "short", "negative"],
)
def test_what_goes_wrong_once_is_named_and_the_drive_goes_on(peer, wrong: dict[str, Any], code: str) -> None:
    """No value but the car's own, before and after; it stops when told to."""
    url = peer([GOOD] * 20 + [wrong, GOOD])
    stop, ear = threading.Event(), Ear()
    source = LinkSource(url, asked_hz={"engine_speed": 100.0}, catalogue=CATALOGUE)
    thread = threading.Thread(target=source.run, args=(ear.emit, stop, Clock()), daemon=True)
    thread.start()
    ear.seen(Instant, 25)
    stop.set()
    thread.join(60)
    assert ear.events[-1] == Ended("stopped")
    assert {v for e in ear.events if isinstance(e, Instant) for v in e.values.values()} == {1726.0}
    assert code in {t.code for t in source.troubles}
    if code == "disconnected":
        assert [type(e) for e in ear.events if isinstance(e, Lost | Back)][:2] == [Lost, Back]
