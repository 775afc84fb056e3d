"""The build hook, and what a wheel carries: borrowed files come whole or not at all, and never stop an install."""

from __future__ import annotations

import importlib.util
import json
import os
import shutil
import subprocess
import sys
import zipfile
from pathlib import Path
from types import ModuleType

import pytest

from coach import assets

ROOT = Path(__file__).parents[2]


def load() -> ModuleType:
    """hatch_build.py as a module."""
    spec = importlib.util.spec_from_file_location("hatch_build", ROOT / "hatch_build.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


hook = load()
hook_make = hook.make_vendor


def bring(folder: Path) -> None:
    """What npm would do: fills node_modules."""
    assert all((folder / name).is_file() for name in hook.LISTS)
    for source in [*hook.COPIES.values(), *(f"{name}.woff2" for name in hook.FONTS.values())]:
        path = folder / "node_modules" / source
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(source, "utf-8")


def cut(source: Path, target: Path) -> None:
    """A font as it is."""
    shutil.copyfile(source.with_suffix(".woff2"), target)


def refuse(folder: Path) -> None:
    """Npm without a network."""
    raise hook.VendorError("npm failed: no network")


@pytest.fixture
def checkout(tmp_path: Path) -> Path:
    """A folder with what the hook reads."""
    (tmp_path / "web").mkdir()
    for name in ("hatch_build.py", *(f"web/{each}" for each in hook.LISTS)):
        shutil.copyfile(ROOT / name, tmp_path / name)
    return tmp_path


def names(folder: Path) -> set[str]:
    """Names in a folder."""
    return {path.name for path in folder.iterdir()}


def test_makes_the_folder_with_licences_and_a_stamp(checkout: Path) -> None:
    hook.make_vendor(checkout, get=bring, cut=cut)
    assert names(checkout / "web/vendor") == {*hook.COPIES, *hook.FONTS, "vendor.json"}
    assert names(checkout / "web") == {*hook.LISTS, "vendor"}
    stamp = json.loads((checkout / "web/vendor/vendor.json").read_text("utf-8"))
    assert stamp["packages"]["uplot"]["licence"] == "MIT"
    assert hook.is_current(checkout)


@pytest.mark.parametrize("name", ["web/package-lock.json", "hatch_build.py"])
def test_a_changed_list_makes_it_out_of_date(checkout: Path, name: str) -> None:
    hook.make_vendor(checkout, get=bring, cut=cut)
    with (checkout / name).open("a", encoding="utf-8") as file:
        file.write("\n")
    assert not hook.is_current(checkout)
    hook.make_vendor(checkout, get=bring, cut=cut)
    assert hook.is_current(checkout)


def test_what_is_missing_leaves_nothing_behind(checkout: Path) -> None:
    """A package that changed its layout is an error, not half a folder."""

    def bring_less(folder: Path) -> None:
        bring(folder)
        (folder / "node_modules/uplot/LICENSE").unlink()

    with pytest.raises(hook.VendorError, match="not as expected"):
        hook.make_vendor(checkout, get=bring_less, cut=cut)
    assert names(checkout / "web") == set(hook.LISTS)


def test_failure_keeps_what_an_earlier_build_made(checkout: Path) -> None:
    hook.make_vendor(checkout, get=bring, cut=cut)
    with pytest.raises(hook.VendorError):
        hook.make_vendor(checkout, get=refuse, cut=cut)
    assert hook.is_current(checkout)


def initialize(folder: Path, monkeypatch: pytest.MonkeyPatch, choice: str) -> None:
    """Runs the hook as hatchling does."""
    monkeypatch.setenv("COACH_NODE", choice)
    made = hook.PageAssets(str(folder), {}, None, None, str(folder / "dist"), "wheel")
    made.initialize("standard", {})


@pytest.mark.parametrize("choice", ["none", "/nowhere/node"])
def test_without_node_the_build_goes_on_and_says_so(
    checkout: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], choice: str
) -> None:
    initialize(checkout, monkeypatch, choice)
    assert not (checkout / "web/vendor").exists()
    assert "The page will have no plots" in capsys.readouterr().err
    assert choice in (checkout / hook.REASON).read_text("utf-8")
    assert assets.vendor_root(checkout / "coach") is None


