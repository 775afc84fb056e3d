"""Files that are there whole or not at all: temporary file, fsync, rename, fsync of the folder. Modes 0600 and 0700."""

from __future__ import annotations

import contextlib
import errno
import gzip
import hashlib
import os
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import IO, BinaryIO, cast

from coach.errors import StoreError

FILE_MODE = 0o600
FOLDER_MODE = 0o700
# EFBIG: the file may not grow, by a limit of the system or of the file system; to a drive that is a full disk.
DISK_FULL = frozenset((errno.ENOSPC, errno.EDQUOT, errno.EFBIG))
TEMPORARY = ".part"
"""Ending of a file that is still being written; swept away when the folder is opened."""


def store_error(error: Exception, where: Path | str) -> StoreError:
    """One sentence for `error`, an OSError or an error of SQLite, that came while writing `where`."""
    text = str(error).lower()
    number = getattr(error, "errno", None)
    if number in DISK_FULL or "full" in text:
        return StoreError("the disk is full; make room, what was stored so far stays readable", where=str(where))
    if number in (errno.EACCES, errno.EPERM, errno.EROFS) or "readonly" in text or "read-only" in text:
        return StoreError("the data folder cannot be written; allow writing or choose another one", where=str(where))
    if "i/o error" in text:
        return StoreError(
            "the disk does not take what is written; look after it, what was stored so far stays readable",
            where=str(where),
        )
    if "malformed" in text or "not a database" in text:
        return StoreError("the database is damaged; `coach data rescue` exports what is readable", where=str(where))
    if "locked" in text or "busy" in text:
        return StoreError("another program holds the database; close it and try again", where=str(where))
    reason = getattr(error, "strerror", None) or error
    return StoreError(f"the data folder cannot be used ({reason})", where=str(where))


def make_folder(path: Path) -> None:
    """Makes `path` and what is missing above it, durable, for the owner alone. Raises StoreError."""
    try:
        missing = [p for p in (path, *path.parents) if not p.exists()]
        for part in reversed(missing):
            part.mkdir(mode=FOLDER_MODE, exist_ok=True)
            # A file is only as durable as the name of each folder above it.
            sync_folder(part.parent)
        if not path.is_dir():
            raise StoreError("the data folder is a file; name a folder", where=str(path))
    except OSError as error:
        if isinstance(error, StoreError):
            raise
        raise store_error(error, path) from error


def private_file(path: Path) -> None:
    """Makes sure that `path` exists and that its owner alone may read it. Raises OSError."""
    os.close(os.open(path, os.O_RDWR | os.O_CREAT, FILE_MODE))
    if os.name == "posix" and path.stat().st_mode & 0o077:
        path.chmod(FILE_MODE)


def sync_folder(path: Path) -> None:
    """Makes the names in a folder durable, where the system can."""
    if os.name != "posix":
        return
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


class _Hashing:
    """Passes bytes on to a file and keeps their digest and number."""

    def __init__(self, inner: IO[bytes]) -> None:
        self.inner = inner
        self.digest = hashlib.sha256()
        self.size = 0

    def write(self, data: bytes) -> int:
        self.digest.update(data)
        self.size += len(data)
        return self.inner.write(data)


def write_durable(path: Path, write: Callable[[_Hashing], object]) -> tuple[str, int]:
    """Writes `path` so that after a power cut it is the old one or the new one, whole.

    Args:
        write: called with an object that takes bytes by `write(data)`.

    Returns:
        SHA-256 in hexadecimal and the size in bytes of what is now durable.

    Raises:
        StoreError: nothing was changed.
    """
    part = path.with_name(path.name + TEMPORARY)
    try:
        make_folder(path.parent)
        handle = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, FILE_MODE)
        with os.fdopen(handle, "wb") as file:
            hashing = _Hashing(file)
            write(hashing)
            file.flush()
            os.fsync(file.fileno())
        part.replace(path)
        sync_folder(path.parent)
    except OSError as error:
        with contextlib.suppress(OSError):
            part.unlink()
        if isinstance(error, StoreError):
            raise
        raise store_error(error, path) from error
    return hashing.digest.hexdigest(), hashing.size


def write_table_file(path: Path, chunks: Iterable[bytes]) -> None:
    """Writes a table for a person, packed when its name ends in `.gz`; whole or not at all. Raises StoreError."""

    def write(file: _Hashing) -> None:
        if path.suffix == ".gz":
            # No name and no time in the packed file, so that its bytes depend on the samples only.
            with gzip.GzipFile(filename="", fileobj=cast("BinaryIO", file), mode="wb", mtime=0) as packed:
                for chunk in chunks:
                    packed.write(chunk)
        else:
            for chunk in chunks:
                file.write(chunk)

    write_durable(path, write)


def sweep(folder: Path) -> int:
    """Removes what a crash left half-written below `folder`; says how many files that were."""
    count = 0
    for part in folder.rglob("*" + TEMPORARY):
        with contextlib.suppress(OSError):
            part.unlink()
            count += 1
    return count
