"""The zip itself: written the same way each time, read a piece at a time, damaged contents told."""

from __future__ import annotations

import io
import zipfile
import zlib
from pathlib import Path

import pytest

from coach.bundle.zipped import PIECE, Entry, ZipWriter, digest_of, pieces, read_entries, read_whole
from coach.errors import BundleError


def write(path: Path, files: dict[str, bytes]) -> Path:
    with path.open("wb") as file, ZipWriter(file) as zipped:
        for name, raw in files.items():
            zipped.add(name, [raw[:10], raw[10:]])
    return path


def test_what_is_written_is_read_by_us_and_by_others(tmp_path):
    """Small and large, empty and incompressible, through Python's zipfile as well."""
    files = {"a.txt": b"hello" * 10, "b/c.bin": bytes(range(256)) * 2_000, "d.txt": b""}
    path = write(tmp_path / "x.zip", files)
    entries = read_entries(path)
    assert {n: read_whole(path, e, 10**6) for n, e in entries.items()} == files
    assert all(len(p) <= PIECE for e in entries.values() for p in pieces(path, e))
    with zipfile.ZipFile(path) as other:
        assert {n: other.read(n) for n in other.namelist()} == files
    assert write(tmp_path / "y.zip", files).read_bytes() == path.read_bytes()
    seen = []
    digest_of(path, entries["a.txt"], seen.append)
    assert b"".join(seen) == files["a.txt"]


@pytest.mark.parametrize("name", ["../a", "a b", "", "a//b"])
def test_names_that_would_be_refused_are_not_written(name):
    with ZipWriter(io.BytesIO()) as zipped, pytest.raises(ValueError, match="cannot be the name"):
        zipped.add(name, [b"x"])


def test_a_name_is_written_once():
    with ZipWriter(io.BytesIO()) as zipped:
        zipped.add("a", [b"x"])
        with pytest.raises(ValueError, match="cannot be the name"):
            zipped.add("a", [b"y"])


def test_entries_that_are_stored(tmp_path):
    """A file may stand in it as it is."""
    path = tmp_path / "s.zip"
    with zipfile.ZipFile(path, "w") as packed:
        info = zipfile.ZipInfo("a", (1980, 1, 1, 0, 0, 0))
        packed.writestr(info, b"plain")
    assert read_whole(path, read_entries(path)["a"], 100) == b"plain"


def test_what_is_too_large_for_what_it_should_be(tmp_path):
    path = write(tmp_path / "x.zip", {"a": b"x" * 100})
    with pytest.raises(BundleError, match="too large"):
        read_whole(path, read_entries(path)["a"], 99)


def raw_entry(path: Path, packed: bytes, plain: bytes, *, size: int | None = None, crc: int | None = None) -> Entry:
    """A file of packed bytes alone, with what a list of files would say of it."""
    path.write_bytes(packed)
    crc = zlib.crc32(plain) if crc is None else crc
    return Entry("a", deflated=True, crc=crc, packed=len(packed), size=len(plain) if size is None else size, offset=0)


def test_packed_bytes_that_are_damaged(tmp_path):
    """Another sum, another length, two streams, half a stream, no stream, a file that is shorter than it was."""
    path = tmp_path / "raw"
    plain = b"some text, again and again" * 50
    packed = zlib.compress(plain, 9)[2:-4]
    assert b"".join(pieces(path, raw_entry(path, packed, plain))) == plain
    bad = [
        raw_entry(path, packed, plain, crc=1),
        raw_entry(path, packed, plain, size=len(plain) - 1),
        raw_entry(path, packed, plain, size=len(plain) + 1),
    ]
    for entry in bad:
        with pytest.raises(BundleError, match="damaged"):
            list(pieces(path, entry))
    for wrong in (packed + packed, packed[:-3], b"\xff" * 20):
        with pytest.raises(BundleError, match="damaged"):
            list(pieces(path, raw_entry(path, wrong, plain)))
    entry = raw_entry(path, packed, plain)
    path.write_bytes(packed[:10])
    with pytest.raises(BundleError, match="damaged"):
        list(pieces(path, entry))
    path.unlink()
    with pytest.raises(BundleError, match="damaged"):
        list(pieces(path, entry))


def test_a_stream_that_swells_stops_at_what_was_said(tmp_path):
    """Of ten megabytes behind a promise of ten bytes no more than a piece is unpacked."""
    path = tmp_path / "raw"
    plain = bytes(10_000_000)
    entry = raw_entry(path, zlib.compress(plain, 9)[2:-4], plain, size=10)
    got = []
    with pytest.raises(BundleError, match="damaged"):
        got.extend(len(piece) for piece in pieces(path, entry))
    assert sum(got) <= PIECE
