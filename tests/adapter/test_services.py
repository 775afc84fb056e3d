from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.sources.adapter import Identity, TableCar
from coach.sources.adapter.car import code_bytes, example_vin
from coach.sources.adapter.services import BITMAPS, READ_MODES, Services, bitmap
from coach.vin import check_digit


def hexed(line):
    return bytes.fromhex(line.split(":")[-1])


@given(st.frozensets(st.integers(0, 255)))
def test_bitmaps_say_exactly_what_is_offered(offered):
    """Read back as ISO 15031-5 has it (from memory): bit 31 is base + 1; the last bit says that more follows."""
    car = TableCar({(1, pid): b"\1" for pid in offered - BITMAPS}, Identity())
    told, base, reached = set(), 0x00, True
    while reached:
        found = Services(car, 1, can=True).answer(bytes([1, base]), None)
        if not found:
            assert base == 0
            break
        bits = int.from_bytes(found[0].payload[2:], "big")
        told |= {base + n for n in range(1, 32) if bits >> (32 - n) & 1}
        reached, base = bool(bits & 1), base + 32
    assert told == offered - BITMAPS
    assert base <= 0x100


def test_bitmap_of_known_bytes():
    """BE 3F A8 13 is the example that many texts print (from memory): its bits are these parameters."""
    offered = frozenset([1, 3, 4, 5, 6, 7, 0x0B, 0x0C, 0x0D, 0x0E, 0x0F, 0x10, 0x11, 0x13, 0x15, 0x1C, 0x1F, 0x21])
    assert bitmap(offered, 0) == bytes.fromhex("BE3FA813")


def test_single_and_batched_requests(talk):
    """Up to six parameters; what is not there is left out; nothing there at all is no data; seven are too many."""
    t = talk().set("ATH1", "ATS0")
    assert t("010C") == ["7E804410C1AF8AAAAAA"]
    assert t("010D99330C") == ["7E81008410D5033650C", "7E8211AF8AAAAAAAAAA"]
    assert t("019998") == ["NO DATA"]
    assert t("01050C0D0B1133")[0].startswith("7E8100E41057B0C1AF8")
    assert t("01050C0D0B113349") == ["?"]


def test_k_line_takes_one_parameter(talk):
    """A batch there gets nothing."""
    t = talk(protocol=5)
    assert t("010C") == ["41 0C 1A F8 "]
    assert t("010C0D") == ["NO DATA"]


def test_freeze_frames_name_their_frame(talk):
    """Mode 02 takes a frame number behind each parameter, and only frame 00 is kept."""
    t = talk()
    assert t("020200") == ["42 02 00 01 71 "]
    assert t("02020C") == ["NO DATA"]
    assert t("020C00") == ["42 0C 00 0C 80 "]
    assert t("0202000C00") == ["009 ", "0: 42 02 00 01 71 0C ", "1: 00 0C 80 AA AA AA AA "]
    assert t("020C01") == ["NO DATA"]
    assert t("020000") == ["42 00 00 40 10 00 00 "]


def test_codes_on_can_and_on_a_k_line(talk):
    """CAN counts them; a K-line sends three a message and fills up with zeros."""
    t = talk().set("ATS0")
    assert t("03") == ["00A", "0:430401710300", "1:C1005234AAAAAA"]
    assert t("07") == ["47018011"]
    assert t("0A") == ["4A00"]
    assert t("0300") == ["NO DATA"]
    slow = talk(protocol=5).set("ATS0")
    assert slow("03") == ["4301710300C100", "43523400000000"]
    assert slow("0A") == ["4A000000000000"]


@pytest.mark.parametrize(
    ("code", "two"), [("P0171", "0171"), ("C1234", "5234"), ("B0011", "8011"), ("U0100", "C100"), ("P3FFF", "3FFF")]
)
def test_codes_are_two_bytes(code, two):
    """Letter and first digit are in the top four bits (SAE J2012, from memory)."""
    assert code_bytes(code) == bytes.fromhex(two)


@pytest.mark.parametrize("code", ["", "X0171", "P4000", "P017", "P017G"])
def test_what_is_no_code_is_refused(code):
    with pytest.raises(ValueError):
        code_bytes(code)


