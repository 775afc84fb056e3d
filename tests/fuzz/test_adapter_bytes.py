"""Whatever an adapter, or what pretends to be one, sends: a failure with a name, or an answer of the right shape."""

import random

from hypothesis import given
from hypothesis import strategies as st

from coach.sources.link.answers import PROTOCOLS, Frames, cleaned, positive, said, walk
from coach.sources.link.decode import bitmap, calibration_ids, codes, verification_numbers, vin
from tests.fuzz.feeding import feed, inputs

FIRST = {
    "6": ("7E8064100BE3FA813",), "7": ("18DAF110064100BE3FA813",), "3": ("486B104100BE3FA813",),
    "1": ("41 6B 10 41 00 BE 3F A8 13 7A",), "5": ("86F1104100BE3FA813",),
}  # fmt: skip
GOOD = (
    b"7E804410C1AF8\r", b"7E81010410C1AF80D50\r7E8210B604940440080\r7E822000573\r",
    b"SEARCHING...\r7E8064100BE3FA813\r",
    b"7E8037F0178\r7E804410C1AF8\r", b"NO DATA\r", b"486B10410C1AF8AA\r", b"18DAF11004410C1AF8\r",
    b"ELM327 v1.5\r\r>",
    b"7E8 10 14 49 02 01 57 30 4C\r7E8 21 30 30 30 30 34 33 4D\r7E8 22 42 35 34 31 33 32 36\r",
)  # fmt: skip


def lines(data: bytes) -> list[str]:
    return data.decode("ascii", "replace").replace(">", "").split("\r")


def answer(number: str, first: tuple[str, ...], data: bytes, mode: int) -> None:
    """Everything that the link does with lines."""
    frames = Frames(number, first)
    body = positive(frames.engine_answer(frames.parse(lines(data), mode), mode), mode)
    if mode == 1:
        got = walk(body, {0x0C: 2, 0x0D: 1, 0x05: 1}, [0x0C, 0x0D, 0x05])
        assert all(len(got[n]) == {0x0C: 2, 0x0D: 1, 0x05: 1}[n] for n in got)


@given(st.sampled_from(sorted(FIRST)), inputs(*GOOD), st.sampled_from([0x01, 0x03, 0x07, 0x09, 0x22]))
def test_lines_of_an_adapter(number, data, mode):
    feed("adapter, lines", answer, number, FIRST[number], data, mode)
    for line in cleaned(lines(data)):
        said(line)


@given(st.sampled_from(sorted(PROTOCOLS)), inputs(*(f[0].encode() for f in FIRST.values())))
def test_the_first_answer_of_a_car(number, data):
    """The one by which the car's control units are known."""
    feed("adapter, first answer", Frames, number, tuple(cleaned(lines(data))))


@given(st.binary(max_size=80), st.booleans())
def test_bytes_of_a_control_unit(data, counted):
    """Identity and stored codes: text of these bytes and no more."""
    feed("adapter, decoded bytes", lambda: [
        bitmap(0, data), vin(data), calibration_ids(data), verification_numbers(data), codes(data, counted=counted),
    ])  # fmt: skip


def test_no_growth_over_many_answers():
    """Frames keep nothing of what they were fed."""
    import tracemalloc

    frames, chance = Frames("6", FIRST["6"]), random.Random(1)
    sizes = []
    tracemalloc.start()
    for n in range(1, 3_001):
        piece = bytes(chance.randrange(256) for _ in range(chance.randrange(30)))
        feed("adapter, lines", lambda data=piece: frames.parse(lines(data), 1))
        if n % 1_000 == 0:
            sizes.append(tracemalloc.get_traced_memory()[0])
    tracemalloc.stop()
    assert sizes[-1] - sizes[0] < 200_000