def test_without_npm_an_earlier_folder_stays(
    checkout: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    hook.make_vendor(checkout, get=bring, cut=cut)
    (checkout / "web/package-lock.json").write_text('{"packages": {}}', "utf-8")
    initialize(checkout, monkeypatch, "none")
    assert "stays as an earlier build made it" in capsys.readouterr().err
    assert assets.vendor_root(checkout / "coach") == checkout / "web/vendor"


def test_nothing_is_done_when_it_is_there_already(checkout: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """So a source archive that carries the files needs neither node nor npm."""
    hook.make_vendor(checkout, get=bring, cut=cut)
    monkeypatch.setattr(hook, "make_vendor", refuse)
    initialize(checkout, monkeypatch, "")
    made = hook.PageAssets(str(checkout), {}, None, None, str(checkout / "dist"), "wheel")
    assert made.dependencies() == []


@pytest.mark.parametrize(("choice", "asks"), [("", 3), ("system", 2), ("none", 0)])
def test_the_build_asks_for_what_it_uses(
    checkout: Path, monkeypatch: pytest.MonkeyPatch, choice: str, asks: int
) -> None:
    """A node of its own unless one was chosen; the font tools; nothing when the step is left out."""
    monkeypatch.setenv("COACH_NODE", choice)
    made = hook.PageAssets(str(checkout), {}, None, None, str(checkout / "dist"), "wheel")
    assert len(made.dependencies()) == asks
    assert any("nodejs" in line for line in made.dependencies()) is (choice == "")


@pytest.mark.skipif(os.name == "nt", reason="the stand-ins are shell scripts")
@pytest.mark.parametrize(
    ("body", "says"),
    [
        ("echo 'npm error code ECONNREFUSED' >&2; exit 1", "npm failed: npm error code ECONNREFUSED"),
        ("exit 7", "status 7"),
    ],
)
def test_npm_that_fails_is_named(tmp_path: Path, body: str, says: str) -> None:
    for name, text in (("node", "exit 0"), ("npm", body)):
        (tmp_path / name).write_text(f"#!/bin/sh\n{text}\n", "utf-8")
        (tmp_path / name).chmod(0o755)
    with pytest.raises(hook.VendorError, match=says):
        hook.fetch(tmp_path, {"COACH_NODE": str(tmp_path / "node"), "PATH": os.environ["PATH"]})


@pytest.mark.skipif(os.name == "nt", reason="the stand-ins are shell scripts")
@pytest.mark.parametrize("fails", [0, 1, 2])
def test_npm_is_tried_twice(tmp_path: Path, fails: int) -> None:
    """A registry that is slow to wake gets one more chance, and no more than one."""
    (tmp_path / "node").write_text("#!/bin/sh\n", "utf-8")
    (tmp_path / "npm").write_text(f"#!/bin/sh\necho x >> tries\n[ $(wc -l < tries) -gt {fails} ]\n", "utf-8")
    for name in ("node", "npm"):
        (tmp_path / name).chmod(0o755)
    ask = tmp_path, {"COACH_NODE": str(tmp_path / "node"), "PATH": os.environ["PATH"]}
    if fails == 2:
        with pytest.raises(hook.VendorError, match="status 1"):
            hook.fetch(*ask)
    else:
        hook.fetch(*ask)
    assert len((tmp_path / "tries").read_text("utf-8").split()) == min(fails + 1, 2)


def test_what_is_made_in_the_end_takes_the_reason_away(checkout: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A reason of yesterday is not said today."""
    initialize(checkout, monkeypatch, "none")
    monkeypatch.setattr(hook, "make_vendor", lambda root: hook_make(root, get=bring, cut=cut))
    initialize(checkout, monkeypatch, "none")
    assert not (checkout / hook.REASON).exists()


@pytest.mark.skipif(os.name == "nt", reason="the stand-ins are shell scripts")
def test_npm_runs_no_scripts_of_packages(tmp_path: Path) -> None:
    """`npm ci --ignore-scripts`, with few tries."""
    (tmp_path / "node").write_text("#!/bin/sh\n", "utf-8")
    (tmp_path / "npm").write_text('#!/bin/sh\necho "$*" > called\n', "utf-8")
    for name in ("node", "npm"):
        (tmp_path / name).chmod(0o755)
    hook.fetch(tmp_path, {"COACH_NODE": str(tmp_path / "node"), "PATH": os.environ["PATH"]})
    assert (tmp_path / "called").read_text("utf-8").startswith("ci --ignore-scripts --fetch-retries=1")


def test_npm_is_not_told_to_wait_at_least_longer_than_at_most(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Npm refuses to fetch anything then, and its own least wait is 10 s: a first install would have no plots."""
    asked: list[list[str]] = []

    def done(_folder: Path, command: list[str], _environ: object) -> str:
        asked.append(command)
        return ""

    monkeypatch.setattr(hook, "_ci", done)
    monkeypatch.setattr(hook, "npm_command", lambda _environ: ["npm"])
    hook.fetch(tmp_path, {})
    given = dict(one.split("=") for one in asked[0] if "=" in one)
    assert int(given["--fetch-retry-mintimeout"]) < int(given["--fetch-retry-maxtimeout"])


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A wheel built from a copy of the project that has borrowed files."""
    copy = tmp_path_factory.mktemp("build") / "project"
    unwanted = shutil.ignore_patterns(
        ".git", ".venv", "tests", "docs", "dist", "__pycache__", ".*_cache", "vendor", ".hypothesis"
    )
    shutil.copytree(ROOT, copy, ignore=unwanted)
    hook.make_vendor(copy, get=bring, cut=cut)
    code = "from hatchling.build import build_wheel as f; print(f('dist'))"
    subprocess.run([sys.executable, "-c", code], cwd=copy, check=True, capture_output=True)
    return next((copy / "dist").glob("*.whl"))


def test_wheel_carries_page_drives_and_licence(wheel: Path) -> None:
    """The page and the bundled drives lie inside the package; tests and npm's lists stay out."""
    with zipfile.ZipFile(wheel) as archive:
        inside = set(archive.namelist())
        entry = archive.read(next(name for name in inside if name.endswith("entry_points.txt"))).decode()
    tops = {name.split("/")[0] for name in inside}
    assert {top for top in tops if not top.endswith(".dist-info")} == {"coach"}
    assert {"coach/py.typed", "coach/web/vendor/uPlot.esm.js", "coach/web/vendor/vendor.json"} <= inside
    for folder in ("web", "replay_traces", "coach"):
        mine = {path.relative_to(ROOT / folder).as_posix() for path in (ROOT / folder).rglob("*") if path.is_file()}
        kept = {n for n in mine if not n.startswith(("vendor/", ".", "package")) and "__pycache__" not in n}
        prefix = "coach" if folder == "coach" else f"coach/{folder}"
        assert {f"{prefix}/{name}" for name in kept} <= inside
    assert not any("package-lock" in name or ".npmrc" in name or "test_" in name for name in inside)
    assert any(name.endswith(".dist-info/licenses/LICENSE") for name in inside)
    assert "coach = coach.cli:main" in entry


def test_assets_are_found_in_a_wheel_and_in_a_checkout(wheel: Path, tmp_path: Path) -> None:
    with zipfile.ZipFile(wheel) as archive:
        archive.extractall(tmp_path)
    inside = tmp_path / "coach"
    assert assets.web_root(inside) == inside / "web"
    assert assets.vendor_root(inside) == inside / "web/vendor"
    assert assets.web_root() == ROOT / "web"
    assert assets.traces_root() == ROOT / "replay_traces"
    assert assets.vendor_root() in (ROOT / "web/vendor", None)
