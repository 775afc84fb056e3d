"""Lines into checked answers: worked frames, hostile ones, and nothing taken on trust."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.sources.link.answers import PROTOCOLS, Answer, Frames, cleaned, positive, said, walk
from coach.sources.link.trouble import Failure, refusal

FIRST = ("7E8064100BE3FA813",)
PADDED = ("7E8064100BE3FA813AA",)


def failure(code: str, lines: list[str], mode: int = 1, first: tuple[str, ...] = FIRST, number: str = "6") -> None:
    with pytest.raises(Failure) as caught:
        engine(lines, mode, first, number)
    assert caught.value.code == code


def engine(lines: list[str], mode: int = 1, first: tuple[str, ...] = FIRST, number: str = "6") -> bytes:
    frames = Frames(number, first)
    return frames.engine_answer(frames.parse(lines, mode), mode)


def test_a_single_frame_gives_what_it_declares() -> None:
    assert engine(["7E804410C1AF8"]) == bytes.fromhex("0C1AF8")
    assert engine(["7E8 04 41 0C 1A F8 AA AA AA"], first=PADDED) == bytes.fromhex("0C1AF8")


def test_several_frames_are_joined_whatever_their_order() -> None:
    """Six parameters in three frames; the last one may be cut where the control unit does not fill."""
    lines = ["7E81010410C1AF80D50", "7E8210B604940440080", "7E822000573"]
    assert engine(lines) == bytes.fromhex("0C1AF80D500B604940440080000573")
    filled = [*lines[:2], "7E822000573AAAAAAAA"]
    assert engine([filled[0], filled[2], filled[1]], first=PADDED) == engine(lines)


@pytest.mark.parametrize(
    ("lines", "code"),
    [
        (["NO DATA"], "no_data"), (["CAN ERROR"], "bus_error"), (["BUS ERROR"], "bus_error"),
        (["BUS BUSY"], "bus_busy"),
        (["FB ERROR"], "bus_error"), (["BUS INIT: ERROR"], "bus_error"), (["BUS INIT: ...ERROR"], "bus_error"),
        (["7E804410C1AF8<RX ERROR"], "bus_error"), (["<DATA ERROR"], "bus_error"), (["ERR94"], "bus_error"),
        (["UNABLE TO CONNECT"], "unable_to_connect"), (["STOPPED"], "stopped"), (["BUFFER FULL"], "buffer_full"),
        (["7E804410C1AF8", "BUFFER FULL"], "buffer_full"), (["?"], "not_understood"),
        (["ELM327 v1.5"], "adapter_reset"),
        (["LV RESET"], "adapter_reset"), (["what is this"], "garbage"), ([], "garbage"), (["SEARCHING..."], "no_data"),
        (["7E8037F0178"], "pending"), (["7E8037F0112"], "negative"), (["7E8037F2212"], "wrong_mode"),
        (["7E8027F01"], "wrong_mode"), (["7E804420C1AF8"], "wrong_mode"), (["7E904410C1AF8"], "foreign"),
        (["7E804410C1A"], "short"), (["7E81008410C1AF80D50", "7E8210B"], "short"),
        (["7E81008410C1AF80D50"], "broken_frame"),
        (["7E8210B6000000000"], "broken_frame"), (["7E804410C1AF" ], "broken_frame"), (["7E8"], "broken_frame"),
        (["7E804410C1AF8", "7E804410C1AF8"], "broken_frame"), (["7E8F4410C1AF8"], "broken_frame"),
        (["7E804410C1AF8AA"], "broken_frame"), (["7E804410C1AF8AAAAAA"], "broken_frame"),
    ],
)  # fmt: skip
def test_what_is_no_answer_is_a_failure_with_its_name(lines: list[str], code: str) -> None:
    failure(code, lines)


def test_a_byte_lost_out_of_the_filling_does_not_move_the_others() -> None:
    """Filled frames always have eight bytes: two characters less are noticed."""
    failure("broken_frame", ["7E8044A0C1AF8AAAA"], first=("7E8064100BE3FA813AA",))
    failure("broken_frame", ["7E804410C1AF8AAAA"], first=("7E8064100BE3FA813AA",))


def test_more_time_is_given_and_the_answer_kept() -> None:
    """7F 01 78, then the answer: what the car asks meanwhile is dropped, on CAN of both kinds and on a K-line."""
    assert engine(["7E8037F0178", "7E804410C1AF8"]) == bytes.fromhex("0C1AF8")
    assert engine(["7E8037F0178AAAAAAAA", "7E804410C1AF8AAAAAA"], first=PADDED) == bytes.fromhex("0C1AF8")
    long = ("18DAF110064100BE3FA813",)
    assert engine(["18DAF110037F0178", "18DAF11004410C1AF8"], first=long, number="7") == bytes.fromhex("0C1AF8")
    old = ("86F1104100BE3FA81303",)
    assert engine(["83F1107F017803", "84F110410C1AF803"], first=old, number="5") == bytes.fromhex("0C1AF8")


def test_of_two_control_units_the_engines_answer_is_kept() -> None:
    first = ("7E8064100BE3FA813", "7E906410088180001")
    frames = Frames("6", first)
    assert frames.ecus == {0, 1}
    assert frames.engine == 0
    answers = frames.parse(["7E904410C0004", "7E804410C1AF8"], 1)
    assert sorted(answers, key=lambda a: a.ecu)[1] == Answer(1, bytes.fromhex("410C0004"))
    assert frames.engine_answer(answers, 1) == bytes.fromhex("0C1AF8")


def test_where_no_unit_has_the_usual_address_the_one_that_offers_most_is_the_engines() -> None:
    first = ("18DAF12A064100BE3FA813", "18DAF11806410088180001")
    assert Frames("7", first).engine == 0x2A
    usual = ("18DAF110064100BE3FA813", "18DAF12A064100FFFFFFFF")
    assert Frames("7", usual).engine == 0x10


def test_a_car_that_answers_something_else_to_the_first_request_is_no_car() -> None:
    for first in (("7E804410C1AF8",), ("7E8037F0112",)):
        with pytest.raises(Failure):
            Frames("6", first)
    with pytest.raises(Failure, match="protocol A"):
        Frames("A", FIRST)


def test_every_protocol_has_its_class() -> None:
    import obd.protocols

    assert all(hasattr(obd.protocols, name) for name, _ in PROTOCOLS.values())


@given(st.lists(st.text(alphabet="0123456789ABCDEF >?<\r.:XQ", max_size=24), max_size=6), st.sampled_from("1356789"))
def test_random_lines_are_an_answer_or_a_failure(lines: list[str], number: str) -> None:
    """No other exception, and an answer never longer than what was sent."""
    first = FIRST if number in "68" else ("18DAF110064100BE3FA813",) if number in "79" else ("86F1104100BE3FA81303",)
    frames = Frames(number, first)
    try:
        data = frames.engine_answer(frames.parse(lines, 1), 1)
    except Failure:
        return
    assert 2 * len(data) < sum(map(len, lines))


@given(st.binary(min_size=1, max_size=8), st.integers(0, 60))
def test_a_frame_cut_anywhere_is_never_an_answer(data: bytes, cut: int) -> None:
    """Every beginning of an answer's line but the whole is refused."""
    line = f"7E8{len(data[:7]):02X}{data[:7].hex().upper()}"
    cut %= len(line)
    frames = Frames("6", FIRST)
    with pytest.raises(Failure):
        frames.engine_answer(frames.parse([line[:cut]], 1), 1)


