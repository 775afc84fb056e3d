"""Stands between SQLite and the files it writes, in this process: every write and every sync can be seen, or refused.

SQLite's own functions do the work, but for the sync, which only the watcher hears of. Works where Python's `sqlite3`
lets its library be reached, which `there` says.
"""

from __future__ import annotations

import ctypes
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from ctypes import CFUNCTYPE, POINTER, c_char_p, c_int, c_int64, c_void_p
from functools import cache
from typing import Any, Protocol

OK, FULL, NO_SYNC = 0, 13, 1034
"""SQLITE_OK, SQLITE_FULL, SQLITE_IOERR_FSYNC (https://sqlite.org/rescode.html)."""
LOG, CREATE = 0x80000 | 0x800, 0x4
"""Flags of an open: SQLITE_OPEN_WAL or SQLITE_OPEN_MAIN_JOURNAL, SQLITE_OPEN_CREATE."""

VFS_WORDS, NEXT, NAME, OPEN = 21, 2, 3, 5
"""sqlite3_vfs in machine words, and places in it (https://sqlite.org/c3ref/vfs.html)."""
METHOD_WORDS, WRITE, TRUNCATE, SYNC = 19, 3, 4, 5
"""sqlite3_io_methods likewise (https://sqlite.org/c3ref/io_methods.html)."""
WORD = ctypes.sizeof(c_void_p)

_Open = CFUNCTYPE(c_int, c_void_p, c_void_p, c_void_p, c_int, POINTER(c_int))
_Write = CFUNCTYPE(c_int, c_void_p, c_void_p, c_int, c_int64)
_Truncate = CFUNCTYPE(c_int, c_void_p, c_int64)
_Sync = CFUNCTYPE(c_int, c_void_p, c_int)


class Watcher(Protocol):
    """Is asked before each call: what is not `OK` is SQLite's answer, and the call is not made."""

    def wrote(self, path: str, offset: int, data: bytes) -> int:
        """`data` is about to be written."""
        ...

    def cut(self, path: str, size: int) -> int:
        """The file is about to be cut to `size`."""
        ...

    def syncing(self, path: str) -> int:
        """The file is about to be synced."""
        ...

    def synced(self, path: str, *, folder: bool) -> None:
        """It was, and with it the names in its folder if `folder`."""
        ...


@cache
def _library() -> Any:
    import _sqlite3

    where = getattr(_sqlite3, "__file__", None)
    if sys.platform == "win32" or where is None:
        return None
    library = ctypes.CDLL(where)
    try:
        library.sqlite3_vfs_find.restype = c_void_p
        library.sqlite3_vfs_find.argtypes = [c_char_p]
        library.sqlite3_vfs_register.argtypes = [c_void_p, c_int]
        library.sqlite3_vfs_unregister.argtypes = [c_void_p]
    except AttributeError:
        return None
    return library


def there() -> bool:
    """Whether this Python's SQLite can be watched."""
    return _library() is not None


class _Layer:
    """A copy of SQLite's file layer for this system, with three functions led through `watcher`."""

    def __init__(self, original: int, watcher: Watcher) -> None:
        self._original = original
        self._watcher = watcher
        self._paths: dict[int, str] = {}
        self._new: set[int] = set()
        self._methods: dict[int, Any] = {}
        self._name = ctypes.create_string_buffer(b"watched")
        self.words = (c_void_p * VFS_WORDS).from_buffer_copy(ctypes.string_at(original, VFS_WORDS * WORD))
        self._really_open = _Open(self.words[OPEN] or 0)
        self._kept: list[Any] = [_Open(self._open)]
        self.words[NEXT] = None
        self.words[NAME] = ctypes.addressof(self._name)
        self.words[OPEN] = ctypes.cast(self._kept[0], c_void_p).value

    def _open(self, _layer: int, name: int | None, file: int, flags: int, given: Any) -> int:
        # The name is handed on as it came: SQLite goes on reading it where it stands.
        answer = int(self._really_open(self._original, name, file, flags, given))
        methods = c_void_p.from_address(file)
        if answer != OK or name is None or methods.value is None:
            return answer
        self._paths[file] = ctypes.string_at(name).decode()
        self._new.discard(file)
        if flags & LOG and flags & CREATE:
            self._new.add(file)
        if methods.value not in self._methods:
            self._methods[methods.value] = self._led(methods.value)
        methods.value = ctypes.addressof(self._methods[methods.value])
        return answer

    def _led(self, methods: int) -> Any:
        words = (c_void_p * METHOD_WORDS).from_buffer_copy(ctypes.string_at(methods, METHOD_WORDS * WORD))
        write, cut = _Write(words[WRITE] or 0), _Truncate(words[TRUNCATE] or 0)

        def led_write(file: int, data: int, size: int, offset: int) -> int:
            refused = self._watcher.wrote(self._paths[file], offset, ctypes.string_at(data, size))
            return refused or int(write(file, data, size, offset))

        def led_cut(file: int, size: int) -> int:
            return self._watcher.cut(self._paths[file], size) or int(cut(file, size))

        def led_sync(file: int, _flags: int) -> int:
            # Nothing is really synced: what counts as durable is the watcher's affair, and a real disk is slow.
            answer = self._watcher.syncing(self._paths[file])
            if answer == OK:
                # With a log that was made new the folder is synced: unixSync in SQLite's own os_unix.c.
                self._watcher.synced(self._paths[file], folder=file in self._new)
                self._new.discard(file)
            return answer

        led = (_Write(led_write), _Truncate(led_cut), _Sync(led_sync))
        self._kept.append(led)
        for place, function in zip((WRITE, TRUNCATE, SYNC), led, strict=True):
            words[place] = ctypes.cast(function, c_void_p).value
        return words


_kept: list[_Layer] = []
"""A connection may outlive the watching: what it calls must not go."""


@contextmanager
def watching(watcher: Watcher) -> Iterator[None]:
    """Every connection that is opened inside goes by way of `watcher`, which is called from any thread."""
    library = _library()
    original = library.sqlite3_vfs_find(None)
    layer = _Layer(original, watcher)
    _kept.append(layer)
    place = ctypes.addressof(layer.words)
    library.sqlite3_vfs_register(place, 1)
    try:
        yield
    finally:
        library.sqlite3_vfs_register(original, 1)
        library.sqlite3_vfs_unregister(place)
