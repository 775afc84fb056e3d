"""Blocks: what goes in comes out, by signal, and damage is seen."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from coach.store.blocks import FARTHEST_US, LATE, SPAN_US, TWICE, Block, BlockBuilder, decode, to_series

samples = st.lists(
    st.tuples(
        st.integers(0, 10**11),
        st.integers(0, 5),
        st.floats(allow_nan=True, allow_infinity=True),
        st.sampled_from([0, 0, 0, LATE, TWICE]),
        st.sampled_from([0, 0, 20_000]),
    ),
    max_size=60,
)


def build(rows):
    builder, blocks = BlockBuilder(), []
    for row in rows:
        if not builder.fits(row[0]):
            blocks.append(builder.cut())
        builder.add(*row)
    last = builder.cut()
    return blocks if last is None else [*blocks, last]


@given(samples)
def test_every_sample_comes_back_bit_by_bit(rows):
    """Whatever is added, in any order and with any flags, is read back equal."""
    blocks = build(rows)
    read = decode(blocks)
    key = [(b.format, i) for i, b in enumerate(blocks)]
    if len({k for k, _ in key}) > 1:
        rows = sorted(rows, key=lambda r: r[0])
        read_rows = sorted(zip(read.t_us, read.signal, read.value, read.flags, strict=True), key=lambda r: r[0])
        assert [r[0] for r in read_rows] == [r[0] for r in rows]
        assert sorted(r[1] for r in read_rows) == sorted(r[1] for r in rows)
    else:
        assert read.t_us.tolist() == [r[0] for r in rows]
        assert read.signal.tolist() == [r[1] for r in rows]
        assert read.value.tobytes() == np.array([r[2] for r in rows], dtype=np.float64).tobytes()
        assert read.flags.tolist() == [r[3] for r in rows]
    assert read.damaged == 0


@given(samples)
def test_a_block_never_spans_more_than_it_may(rows):
    """No block reaches past its span, late samples aside, and none outgrows its own time field."""
    for block in build(sorted(rows, key=lambda r: r[0])):
        assert block.last_us - block.first_us < SPAN_US
    for block in build(rows):
        assert block.last_us - block.first_us <= FARTHEST_US
        assert block.samples > 0


def test_a_damaged_block_is_left_out_and_said():
    """One flipped bit, a short block or an unknown format cost that block only."""
    good = build([(0, 0, 1.0, 0, 0)])[0]
    flipped = good._replace(data=bytes([good.data[0] ^ 1]) + good.data[1:])
    short = good._replace(samples=2)
    strange = good._replace(format=9)
    after = build([(400_000, 0, 2.0, 0, 0)])[0]
    read = decode([good, flipped, short, strange, after])
    assert read.t_us.tolist() == [0, 400_000]
    assert read.damaged == 3
    _, notes = to_series(read, ["speed"])
    assert [(n.code, n.count) for n in notes] == [("damaged_blocks", 3)]


def test_samples_that_were_not_judged_are_kept_out_of_the_series_and_noted():
    """Late and repeated samples are stored, and only noted when the drive is read."""
    rows = [(100, 0, 1.0, 0, 0), (100, 0, 9.0, TWICE, 0), (50, 1, 8.0, LATE, 0), (200, 1, 2.0, 0, 0)]
    series, notes = to_series(decode(build(rows)), ["speed", "load"])
    assert {n: (s.t_us.tolist(), s.value.tolist()) for n, s in series.items()} == {
        "speed": ([100], [1.0]),
        "load": ([200], [2.0]),
    }
    assert {(n.code, n.signal, n.count) for n in notes} == {("late_samples", "load", 1), ("twice_samples", "speed", 1)}


def test_no_blocks_give_no_samples():
    """A drive without a sample can be read."""
    series, notes = to_series(decode([]), [])
    assert series == {}
    assert notes == ()


def test_the_format_is_the_documented_one():
    """Sixteen bytes: uint16 signal, uint16 flags, int32 time since the base, float64 value, little-endian."""
    block = build([(1_000_000, 3, 1.5, 0, 0), (1_000_258, 4, -2.0, 1, 0)])[0]
    first = bytes.fromhex("0300 0000 00000000 000000000000f83f".replace(" ", ""))
    second = bytes.fromhex("0400 0100 02010000 00000000000000c0".replace(" ", ""))
    assert isinstance(block, Block)
    assert block.data == first + second
    assert (block.first_us, block.last_us, block.samples, block.format) == (1_000_000, 1_000_258, 2, 1)
