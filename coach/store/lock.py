"""One server a data folder: a lock that the system lets go of when its process dies."""

from __future__ import annotations

import contextlib
import os
import sys
from pathlib import Path

from coach.errors import StoreError
from coach.store.files import FILE_MODE, store_error

NAME = "coach.lock"


class FolderLock:
    """Holds the folder until `release` or the end of the process.

    Raises:
        StoreError: another process holds it.
    """

    def __init__(self, folder: Path) -> None:
        path = folder / NAME
        try:
            self._handle: int | None = os.open(path, os.O_RDWR | os.O_CREAT, FILE_MODE)
        except OSError as error:
            raise store_error(error, folder) from error
        try:
            _lock(self._handle)
        except OSError as error:
            os.close(self._handle)
            self._handle = None
            raise StoreError(
                "another coach is using this data folder; stop it, or name another folder", where=str(folder)
            ) from error

    def release(self) -> None:
        """Lets the folder go. May be called twice."""
        if self._handle is not None:
            with contextlib.suppress(OSError):
                os.close(self._handle)
            self._handle = None


if sys.platform == "win32":
    import msvcrt

    def _lock(handle: int) -> None:
        msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
else:
    import fcntl

    def _lock(handle: int) -> None:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
