"""A disk that forgets what was not synced: what a power cut leaves of a folder, at any moment, at its worst.

Content counts from the file's last sync on, a name from the last sync of the folder that it is in. Both are seen from
within the process: Python's own `os.fsync`, and SQLite's by `coach.soak.sqlite`. On Linux only.
"""

from __future__ import annotations

import errno
import os
import random
import stat
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from threading import RLock
from typing import Any, Self
from unittest.mock import patch

from coach.soak.sqlite import FULL, NO_SYNC, OK, there, watching

SECTOR = 512
"""A disk writes so much whole, or not at all (common practice, no source)."""

Write = tuple[int, bytes | None]
"""Where, and what; nothing for a cut to that size."""


@dataclass
class Image:
    """What a disk holds at one moment: for each file its synced content and what was written since."""

    synced: dict[int, bytes]
    since: dict[int, tuple[Write, ...]]
    names: dict[int, dict[str, int]]
    root: int

    def lay(self, folder: Path, chance: random.Random | None = None) -> None:
        """Lays the image into `folder`.

        Args:
            chance: draws which sectors, of those that were written and not synced, got to the disk all the same;
                none of them did when left out.
        """
        self._lay(self.root, folder, chance)

    def _lay(self, number: int, folder: Path, chance: random.Random | None) -> None:
        folder.mkdir(mode=0o700)
        for name, inner in self.names.get(number, {}).items():
            if inner in self.names:
                self._lay(inner, folder / name, chance)
            else:
                (folder / name).write_bytes(self._content(inner, chance))

    def _content(self, number: int, chance: random.Random | None) -> bytes:
        data = bytearray(self.synced.get(number, b""))
        if chance is None:
            return bytes(data)
        for offset, written in self.since.get(number, ()):
            if written is None:
                if chance.random() < 0.5:
                    del data[offset:]
                continue
            for start in range(0, len(written), SECTOR):
                if chance.random() < 0.5:
                    part, at = written[start : start + SECTOR], offset + start
                    data.extend(bytes(max(0, at + len(part) - len(data))))
                    data[at : at + len(part)] = part
        return bytes(data)


