"""The zip around a bundle: written the same way each time, and read only if it was written that way.

The reader takes one plain layout: entries one after the other from the first byte, then their list, then the end.
Whatever hides, overlaps, links, escapes or swells does not have it. Nothing is ever unpacked to disk.
"""

from __future__ import annotations

import re
import struct
import zipfile
import zlib
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from typing import IO, Self

from coach.errors import BundleError

MOST_FILE = 256 * 2**20
"""Bytes of the zip."""
MOST_ENTRIES = 5_000
MOST_ONE = 512 * 2**20
"""Unpacked bytes of one file in it."""
MOST_ALL = 2**30
"""Unpacked bytes of all files in it."""
MOST_RATIO = 200
"""Unpacked to packed bytes, for a file of more than `SMALL`: tables of a drive pack to a tenth or a thirtieth."""
SMALL = 2**20
LONGEST_NAME = 200
PIECE = 2**16

_LOCAL = struct.Struct("<4s5H3I2H")
_CENTRAL = struct.Struct("<4s6H3I5H2I")
_END = struct.Struct("<4s4H2IH")
_STORED, _DEFLATED = 0, 8
_TIME, _DATE = 0, 0x21  # 1980-01-01, the first day that a zip can name
_STAMP = (1980, 1, 1, 0, 0, 0)
_REGULAR = 0o100000
NAME = re.compile(r"[A-Za-z0-9_][A-Za-z0-9._-]*(/[A-Za-z0-9_][A-Za-z0-9._-]*)*")

FOREIGN = (
    "it was packed by another program, or changed; a bundle is taken only as it was made, so ask for the file itself"
)


@dataclass(frozen=True, slots=True)
class Entry:
    """One file in the zip: `offset` is where its packed bytes begin."""

    name: str
    deflated: bool
    crc: int
    packed: int
    size: int
    offset: int


# --- writing


class ZipWriter:
    """Writes entries, with their SHA-256 and sizes noted. The bytes depend on names and contents only.

    Args:
        file: seekable, at its beginning.
    """

    def __init__(self, file: IO[bytes]) -> None:
        self._zip = zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED, allowZip64=False)
        self.digests: dict[str, tuple[int, str]] = {}
        self.packed: dict[str, int] = {}

    def add(self, name: str, pieces: Iterable[bytes]) -> None:
        """Adds one file. Raises ValueError for a name that the reader would refuse."""
        if not NAME.fullmatch(name) or name in self.digests:
            raise ValueError(f"{name!r} cannot be the name of a file in a bundle")
        info = zipfile.ZipInfo(name, _STAMP)
        info.compress_type = zipfile.ZIP_DEFLATED
        info.create_system = 3  # the same on every system
        info.external_attr = (_REGULAR | 0o600) << 16
        digest, size = sha256(), 0
        with self._zip.open(info, "w") as out:
            for piece in pieces:
                digest.update(piece)
                size += len(piece)
                out.write(piece)
        self.digests[name] = size, digest.hexdigest()
        self.packed[name] = info.compress_size

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        """Writes the list of entries; after a failure it is that of a file that nobody keeps."""
        self._zip.close()


# --- reading


def read_entries(path: Path) -> dict[str, Entry]:
    """The files in the zip at `path`, by name, in order.

    Raises:
        BundleError: it is no zip, or not laid out as a bundle is.
    """
    try:
        size = path.stat().st_size
        if not path.is_file():
            raise BundleError("this is no file", where=path.name)
        if size > MOST_FILE:
            raise BundleError(f"it is too large for a bundle: at most {MOST_FILE >> 20} MB", where=path.name)
        with path.open("rb") as file:
            entries = list(_entries(file, size))
    except OSError as error:
        if isinstance(error, BundleError):
            raise
        raise BundleError(f"it cannot be read: {error.strerror or error}", where=str(path)) from None
    except _Refused as refused:
        raise BundleError(str(refused), where=path.name) from None
    return {entry.name: entry for entry in entries}


class _Refused(Exception):
    """A sentence why the layout is not taken."""


def _entries(file: IO[bytes], size: int) -> Iterator[Entry]:
    listed_at, count = _end(file, size)
    file.seek(listed_at)
    listing = file.read(size - _END.size - listed_at)
    seen: set[str] = set()
    entries: list[Entry] = []
    at, offset, total = 0, 0, 0
    for _ in range(count):
        if len(listing) - at < _CENTRAL.size:
            raise _Refused("its list of files is cut off")
        (sign, _, needs, flags, method, time, date, crc, packed, unpacked, name_size, extra, comment, disk, _,
         attributes, begins) = _CENTRAL.unpack_from(listing, at)  # fmt: skip
        raw = listing[at + _CENTRAL.size : at + _CENTRAL.size + name_size]
        at += _CENTRAL.size + name_size
        if sign != b"PK\1\2" or len(raw) != name_size:
            raise _Refused("its list of files is damaged")
        name = _name(raw, attributes)
        if name.casefold() in seen:
            raise _Refused(f"the file {name} is in it twice")
        seen.add(name.casefold())
        if flags & 1:
            raise _Refused(f"the file {name} is locked with a password; a bundle has none")
        if 0xFFFFFFFF in (packed, unpacked, begins) or needs > 20 or extra or comment or disk or flags:
            raise _Refused(FOREIGN)
        if method not in (_STORED, _DEFLATED) or (time, date) != (_TIME, _DATE):
            raise _Refused(FOREIGN)
        total += unpacked
        _not_a_bomb(name, packed, unpacked, total)
        if begins != offset:
            raise _Refused(
                f"the file {name} does not stand where the one before it ends: files overlap, or something is hidden"
            )
        _local(file, name, raw, begins, (needs, flags, method, time, date, crc, packed, unpacked, name_size, 0))
        data = begins + _LOCAL.size + name_size
        offset = data + packed
        if offset > listed_at:
            raise _Refused(f"the file {name} is cut off")
        entries.append(Entry(name, method == _DEFLATED, crc, packed, unpacked, data))
    if at != len(listing) or offset != listed_at:
        raise _Refused("there is something in it that its list of files does not name")
    yield from entries


