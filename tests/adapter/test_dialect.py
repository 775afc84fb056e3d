from __future__ import annotations

from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.sources.adapter import KINDS, Faults, TableCar
from coach.sources.adapter.dialect import Dialect, Settings
from coach.sources.adapter.speaking import Adapter
from tests.adapter.conftest import ANSWERS, IDENTITY


@pytest.fixture
def dialect():
    return Dialect(lambda: 13.84)


@pytest.mark.parametrize(
    "command",
    ["D", "E0", "E1", "L0", "L1", "S0", "S1", "H0", "H1", "R0", "R1", "CAF0", "CAF1", "CFC0", "CFC1", "SP0", "SPA6",
     "SP6", "SP9", "TP5", "PC", "ST0A", "STFF", "AT0", "AT1", "AT2", "SH7E0", "SHDA10F1", "SH18DA10F1", "CRA7E8",
     "CRA7EX", "CRA18DAF110", "CRA", "AR", "AL", "NL", "M0", "V1", "CP18", "FCSH7E0", "FCSD300000", "FCSM1", "KW0"],
)  # fmt: skip
def test_settings_are_acknowledged(dialect, command):
    """Every command of the common dialect that only sets something says OK (from memory)."""
    assert dialect.command(command) == "OK"


@pytest.mark.parametrize(
    "command",
    ["", "X", "E", "E2", "MA", "MR01", "MT01", "MPFECA", "SH", "SH7", "SPG", "SP", "ST", "ST1", "STFFF", "AT3", "SP10",
     "@2", "@3123456789012", "PP01SV02", "PPFFOFF", "CV1384", "BRD23", "RTR", "WM0102", "SD55", "LP", "FI", "CRAXX"],
)  # fmt: skip
def test_everything_else_is_unknown(dialect, command):
    """What is misspelt, listens to the whole bus, writes, or changes the adapter for good, gets a question mark."""
    before = repr(dialect.settings)
    assert dialect.command(command) == "?"
    assert repr(dialect.settings) == before


def test_names_and_supply(dialect):
    """It says that it is virtual; the voltage has one decimal and its unit."""
    assert dialect.command("I") == dialect.command("Z") == dialect.command("WS") == "virtual adapter 1"
    assert dialect.command("@1") == "a car that is not there"
    assert dialect.command("RV") == "13.8V"
    assert dialect.command("IGN") == "ON"
    assert Dialect(lambda: None).command("RV") == "0.0V"


def test_protocol_is_told_in_words_and_as_a_number(dialect):
    """Automatic has an A before the number; nothing is known of it before a search."""
    assert (dialect.command("DPN"), dialect.command("DP")) == ("A0", "AUTO")
    dialect.settings.found = 6
    assert (dialect.command("DPN"), dialect.command("DP")) == ("A6", "AUTO, ISO 15765-4 (CAN 11/500)")
    dialect.command("SP7")
    assert (dialect.command("DPN"), dialect.command("DP")) == ("7", "ISO 15765-4 (CAN 29/500)")
    dialect.command("SPA3")
    assert (dialect.command("DPN"), dialect.command("DP")) == ("A3", "AUTO, ISO 9141-2")


def test_defaults_keep_the_protocol_and_reset_does_not(dialect):
    """As the open dialect has them: D puts back formats, Z everything."""
    for command in ("SP7", "E0", "H1", "S0", "ST10", "SH18DA10F1"):
        dialect.command(command)
    dialect.command("D")
    assert dialect.settings == Settings(protocol=7, automatic=False)
    dialect.command("Z")
    assert dialect.settings == Settings()


def test_timeout_counts_in_steps_of_four_milliseconds(dialect):
    """00 means the default (from memory)."""
    dialect.command("ST19")
    assert dialect.settings.timeout_s == pytest.approx(0.1)
    dialect.command("ST00")
    assert dialect.settings.timeout_s == pytest.approx(0.2)


def test_commands_take_any_case_and_blanks(talk):
    """Blanks, control characters and case do not count; the last line is repeated by an empty one."""
    t = talk()
    assert t("at h 1") == ["OK"]
    assert t("\x00 01\n0c ") == ["7E8 04 41 0C 1A F8 AA AA AA "]
    assert t("") == ["7E8 04 41 0C 1A F8 AA AA AA "]
    assert t("atZ") == ["virtual adapter 1"]
    assert t("") == ["virtual adapter 1"]


@pytest.mark.parametrize("line", ["0", "01G0", "XYZZY", "0102030405060708", "01020304050607080", "\x7f\x7f", "é"])
def test_what_is_no_request_is_unknown(talk, line):
    """Letters that are no hex digits, a lone digit, and more than fits in one frame."""
    assert talk()(line) == ["?"]


