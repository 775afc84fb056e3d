"""What of the page is kept on a phone: its files, its words, and the one version that names them all together.

It reads the page's folder and the catalogue of words. It knows nothing of drives, and never lists anything of the API.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterable, Mapping
from pathlib import Path

from coach.words import languages, load_words

WORKER = "sw.js"
"""The service worker's own file: its answer begins with the shell, so that another version is another worker."""
WORDS = (
    "page.car",
    "page.parked",
    "settings.page",
    "facts",
    "offline",
    "joining.page",
    "bundle.page",
    "keeping.page",
    "link.page",
    "speeds.page",
    "reviewpage",
    "desk.page",
    "asking.page",
)
"""Sections of the catalogue that the page asks for; each is served as a file, because the API is never kept."""
LEFT_OUT = frozenset({WORKER, "vendor/vendor.json"})
_WORDS_PATH = re.compile(r"words/([a-z]{2})/([a-z]+(?:\.[a-z_]+)*)\.json")


def words_file(path: str) -> bytes | None:
    """The words at `words/<language>/<section>.json`, or None where there are none."""
    asked = _WORDS_PATH.fullmatch(path)
    if asked is None or asked[1] not in languages():
        return None
    found = load_words(asked[1]).get(asked[2])
    return json.dumps(found, separators=(",", ":")).encode() if isinstance(found, dict) else None


def words_paths() -> list[str]:
    """Where the words of every language are, as far as the page asks for them."""
    every = (f"words/{language}/{section}.json" for language in languages() for section in WORDS)
    return [path for path in every if words_file(path) is not None]


def is_kept(path: str) -> bool:
    """Whether a file of the page is kept on the phone; licences and the pictures of an install dialog are not."""
    return path not in LEFT_OUT and not path.endswith(".txt") and not path.startswith("pictures/")


def shell(tags: Mapping[str, str], worker: bytes) -> dict[str, object]:
    """The shell as the service worker reads it.

    Args:
        tags: path of each file: tag of its content. `index.html` is listed as `./`, which is how it is asked for.
        worker: the service worker's own source; a change of it is a new version too.
    """
    files = {"./" if path == "index.html" else path: tag for path, tag in sorted(tags.items()) if is_kept(path)}
    digest = hashlib.sha256(worker)
    digest.update(json.dumps(files, sort_keys=True).encode())
    return {"version": digest.hexdigest()[:16], "files": files}


def with_shell(worker: bytes, made: Mapping[str, object]) -> bytes:
    """The service worker with its shell in front, on the first line."""
    return f"const SHELL = {json.dumps(made, separators=(',', ':'))};".encode() + worker


def files_below(root: Path, served: Iterable[str], hidden: frozenset[str]) -> list[str]:
    """Paths of the files below `root` that may be served, by their endings; nothing hidden, no links to elsewhere."""
    endings = frozenset(served)
    found = []
    for path in sorted(root.rglob("*")):
        parts = path.relative_to(root).parts
        if path.suffix not in endings or any(p in hidden or p.startswith(".") for p in parts) or not path.is_file():
            continue
        if path.resolve().is_relative_to(root):
            found.append("/".join(parts))
    return found