class Disk:
    """Watches what is written and synced below a folder, which is there already.

    Args:
        root: the folder; it is there after every power cut.
        at_each: told the site (`write`, `sync`, `open`, `folder`, `rename`) before it is used; an OSError that it
            raises is what the program gets instead.
    """

    def __init__(self, root: Path, at_each: Callable[[str], None] = lambda _site: None) -> None:
        self._root = root
        self._at_each = at_each
        self._synced: dict[int, bytes] = {}
        self._since: dict[int, list[Write]] = {}
        self._names: dict[int, dict[str, int]] = {}
        self._held: dict[int, int] = {}
        self._lock = RLock()

    def image(self) -> Image:
        """The disk as it is now."""
        with self._lock:
            since = {number: tuple(writes) for number, writes in self._since.items()}
            names = {number: dict(inside) for number, inside in self._names.items()}
            return Image(dict(self._synced), since, names, self._root.stat().st_ino)

    @contextmanager
    def watched(self) -> Iterator[None]:
        """Watches while it is open, one disk at a time."""
        handle = os.open(self._root, os.O_RDONLY)
        self._keep(handle)
        os.close(handle)
        with ExitStack() as stack:
            stack.callback(self._let_go)
            for name in ("fsync", "open", "mkdir", "replace", "fdopen"):
                stack.enter_context(patch.object(os, name, getattr(self, f"_{name}")(getattr(os, name))))
            stack.enter_context(watching(self))
            yield

    def _let_go(self) -> None:
        for handle in self._held.values():
            os.close(handle)
        self._held.clear()

    # --- Python's side

    def _fsync(self, _really: Callable[[int], None]) -> Callable[[int], None]:
        def fsync(handle: int) -> None:
            self._at_each("sync")
            self._keep(handle)

        return fsync

    def _open(self, really: Callable[..., int]) -> Callable[..., int]:
        def opened(path: Any, flags: int, *more: Any, **others: Any) -> int:
            if flags & os.O_CREAT:
                self._at_each("open")
            return really(path, flags, *more, **others)

        return opened

    def _mkdir(self, really: Callable[..., None]) -> Callable[..., None]:
        return self._first("folder", really)

    def _replace(self, really: Callable[..., None]) -> Callable[..., None]:
        return self._first("rename", really)

    def _first(self, site: str, really: Callable[..., None]) -> Callable[..., None]:
        def asked(*arguments: Any, **others: Any) -> None:
            self._at_each(site)
            really(*arguments, **others)

        return asked

    def _fdopen(self, really: Callable[..., Any]) -> Callable[..., Any]:
        def opened(handle: int, mode: str = "r", *more: Any, **others: Any) -> Any:
            file = really(handle, mode, *more, **others)
            return _Asking(file, self._at_each) if mode == "wb" else file

        return opened

    def _keep(self, handle: int) -> None:
        """Takes down what is durable now: the names in a folder, or the content of a file."""
        about = os.fstat(handle)
        with self._lock:
            if stat.S_ISDIR(about.st_mode):
                self._names[about.st_ino] = self._listed(handle)
            else:
                # Held open, so that its number goes to no other file.
                if about.st_ino not in self._held:
                    self._held[about.st_ino] = os.dup(handle)
                self._synced[about.st_ino] = Path(f"/proc/self/fd/{handle}").read_bytes()
                self._since.pop(about.st_ino, None)

    def _listed(self, handle: int) -> dict[str, int]:
        inside = {}
        for entry in os.scandir(handle):
            inside[entry.name] = entry.inode()
            if entry.is_dir():
                self._names.setdefault(entry.inode(), {})
        return inside

    # --- SQLite's side

    def wrote(self, path: str, offset: int, data: bytes) -> int:
        """Takes down what SQLite writes."""
        return self._note(path, (offset, data))

    def cut(self, path: str, size: int) -> int:
        """Takes down that SQLite cuts a file."""
        return self._note(path, (size, None))

    def _note(self, path: str, write: Write) -> int:
        try:
            self._at_each("write")
        except OSError as error:
            return FULL if error.errno == errno.ENOSPC else NO_SYNC
        with self._lock:
            self._since.setdefault(Path(path).stat().st_ino, []).append(write)
        return OK

    def syncing(self, path: str) -> int:
        """Lets a sync of SQLite's be refused."""
        try:
            self._at_each("sync")
        except OSError:
            return NO_SYNC
        return OK

    def synced(self, path: str, *, folder: bool) -> None:
        """Takes down what SQLite has synced."""
        for each in (path, str(Path(path).parent)) if folder else (path,):
            handle = os.open(each, os.O_RDONLY)
            self._keep(handle)
            os.close(handle)


class _Asking:
    """A file whose writes may be refused."""

    def __init__(self, file: Any, at_each: Callable[[str], None]) -> None:
        self._file = file
        self._at_each = at_each

    def write(self, data: bytes) -> int:
        """Writes, if it may."""
        self._at_each("write")
        return int(self._file.write(data))

    def __getattr__(self, name: str) -> Any:
        return getattr(self._file, name)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._file.close()


class _Careless:
    """Lets everything pass."""

    def wrote(self, _path: str, _offset: int, _data: bytes) -> int:
        return OK

    def cut(self, _path: str, _size: int) -> int:
        return OK

    def syncing(self, _path: str) -> int:
        return OK

    def synced(self, _path: str, *, folder: bool) -> None:
        """Nothing is kept."""


@contextmanager
def unsynced() -> Iterator[None]:
    """Nothing is synced inside: for looking at many folders that nobody needs afterwards."""
    if not there():
        yield
        return
    with patch.object(os, "fsync", lambda _handle: None), watching(_Careless()):
        yield