def test_identity_on_can(talk):
    """Number of the car, calibration, its verification number and the unit's name, each with its count of items."""
    t = talk(ecus=2).set("ATS0", "ATH1", "ATCRA7E8")
    assert t("0900") == ["7E806490054400000AA"]
    vin = b"".join(bytes.fromhex(line[5:])[1 if line[3] == "1" else 0 :] for line in t("0902"))
    assert vin == b"\x49\x02\x01" + example_vin().encode()
    assert t("0906") == ["7E8074906011791BC82"]
    assert len(t("0904")) == len(t("090A")[:3]) == 3
    assert t("0999") == t("090204") == t("09") == ["NO DATA"]
    t.set("ATCRA7E9")
    assert t("0906") == ["7E9074906012A04D0F6"]
    assert t("0902") == ["NO DATA"]


def test_identity_on_a_k_line(talk):
    """Five numbered messages of four bytes; the number of the car is filled up at its front."""
    lines = [bytes.fromhex(line) for line in talk(protocol=3)("0902")]
    assert [line[:3] for line in lines] == [bytes([0x49, 2, n]) for n in range(1, 6)]
    assert b"".join(line[3:] for line in lines) == b"\0\0\0" + example_vin().encode()


def test_the_example_number_is_well_formed():
    """Seventeen places with the check digit of 49 CFR 565.15(c); nobody's: the maker's places are XXX."""
    vin = example_vin()
    assert vin[8] == check_digit(vin)
    assert len(vin) == 17
    assert vin.startswith("XXX")


def test_identifiers_of_two_bytes(talk):
    """Mode 22: an unknown one is turned down by the engine's unit, or by whoever is addressed alone."""
    t = talk(ecus=2)
    assert t("22F40C") == ["62 F4 0C 1A F8 "]
    assert t("229999") == ["7F 22 31 "]
    assert t("22F4") == ["7F 22 31 "]
    assert t("221234") == ["7F 22 31 ", "00A ", "0: 62 12 34 01 02 03 ", "1: 04 05 06 07 AA AA AA "]
    t.set("ATSH7E1")
    assert t("22F40C") == ["7F 22 31 "]


def test_a_unit_that_is_addressed_alone_says_no(talk):
    """Asked of all, units keep silent about what they lack (ISO 15765-4, from memory)."""
    t = talk(ecus=2).set("ATH1", "ATS0")
    assert t("010C") == ["7E804410C1AF8AAAAAA", "7E904410C1AF0AAAAAA"]
    t.set("ATSH7E1")
    assert t("010C") == ["7E904410C1AF0AAAAAA"]
    assert t("0105") == ["7E9037F0112AAAAAAAA"]
    for header in ("7E5", "123", "7EF"):
        t.set(f"ATSH{header}")
        assert t("010C") == ["NO DATA"]
    t.set("ATSH7DF")
    assert len(t("010C")) == 2


@pytest.mark.parametrize(
    ("header", "count"), [("DB33F1", 2), ("18DA10F1", 1), ("DA18F1", 1), ("DA99F1", 0), ("7E0", 0)]
)
def test_long_headers_address_units(talk, header, count):
    t = talk(ecus=2, protocol=7).set(f"ATSH{header}")
    assert len([line for line in t("010C") if line.startswith("41")]) == count


@given(st.binary(min_size=1, max_size=7))
def test_nothing_but_reading_is_ever_accepted(request_bytes):
    """Whatever bytes are sent: every mode that is not in the list of reading modes is turned down with 7F, mode, 11."""
    answers = Services(TableCar({}, Identity()), 2, can=True).answer(request_bytes, None)
    if request_bytes[0] not in READ_MODES:
        assert [a.payload for a in answers] == [bytes([0x7F, request_bytes[0], 0x11])] * 2


def test_the_modes_that_are_answered():
    """Values, freeze frames, codes of three sorts, identity, identifiers: all of them only read."""
    assert sorted(READ_MODES) == [0x01, 0x02, 0x03, 0x07, 0x09, 0x0A, 0x22]


@pytest.mark.parametrize("mode", sorted(set(range(256)) - READ_MODES))
def test_every_other_mode_is_turned_down_through_the_dialect(talk, mode):
    """Clearing codes (04), tests (08), sessions, resets, writes and downloads among them."""
    assert talk()(f"{mode:02X}00") == [f"7F {mode:02X} 11 "]


def test_a_car_that_is_off_has_no_codes_either():
    """Not an empty list: no answer."""

    class Off(TableCar):
        def answer(self, mode, pid, ecu):
            return None

    off = Services(Off({}, Identity()), 1, can=True)
    assert [off.answer(bytes([mode]), None) for mode in (0x03, 0x07, 0x0A)] == [[], [], []]
