"""A stored drive and bundles of it, made once; and ways to forge them."""

from __future__ import annotations

import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest

from coach.bundle import child
from coach.bundle.keys import sign
from coach.bundle.make import make_bundle
from coach.bundle.strict import dump, load
from coach.bundle.wanted import MANIFEST, SIGNATURE, Wanted
from coach.bundle.zipped import ZipWriter
from tests.bundle.making import store_drive


@pytest.fixture(scope="session")
def stored(tmp_path_factory) -> tuple[Path, str]:
    """A data folder with one drive in it, and the drive's id."""
    folder = tmp_path_factory.mktemp("stored")
    return folder, store_drive(folder)


@pytest.fixture(scope="session")
def good(stored, tmp_path_factory) -> Path:
    """A bundle of it. Tests change copies only."""
    out = tmp_path_factory.mktemp("good") / "good.zip"
    make_bundle(stored[0], [stored[1]], out)
    return out


@pytest.fixture(scope="session")
def whole(stored, tmp_path_factory) -> Path:
    """A bundle with the whole drive and the whole number of the vehicle."""
    out = tmp_path_factory.mktemp("whole") / "whole.zip"
    make_bundle(stored[0], [stored[1]], out, Wanted(whole=True, full_vin=True))
    return out


@pytest.fixture
def forge(good, stored, tmp_path) -> Callable[..., Path]:
    """Packs a copy of the good bundle with some files changed.

    `honest` brings hashes up to date and `key` signs it again with the key in that folder: what somebody would do who
    knows the format. A file changed to None is left out; one that is not there yet is added.
    """

    def make(change, *, honest=True, key: Path | None = None, of: Path | None = None) -> Path:
        with zipfile.ZipFile(of or good) as packed:
            files = {name: packed.read(name) for name in packed.namelist()}
        before = dict(files)
        change(files)
        files = {name: raw for name, raw in files.items() if raw is not None}
        if honest and files.get(MANIFEST) is not None:
            manifest = load(files[MANIFEST], "")
            listed = {n: r for n, r in files.items() if n not in (MANIFEST, SIGNATURE)}
            from hashlib import sha256

            manifest["files"] = [
                {"path": n, "size": len(r), "sha256": sha256(r).hexdigest()} for n, r in sorted(listed.items())
            ]
            files[MANIFEST] = dump(manifest)
        if key is not None:
            files[SIGNATURE] = dump(sign(key, files[MANIFEST]))
        assert files != before, "nothing was changed"
        out = tmp_path / "forged.zip"
        with out.open("wb") as file, ZipWriter(file) as zipped:
            for name, raw in files.items():
                zipped.add(name, [raw])
        return out

    return make


@pytest.fixture
def own(stored) -> str:
    """Where the drive's files stand in the bundle."""
    return f"drives/{stored[1]}"


@pytest.fixture
def in_place(monkeypatch) -> None:
    """What a child process would do is done here: a process for each check would make the tests slow."""

    def ask(request, _name, _seconds, _memory):
        return child._check(request) if request["do"] == "check" else child._make(request)

    monkeypatch.setattr(child, "ask_child", ask)