def test_progress_is_no_answer() -> None:
    assert cleaned(["", "SEARCHING...", "BUS INIT: OK", "BUSINIT:...OK", "SEARCHING...7E8 01"]) == ["7E801"]
    assert said("7E8") is None
    assert said("41 0C") is None


def test_a_positive_answer_has_its_mode() -> None:
    assert positive(b"\x41\x0c\x00", 1) == b"\x0c\x00"
    for data in (b"", b"\x42\x0c", b"\x7f", b"\x7f\x02\x12"):
        with pytest.raises(Failure, match="another kind"):
            positive(data, 1)
    with pytest.raises(Failure, match=r"does not know this parameter \(12\)"):
        positive(b"\x7f\x01\x12", 1)
    assert refusal(0x55) == "reason (55)"


LENGTHS = {0x0C: 2, 0x0D: 1, 0x0B: 1, 0x24: 4}


def test_a_batch_is_walked_by_parameter_never_by_place() -> None:
    """Left out, in another order: each value stays with its own parameter."""
    assert walk(bytes.fromhex("0D500C1AF8"), LENGTHS, LENGTHS) == {0x0D: b"\x50", 0x0C: b"\x1a\xf8"}
    assert walk(bytes.fromhex("0B60"), LENGTHS, [0x0B, 0x0C]) == {0x0B: b"\x60"}


@pytest.mark.parametrize(
    ("data", "code"),
    [("0C1A", "short"), ("0D", "short"), ("", "short"), ("0D500D50", "wrong_parameter"), ("0E50", "wrong_parameter"),
     ("0D5000", "wrong_parameter"), ("240102", "short")],
)  # fmt: skip
def test_a_batch_that_does_not_fit_is_refused_whole(data: str, code: str) -> None:
    with pytest.raises(Failure) as caught:
        walk(bytes.fromhex(data), LENGTHS, [0x0C, 0x0D, 0x24])
    assert caught.value.code == code


