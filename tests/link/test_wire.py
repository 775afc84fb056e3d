"""The gate: nothing but requests that read ever reaches the wire."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.errors import BadInput
from coach.sources.link.trouble import Failure
from coach.sources.link.wire import MODES, Wire, allowed, short

PACKAGE = Path(__file__).parents[2] / "coach/sources/link"


class Spy:
    """A port that remembers what was written."""

    def __init__(self) -> None:
        self.timeout: float | None = None
        self.written: list[bytes] = []
        self.incoming: list[bytes] = []
        self.fails: type[Exception] | None = None

    def read(self, size: int = 1) -> bytes:
        if self.fails:
            raise self.fails("[Errno 5] it is gone.")
        return self.incoming.pop(0) if self.incoming else b""

    def write(self, data: bytes) -> int:
        if self.fails:
            raise self.fails("it is gone")
        self.written.append(data)
        return len(data)

    def close(self) -> None:
        raise OSError("closed already")


SENT_BY_US = ["ATZ", "ATE0", "ATL0", "ATS0", "ATH1", "ATM0", "ATAT1", "ATSP0", "ATSPA6", "ATDPN", "ATI", "AT@1", "ATRV",
              "ATSH7E0", "ATSHDA10F1", "0100", "010C", "010C0D0B494A05", "020C00", "03", "0600", "07", "0902", "0A",
              "22F190"]  # fmt: skip


@pytest.mark.parametrize("command", SENT_BY_US)
def test_what_is_needed_goes_out_as_it_is_with_one_carriage_return(command: str) -> None:
    spy = Spy()
    Wire(spy).send(command)
    assert spy.written == [command.encode() + b"\r"]


@pytest.mark.parametrize("mode", range(256))
def test_every_mode_but_the_eight_is_refused_at_every_length(mode: int) -> None:
    """All 256 first bytes, alone and with up to eight more."""
    sent = 0
    for more in range(9):
        spy = Spy()
        try:
            Wire(spy).send(f"{mode:02X}" + "0C" * more)
        except BadInput:
            assert spy.written == []
        else:
            sent += 1
    assert (sent > 0) == (mode in MODES)


LETTERS = st.text(alphabet="0123456789ABCDEFabcdef ATZSPHR\r\n\x00>?@-", max_size=20)


@given(st.one_of(LETTERS, st.text(max_size=20), st.binary(max_size=12).map(lambda b: b.decode("latin-1"))))
def test_random_text_is_refused_or_reads_only(command: str) -> None:
    """Whatever passes is one line: an adapter setting that keeps to the adapter, or one of the eight modes."""
    spy = Spy()
    try:
        Wire(spy).send(command)
    except BadInput:
        assert spy.written == []
        return
    (data,) = spy.written
    assert data.count(b"\r") == 1
    assert data.endswith(b"\r")
    body = data[:-1].decode("ascii")
    if not body.startswith("AT"):
        assert re.fullmatch("([0-9A-F]{2}){1,7}", body)
        assert int(body[:2], 16) in MODES


@given(
    st.sampled_from(SENT_BY_US), st.sampled_from(["\r", "\n", "\r04", "\r04\r", " ", "\x00", ">"]), st.integers(0, 20)
)
def test_nothing_can_be_smuggled_into_a_good_command(command: str, extra: str, at: int) -> None:
    at = min(at, len(command))
    with pytest.raises(BadInput):
        allowed(command[:at] + extra + command[at:])


@pytest.mark.parametrize(
    "command",
    ["", "04", "0400", "0101\r04", "AT", "ATMA", "ATSH123", "ATSH700", "ATSHDA10F2", "ATPP00SV00", "ATBI", "ATCSM0",
     "010c", "01 0C", "1", "010", "01", "0C" * 8, "0101" * 4, "03" * 2, "22F1", "2EF190", "11", "ATSP6\n04", "0100 "],
)  # fmt: skip
def test_what_acts_or_is_malformed_is_refused_with_one_sentence(command: str) -> None:
    with pytest.raises(BadInput, match="only requests that read") as caught:
        allowed(command)
    assert "\n" not in str(caught.value)


def test_a_bare_carriage_return_never_repeats_somebody_elses_command() -> None:
    spy = Spy()
    wire = Wire(spy)
    wire.nudge()
    assert spy.written == []
    wire.send("ATI")
    wire.nudge()
    assert spy.written == [b"ATI\r", b"\r"]


def test_a_command_that_is_refused_does_not_count_as_ours() -> None:
    spy = Spy()
    wire = Wire(spy)
    with pytest.raises(BadInput):
        wire.send("04")
    wire.nudge()
    assert spy.written == []


def test_reading_takes_what_is_there() -> None:
    spy = Spy()
    spy.incoming = [b"4", b"1 0C\r>"]
    wire = Wire(spy)
    assert wire.read(0.1) == b"41 0C\r>"
    assert wire.read(0.1) == b""


def test_a_port_that_is_gone_says_so() -> None:
    spy = Spy()
    spy.fails = OSError
    wire = Wire(spy)
    for act in (lambda: wire.read(0.1), lambda: wire.send("ATI")):
        with pytest.raises(Failure, match="gone") as caught:
            act()
        assert caught.value.code == "disconnected"
    wire.close()  # and closing it again is no error
    assert short(OSError(5, "Input/output error")) == "Input/output error"
    assert short(OSError("[Errno 5] it is gone.")) == "it is gone"


def test_only_the_gate_writes() -> None:
    """Nothing else in the package calls a method named write, send_break or the like."""
    for path in PACKAGE.glob("*.py"):
        calls = {
            n.func.attr
            for n in ast.walk(ast.parse(path.read_text("utf-8")))
            if isinstance(n, ast.Call) and isinstance(n.func, ast.Attribute)
        }
        found = calls & {"write", "writelines", "send_break", "sendall"}
        assert found == ({"write"} if path.name == "wire.py" else set()), path.name