def test_an_empty_line_before_any_other_is_unknown(talk):
    """There is nothing to repeat."""
    assert talk(fresh=True)("") == ["?"]


def test_automatic_search_finds_the_protocol_once(talk):
    """The first request searches; the next ones do not; closing the protocol searches again."""
    t = talk(fresh=True)
    assert t("ATDPN") == ["A0"]
    assert t("010C") == ["SEARCHING...", "41 0C 1A F8 "]
    assert t("ATDPN") == ["A6"]
    assert t("010C") == ["41 0C 1A F8 "]
    t.set("ATPC")
    assert t("010C") == ["SEARCHING...", "41 0C 1A F8 "]


@pytest.mark.parametrize(("protocol", "number"), [(5, "A5"), (6, "A6"), (7, "A7"), (3, "A3")])
def test_every_protocol_of_the_car_is_found(talk, protocol, number):
    t = talk(protocol=protocol)
    assert t("ATDPN") == [number]


@pytest.mark.parametrize(
    ("asked", "said"),
    [("7", ["CAN ERROR"]), ("5", ["BUS INIT: ERROR"]), ("1", ["UNABLE TO CONNECT"]), ("6", ["41 0C 1A F8 "])],
)
def test_a_protocol_that_the_car_does_not_speak(talk, asked, said):
    """Named by hand it is not searched for; the words are from memory."""
    t = talk(fresh=True).set(f"ATSP{asked}")
    assert t("010C") == said


def test_a_protocol_tried_first_falls_back_to_a_search(talk):
    """With A before the number the adapter looks for another one."""
    t = talk(fresh=True).set("ATSPA7")
    assert t("010C") == ["SEARCHING...", "41 0C 1A F8 "]
    assert t("ATDPN") == ["A6"]


def test_k_line_says_that_it_was_woken(talk):
    """Named by hand, the bus is initialised aloud, once."""
    t = talk(protocol=5, fresh=True).set("ATSP5")
    assert t("010C") == ["BUS INIT: OK", "41 0C 1A F8 "]
    assert t("010C") == ["41 0C 1A F8 "]


def test_a_car_that_is_switched_off_cannot_be_reached(talk):
    """No answer at all is not the same as no data: the search fails after its time."""
    t = talk(car=TableCar({}, battery_v=12.1), fresh=True)
    t.adapter.car.identity = None
    assert t("0100") == ["SEARCHING...", "UNABLE TO CONNECT"]
    assert t.said("0100").lines[-1][0] == pytest.approx(0.2)
    assert t("ATRV") == ["12.1V"]


def test_no_data_takes_the_timeout(talk):
    """Asking for what is not there costs the time that ST sets."""
    t = talk().set("ATST19")
    assert t.said("0199").lines == [(pytest.approx(0.1), "NO DATA")]


def test_answers_can_be_switched_off(talk):
    """R0: the request goes out and nothing is said of it."""
    assert talk().set("ATR0")("010C") == []


COMMANDS = ["ATZ", "ATD", "ATE0", "ATH1", "ATH0", "ATS0", "ATCAF0", "ATCFC0", "ATSP0", "ATSP5", "ATSP6", "ATSPA7",
            "ATPC", "ATSH7E1", "ATSHDA18F1", "ATSH8118F1", "ATCRA7EX", "ATCRA18DAF110", "ATAR", "ATR0", "0100",
            "010C0D0B", "03", "0902", "22F40C", "020C00", ""]  # fmt: skip


@given(
    lines=st.lists(
        st.one_of(
            st.sampled_from(COMMANDS), st.text(max_size=20), st.binary(min_size=1, max_size=8).map(lambda b: b.hex()),
            st.text("ATSHCRPDW0123456789", max_size=9).map(lambda text: f"AT{text}"),
        ),
        max_size=12,
    ),
    protocol=st.sampled_from([3, 5, 6, 7]),
    kind=st.sampled_from([None, *KINDS]),
)  # fmt: skip
def test_whatever_is_said_it_answers_in_plain_lines(lines, protocol, kind):
    """Commands in any order, nonsense and any fault: no error, printable lines, nothing like a prompt."""
    faults = Faults()
    adapter = Adapter(TableCar(ANSWERS, IDENTITY), ecus=2, protocol=protocol, faults=faults, random=Random(1))
    for line in lines:
        if kind is not None:
            faults.now(kind)
        for _, said in adapter.hear(line, 0).lines:
            assert said.isascii()
            assert said.isprintable()
            assert ">" not in said