@given(st.permutations(sorted(LENGTHS)), st.integers(0, 4), st.randoms())
def test_whatever_is_there_is_found_again(order: list[int], count: int, random) -> None:
    parts = {pid: random.randbytes(LENGTHS[pid]) for pid in order[:count]}
    data = b"".join(bytes([pid]) + part for pid, part in parts.items())
    if parts:
        assert walk(data, LENGTHS, LENGTHS) == parts
        with pytest.raises(Failure):
            walk(data[:-1], LENGTHS, LENGTHS)


def test_the_parsers_come_without_a_word() -> None:
    """Nothing on stderr when the link is used, and neither units nor parsers loaded before that."""
    import subprocess
    import sys

    program = (
        "import sys, coach.sources.link.source, coach.sources.link.look\n"
        "print('pint' in sys.modules, 'obd' in sys.modules, 'serial' in sys.modules)\n"
        "from coach.sources.link.answers import Frames\n"
        "print(Frames('6', ['7E8064100BE3FA813']).engine)\n"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["False", "False", "False", "0"]
    assert done.stderr == ""


@pytest.mark.parametrize(
    ("lines", "number", "first"),
    [
        (["7E804410C1AF8", "7E80462F19058"], "6", FIRST),
        (["7E80462F19058", "7E804410C1AF8"], "6", FIRST),
        (["7E804410C1AF8", "7E80341055A"], "6", FIRST),
        (["7E804410C1AF8", "7E8037F2231"], "6", FIRST),
        (["7E804410C1AF8", "7E9037F2231"], "6", FIRST),
        (["7E81010410C1AF80D50", "7E8210B604940440080", "7E822000573", "7E80341055A"], "6", FIRST),
        (["7E804410C1AF8", "7E8101462F190585858", "7E82158585858585858", "7E82258585858585858"], "6", FIRST),
        (["18DAF11004410C1AF8", "18DAF1100462F19058"], "7", ("18DAF110064100BE3FA813",)),
        (["84F110410C1AF803", "83F11061808003"], "5", ("86F1104100BE3FA81303",)),
    ],
)  # fmt: skip
def test_an_answer_beside_ours_to_a_question_that_was_not_ours_is_somebody_elses(
    lines: list[str], number: str, first: tuple[str, ...]
) -> None:
    """Of another mode, of another parameter, a refusal of another's request, in one frame or several; on every bus."""
    failure("other_tester", lines, first=first, number=number)


def test_units_that_answer_one_question_each_and_damaged_lines_are_nobody_elses() -> None:
    first = ("7E8064100BE3FA813", "7E906410088180001")
    assert engine(["7E804410C1AF8", "7E904410C0004"], first=first) == bytes.fromhex("0C1AF8")
    assert engine(["7E8037F0178", "7E804410C1AF8", "7E9037F0112"], first=first) == bytes.fromhex("0C1AF8")
    failure("broken_frame", ["7E804410C1AF8", "7E80462F1905"])
    failure("broken_frame", ["7E804410C1AF8", "7E8F462F19058"])


def test_old_buses_send_codes_three_at_a_time_and_each_frame_counts() -> None:
    first = ("86F1104100BE3FA81303",)
    frames = Frames("5", first)
    answers = frames.parse(["87F1104701710300030103", "87F11047C10000000000AA"], 0x07)
    assert [a.data.hex() for a in answers] == ["47017103000301", "47c10000000000"]


def test_a_unit_that_asked_for_time_and_was_not_waited_for_is_noticed() -> None:
    first = ("7E8064100BE3FA813", "7E906410088180001")
    frames = Frames("6", first)
    frames.parse(["7E8037F0978", "7E907490601" + "2A04D0F6"], 0x09)
    assert frames.late
    frames.parse(["7E8037F0978", "7E8074906011791BC82"], 0x09)
    assert not frames.late


def test_headers_of_requests_are_those_of_the_car() -> None:
    short, long, old = (
        Frames("6", FIRST),
        Frames("7", ("18DAF110064100BE3FA813",)),
        Frames("5", ("86F1104100BE3FA81303",)),
    )
    assert [short.addressed(h) for h in ("7E0", "7E3", "18DA10F1")] == [0, 3, None]
    assert [long.addressed(h) for h in ("7E0", "18DA18F1", "DA10F1")] == [None, 0x18, 0x10]
    assert old.addressed("7E0") is None
    assert (short.everybody, short.engine_header) == ("7DF", "7E0")
    assert (long.everybody, long.engine_header) == ("DB33F1", "DA10F1")


@pytest.mark.parametrize("words", ["CAN ERROR", "BUS INIT: ERROR", "BUS ERROR", "<RX ERROR", "ERR94"])
def test_what_the_adapter_says_is_said_in_its_own_words(words: str) -> None:
    """Blanks were taken out of its lines to read them; people get them back."""
    (line,) = cleaned([words])
    failure = said(line)
    assert failure is not None
    assert failure.code == "bus_error"
    assert failure.message.endswith(f": {words}.")
