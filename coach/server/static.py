"""The page's files and words: right types, checked by tag at each load, packed when that helps. Nothing else."""

from __future__ import annotations

import gzip
import hashlib
from pathlib import Path
from threading import Lock
from typing import NamedTuple

from flask import Response, request
from werkzeug.exceptions import NotFound as Missing

from coach.assets import web_root
from coach.server.bare import bare_script, bare_sheet, imported, with_imported
from coach.server.shell import WORKER, files_below, shell, with_shell, words_file, words_paths

TYPES = {
    ".html": "text/html; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".json": "application/json",
    ".webmanifest": "application/manifest+json",
    ".svg": "image/svg+xml",
    ".png": "image/png",
    ".ico": "image/x-icon",
    ".woff2": "font/woff2",
    ".txt": "text/plain; charset=utf-8",
}
"""What is served; the system's own table of types is often wrong about modules."""
PACKED = frozenset({".html", ".js", ".css", ".json", ".webmanifest", ".svg", ".txt"})
HIDDEN = frozenset({"node_modules", "package.json", "package-lock.json", "jsconfig.json", "tsconfig.json"})
"""What lies beside the page for its build."""


class _File(NamedTuple):
    stamp: tuple[tuple[int, int], ...]
    tag: str
    plain: bytes
    packed: bytes | None


class Static:
    """The files below `root`."""

    def __init__(self, root: Path | None = None) -> None:
        self._root = (root or web_root()).resolve()
        self._files: dict[Path, _File] = {}
        self._lock = Lock()

    def answer(self, path: str) -> Response:
        """The file at `path`, or not modified. Raises werkzeug's NotFound."""
        kind = TYPES[".json"]
        file = self._words(path)
        if file is None:
            full = self._find(path)
            kind = TYPES[full.suffix]
            file = self._worker(full) if path == WORKER else self._load(full)
        packed = file.packed if request.accept_encodings.quality("gzip") > 0 else None
        response = Response(file.plain if packed is None else packed, content_type=kind)
        response.set_etag(file.tag if packed is None else f"{file.tag}-gz")
        response.headers["Cache-Control"] = "no-cache"
        if file.packed is not None:
            response.headers["Vary"] = "Accept-Encoding"
        if packed is not None:
            response.headers["Content-Encoding"] = "gzip"
        response.make_conditional(request)
        return response

    def shell(self) -> dict[str, object]:
        """Version, files and tags of what a phone keeps of the page."""
        paths = files_below(self._root, TYPES, HIDDEN)
        # What comes as a part of another sheet is not asked for by itself.
        parts = {inside for path in paths for inside in self._inside(self._root.joinpath(*path.split("/")))}
        paths = [path for path in paths if self._root.joinpath(*path.split("/")) not in parts]
        tags = {path: self._load(self._root.joinpath(*path.split("/"))).tag for path in paths}
        for path in words_paths():
            words = self._words(path)
            if words is not None:
                tags[path] = words.tag
        worker = self._root / WORKER
        return shell(tags, worker.read_bytes() if worker.is_file() else b"")

    def _worker(self, full: Path) -> _File:
        return _made((), with_shell(self._load(full).plain, self.shell()), packs=True)

    def _words(self, path: str) -> _File | None:
        """Words under an address of their own; made once, because the catalogue does not change while we run."""
        if not path.startswith("words/"):
            return None
        key = Path(path)
        with self._lock:
            known = self._files.get(key)
        if known is not None:
            return known
        plain = words_file(path)
        if plain is None:
            return None
        made = _made((), plain, packs=True)
        with self._lock:
            self._files[key] = made
        return made

    def _find(self, path: str) -> Path:
        parts = path.split("/")
        if any(p in HIDDEN or p.startswith(".") or not p or "\\" in p or ":" in p or "\0" in p for p in parts):
            raise Missing
        full = self._root.joinpath(*parts).resolve()
        if full.suffix not in TYPES or not full.is_relative_to(self._root) or not full.is_file():
            raise Missing
        return full

    def _inside(self, full: Path) -> list[Path]:
        """The sheets that are sent as a part of this one."""
        if full.suffix != ".css":
            return []
        return [full.parent / name for name in imported(full.read_text("utf-8"))]

    def _load(self, full: Path) -> _File:
        stamp = tuple(map(_stamp, (full, *self._inside(full))))
        with self._lock:
            known = self._files.get(full)
        if known is not None and known.stamp == stamp:
            return known
        plain = full.read_bytes()
        if full.relative_to(self._root).parts[0] != "vendor":
            if full.suffix == ".js":
                plain = bare_script(plain.decode()).encode()
            if full.suffix == ".css":
                others = (inside.read_text("utf-8") for inside in self._inside(full))
                plain = bare_sheet(with_imported(plain.decode(), others)).encode()
        made = _made(stamp, plain, packs=full.suffix in PACKED)
        with self._lock:
            self._files[full] = made
        return made


def _stamp(full: Path) -> tuple[int, int]:
    status = full.stat()
    return status.st_mtime_ns, status.st_size


def _made(stamp: tuple[tuple[int, int], ...], plain: bytes, *, packs: bool) -> _File:
    packed = gzip.compress(plain, 9, mtime=0) if packs else None
    if packed is not None and len(packed) >= len(plain):
        packed = None
    return _File(stamp, hashlib.sha256(plain).hexdigest()[:20], plain, packed)