def _end(file: IO[bytes], size: int) -> tuple[int, int]:
    """Where the list of files begins, and how many there are."""
    file.seek(0)
    first = file.read(4)
    if first not in (b"PK\3\4", b"PK\5\6"):
        raise _Refused("this is no bundle: a bundle is a zip file made by the coach")
    file.seek(max(0, size - _END.size))
    tail = file.read(_END.size)
    if len(tail) < _END.size or tail[:4] != b"PK\5\6":
        raise _Refused("it is cut off, or something was added at its end; ask for it again")
    _, disk, first_disk, here, count, listed, listed_at, comment = _END.unpack(tail)
    if disk or first_disk or here != count or comment:
        raise _Refused(FOREIGN)
    if count > MOST_ENTRIES:
        raise _Refused(f"there are {count} files in it; a bundle has at most {MOST_ENTRIES}")
    if listed_at + listed + _END.size != size or listed > MOST_ENTRIES * (_CENTRAL.size + LONGEST_NAME):
        raise _Refused("its list of files is not where it says; it is cut off or changed")
    return listed_at, count


def _name(raw: bytes, attributes: int) -> str:
    shown = raw[:60].decode("ascii", "backslashreplace")
    if not raw.isascii():
        raise _Refused(f"a file in it has a name in an unknown encoding: {shown!r}")
    name = raw.decode("ascii")
    if len(name) > LONGEST_NAME or not NAME.fullmatch(name):
        raise _Refused(f"a file in it has a name that leads elsewhere or is not allowed: {shown!r}")
    kind = (attributes >> 16) & 0o170000
    if kind not in (0, _REGULAR) or attributes & 0x10:
        raise _Refused(f"{name} in it is a link or a folder; a bundle has plain files only")
    return name


def _not_a_bomb(name: str, packed: int, unpacked: int, total: int) -> None:
    if unpacked > MOST_ONE or total > MOST_ALL:
        raise _Refused(f"the file {name} unpacks to more than a bundle may hold ({MOST_ALL >> 20} MB in all)")
    if unpacked > SMALL and unpacked > MOST_RATIO * max(packed, 1):
        raise _Refused(f"the file {name} unpacks to more than {MOST_RATIO} times its size; no table of a drive does")


def _local(file: IO[bytes], name: str, raw: bytes, begins: int, listed: tuple[int, ...]) -> None:
    file.seek(begins)
    head = file.read(_LOCAL.size + len(raw))
    if len(head) < _LOCAL.size + len(raw):
        raise _Refused(f"the file {name} is cut off")
    sign, *own = _LOCAL.unpack_from(head)
    if sign != b"PK\3\4" or tuple(own) != listed or head[_LOCAL.size :] != raw:
        raise _Refused(f"what stands before the file {name} is not what the list of files says of it")


def pieces(path: Path, entry: Entry) -> Iterator[bytes]:
    """The unpacked bytes of one file, a piece at a time.

    Raises:
        BundleError: they are damaged, or more or fewer than was said.
    """
    done, crc = 0, 0
    try:
        with path.open("rb") as file:
            file.seek(entry.offset)
            for piece in _unpacked(file, entry):
                done += len(piece)
                if done > entry.size:
                    break
                crc = zlib.crc32(piece, crc)
                yield piece
    except (zlib.error, OSError):
        done = -1
    if done != entry.size or crc != entry.crc:
        raise BundleError("it is damaged; ask for it again", where=f"{path.name}, {entry.name}")


def _unpacked(file: IO[bytes], entry: Entry) -> Iterator[bytes]:
    left = entry.packed
    unpack = zlib.decompressobj(-15) if entry.deflated else None
    while left > 0:
        packed = file.read(min(PIECE, left))
        if not packed:
            return
        left -= len(packed)
        if unpack is None:
            yield packed
            continue
        while packed:
            yield unpack.decompress(packed, PIECE)
            packed = unpack.unconsumed_tail
            if unpack.unused_data:
                raise zlib.error("more than one stream")
    if unpack is not None:
        while rest := unpack.decompress(b"", PIECE):
            yield rest
        if not unpack.eof:
            raise zlib.error("cut off")


def read_whole(path: Path, entry: Entry, most: int) -> bytes:
    """One small file. Raises BundleError when it has more than `most` bytes, or is damaged."""
    if entry.size > most:
        raise BundleError(f"it is too large: at most {most >> 10} kB", where=f"{path.name}, {entry.name}")
    return b"".join(pieces(path, entry))


def digest_of(path: Path, entry: Entry, also: Callable[[bytes], object] | None = None) -> str:
    """SHA-256 of one file in hexadecimal. Raises BundleError."""
    digest = sha256()
    for piece in pieces(path, entry):
        digest.update(piece)
        if also is not None:
            also(piece)
    return digest.hexdigest()
