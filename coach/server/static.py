"""The page's files: right types, checked by tag at each load, packed when that helps. Nothing else of the disk."""

from __future__ import annotations

import gzip
import hashlib
from pathlib import Path
from threading import Lock
from typing import NamedTuple

from flask import Response, request
from werkzeug.exceptions import NotFound as Missing

from coach.assets import web_root

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
    stamp: tuple[int, int]
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
        full = self._find(path)
        file = self._load(full)
        packed = file.packed if request.accept_encodings.quality("gzip") > 0 else None
        response = Response(file.plain if packed is None else packed, content_type=TYPES[full.suffix])
        response.set_etag(file.tag if packed is None else f"{file.tag}-gz")
        response.headers["Cache-Control"] = "no-cache"
        if file.packed is not None:
            response.headers["Vary"] = "Accept-Encoding"
        if packed is not None:
            response.headers["Content-Encoding"] = "gzip"
        response.make_conditional(request)
        return response

    def _find(self, path: str) -> Path:
        parts = path.split("/")
        if any(p in HIDDEN or p.startswith(".") or not p or "\\" in p or ":" in p or "\0" in p for p in parts):
            raise Missing
        full = self._root.joinpath(*parts).resolve()
        if full.suffix not in TYPES or not full.is_relative_to(self._root) or not full.is_file():
            raise Missing
        return full

    def _load(self, full: Path) -> _File:
        status = full.stat()
        stamp = (status.st_mtime_ns, status.st_size)
        with self._lock:
            known = self._files.get(full)
        if known is not None and known.stamp == stamp:
            return known
        plain = full.read_bytes()
        packed = gzip.compress(plain, mtime=0) if full.suffix in PACKED else None
        if packed is not None and len(packed) >= len(plain):
            packed = None
        made = _File(stamp, hashlib.sha256(plain).hexdigest()[:20], plain, packed)
        with self._lock:
            self._files[full] = made
        return made
