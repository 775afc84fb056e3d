"""`coach devices`, and what `coach serve --lan` says: on a terminal with a square, elsewhere without."""

from __future__ import annotations

import io
import json
import sys

import pytest
from click.testing import CliRunner

from coach.cli import main, square
from coach.clock import Clock
from coach.server.devices import Devices
from tests.server.doors import ADDRESS, Quiet, open_joining


@pytest.fixture
def data(tmp_path):
    """A data folder in which one phone is joined."""
    with Devices(tmp_path, Clock()) as devices:
        devices.redeem(devices.invite("operator", "page"), "Ann's phone")
        devices.fact("address", "https://coach-k7d2.local:8766/")
        devices.fact("number_address", f"https://{ADDRESS}:8766/")
    return tmp_path


def run(*words):
    return CliRunner().invoke(main, ["devices", *map(str, words)])


def listed(data):
    return json.loads(run("list", "--json", "--data", data).stdout)["devices"]


def test_devices_are_listed(data):
    """For people a line each; as JSON what the page gets."""
    (device,) = listed(data)
    assert (device["name"], device["role"]) == ("Ann's phone", "operator")
    done = run("list", "--data", data)
    assert done.exit_code == 0
    assert done.stdout.startswith(f"{device['id']}  operator  last seen 20")
    assert done.stdout.endswith("  Ann's phone\n")


def test_a_device_is_removed(data):
    """A second time there is none: a sentence, and status 2."""
    (device,) = listed(data)
    assert run("remove", device["id"], "--data", data).exit_code == 0
    assert listed(data) == []
    assert run("list", "--data", data).stdout == "No device is joined.\n"
    done = run("remove", device["id"], "--data", data)
    assert done.exit_code == 2
    assert "no such device" in done.stderr


def test_where_nothing_was_ever_joined_it_says_so_and_makes_nothing(tmp_path):
    for words in (("list",), ("remove", "x"), ("invite",)):
        square_shown = run(*words, "--data", tmp_path / "x")
        assert square_shown.exit_code == 2
        assert "Traceback" not in square_shown.stderr
    assert not (tmp_path / "x").exists()


@pytest.mark.parametrize(
    ("words", "role", "address"),
    [
        ((), "operator", "https://coach-k7d2.local:8766/"),
        (("--onlooker", "--number"), "onlooker", f"https://{ADDRESS}:8766/"),
    ],
)
def test_a_square_joins_to_the_server_that_runs(data, monkeypatch, words, role, address):
    """What it holds is the address with a secret that is good; on a terminal only."""
    held = []
    monkeypatch.setattr(square, "is_terminal", lambda: True)
    monkeypatch.setattr(square, "drawn", lambda text: held.append(text) or "[square]")
    done = run("invite", *words, "--data", data)
    assert done.exit_code == 0
    assert done.stdout.startswith(f"[square]\nScan it to join as {role}, within 10 minutes.")
    page, _, secret = held[0].partition("#s=")
    assert page == f"{address}join"
    assert secret not in done.stdout
    with Devices(data, Clock()) as devices:
        assert devices.redeem(secret, "x")[0].role == role


def test_a_square_is_never_written_to_a_pipe(data):
    """It holds a secret; nothing is made either."""
    done = run("invite", "--data", data)
    assert done.exit_code == 2
    assert "terminal only" in done.stderr


def test_before_a_server_let_phones_join_there_is_nothing_to_scan(tmp_path, monkeypatch):
    monkeypatch.setattr(square, "is_terminal", lambda: True)
    Devices(tmp_path, Clock()).close()
    done = run("invite", "--data", tmp_path)
    assert done.exit_code == 2
    assert "serve --lan" in done.stderr


class Said(io.TextIOWrapper):
    def __init__(self, encoding):
        super().__init__(io.BytesIO(), encoding=encoding)


@pytest.mark.parametrize("encoding", ["utf-8", "ascii", "latin-1"])
def test_the_square_is_drawn_with_what_the_terminal_has(monkeypatch, encoding):
    """Half blocks, or pairs of plain signs; every terminal can show it, and it is the code that the page draws."""
    from coach.server.joining_api import rows_of

    monkeypatch.setattr(sys, "stdout", Said(encoding))
    text = square.drawn("https://coach-k7d2.local:8766/join#s=" + "x" * 24)
    text.encode(encoding)
    rows = rows_of("https://coach-k7d2.local:8766/join#s=" + "x" * 24)
    if encoding == "utf-8":
        assert len(text.splitlines()) >= len(rows) // 2
    else:
        lines = text.splitlines()
        assert {len(line) for line in lines} == {2 * (len(rows) + 8)}
        assert ["".join("0" if c == "#" else "1" for c in line[8:-8:2]) for line in lines[4:-4]] == rows


@pytest.mark.parametrize("terminal", [True, False])
def test_the_server_says_how_phones_join(tmp_path, monkeypatch, capsys, terminal):
    """Addresses always; the square on a terminal only: what goes into a log holds no secret."""
    held = []
    monkeypatch.setattr(square, "is_terminal", lambda: terminal)
    monkeypatch.setattr(square, "drawn", lambda text: held.append(text) or "[square]")
    joining = open_joining(tmp_path)
    square.tell_phones(joining)
    said = capsys.readouterr().out
    joining.close()
    assert f"Phones on this network: {joining.address()}\n" in said
    assert f"http://{ADDRESS}:{joining.help.bind_addr[1]}/ shows how to trust this machine" in said
    assert ("[square]" in said) is terminal is bool(held)
    assert not terminal or held[0].partition("#s=")[2] not in said


def test_the_server_says_what_does_not_work(tmp_path, monkeypatch, capsys):
    """No network; a name that cannot be announced."""
    monkeypatch.setattr(square, "is_terminal", lambda: False)
    joining = open_joining(tmp_path, announcer=Quiet("port 5353 is taken"))
    joining.trouble = "port 5353 is taken"
    square.tell_phones(joining)
    joining.addresses = []
    square.tell_phones(joining)
    joining.close()
    said = capsys.readouterr().out
    assert f"The name {joining.name} could not be announced (port 5353 is taken)" in said
    assert "no private network" in said


def test_serve_lets_phones_join_only_when_asked(monkeypatch):
    """`--lan` and its ports are handed on; without it nothing is."""
    asked = []
    monkeypatch.setattr("coach.server.run.serve", lambda **given: asked.append(given))
    for words in ((), ("--lan",), ("--lan", "--lan-port", "0", "--help-port", "9000")):
        assert CliRunner().invoke(main, ["serve", *words]).exit_code == 0
    assert asked[0].get("lan") is None
    assert [(a["lan"].port, a["lan"].help_port, a["lan"].bind) for a in asked[1:]] == [
        (8766, 8767, "0.0.0.0"),
        (0, 9000, "0.0.0.0"),
    ]
    assert all(a["on_lan"] is square.tell_phones for a in asked[1:])
