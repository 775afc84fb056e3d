"""`coach serve --link` and `coach demo --through-adapter`: the whole chain, adapter dialect included."""

from __future__ import annotations

import time

import pytest

from coach.cli import main
from coach.sources.adapter import AdapterServer
from tests.cli.programs import serving
from tests.cli.test_demo import get
from tests.link.wired import table_car

_SERVE = ("serve", "--port", "0", "--no-open")


def until(condition, seconds=40):
    end = time.monotonic() + seconds
    while not condition():
        assert time.monotonic() < end, "it never came true"
        time.sleep(0.05)


def test_the_demo_drives_a_car_behind_an_adapter():
    """Samples come through the dialect, the judge sees the car idle, the page is told that it is a link."""
    with serving("demo", "--through-adapter", "--auto", "--port", "0", "--no-open") as address:

        def rolling():
            state = get(address, "api/state")
            drive = state["drive"]
            return drive["source"] == "link" and drive["t_s"] > 1 and state["link"]["state"] == "up"

        until(rolling)
        rows = get(address, "api/state")
        assert rows["lead"] is not None


def test_the_demo_waits_at_ready_with_the_car():
    with serving("demo", "--through-adapter", "--port", "0", "--no-open") as address:
        assert "source=link:0&speed=1" in address
        sha = address.partition("recipe=")[2][:64]

        def connected():
            marks = get(address, f"api/ready?recipe={sha}&source=link:0")["marks"]
            return marks[0]["state"] == "ok" and marks[1]["state"] == "ok"

        until(connected)


def test_serving_a_link_offers_the_car_first():
    with (
        AdapterServer(table_car()) as server,
        serving("serve", "--link", server.url, "--port", "0", "--no-open") as address,
    ):
        first = get(address, "api/sources")["sources"][0]
    assert first == {"id": "link:0", "title": "The car", "kind": "link", "text": server_url(first)}


def server_url(source):
    assert source["text"].startswith("socket://127.0.0.1:")
    return source["text"]


@pytest.mark.parametrize(
    "words", [("serve", "--link", "http://x"), ("demo", "--through-adapter", "--speed", "8")], ids=["address", "speed"]
)
def test_what_cannot_be_is_one_sentence(words, capsys):
    with pytest.raises(SystemExit) as ended:
        main.main([*words])
    assert ended.value.code == 2
    assert capsys.readouterr().err.count("\n") == 1
