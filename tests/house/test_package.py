"""What is handed on: a wheel that runs in an environment of its own without node, and the archive it is made from."""

from __future__ import annotations

import json
import os
import re
import signal
import subprocess
import sys
import sysconfig
import tarfile
import time
import urllib.request
import zipfile
from email.message import Message
from email.parser import Parser
from pathlib import Path
from typing import Any

import pytest

from coach import __version__

ROOT = Path(__file__).parents[2]
BIN = "Scripts" if os.name == "nt" else "bin"
WITHOUT_NODE = {**os.environ, "COACH_NODE": "none", "PATH": os.defpath}
pytestmark = pytest.mark.slow


def build(kind: str, source: Path, into: Path) -> Path:
    """Builds a `wheel` or an `sdist` of the project in `source`, without node."""
    code = f"import sys; from hatchling.build import build_{kind} as f; print(f(sys.argv[1]))"
    command = [sys.executable, "-c", code, str(into)]
    reason = source / "web/.vendor-failed"
    before = reason.exists()
    done = subprocess.run(command, cwd=source, env=WITHOUT_NODE, check=True, capture_output=True, text=True)
    if not before:
        reason.unlink(missing_ok=True)
    return into / done.stdout.splitlines()[-1]


@pytest.fixture(scope="module")
def archive(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The source archive of the project as it is here."""
    return build("sdist", ROOT, tmp_path_factory.mktemp("sdist"))


@pytest.fixture(scope="module")
def unpacked(archive: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder that is in the archive. It brings no borrowed files here, whether or not this checkout has them."""
    folder = tmp_path_factory.mktemp("unpacked")
    with tarfile.open(archive) as tar:
        tar.extractall(folder, filter="data", members=[m for m in tar if "/web/vendor" not in m.name])
    return next(folder.iterdir())


@pytest.fixture(scope="module")
def wheel(unpacked: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A wheel made from the source archive, where there is no node."""
    return build("wheel", unpacked, tmp_path_factory.mktemp("wheel"))


@pytest.fixture(scope="module")
def metadata(wheel: Path) -> Message:
    """What the wheel says of itself."""
    with zipfile.ZipFile(wheel) as inside:
        name = next(n for n in inside.namelist() if n.endswith(".dist-info/METADATA"))
        return Parser().parsestr(inside.read(name).decode())


@pytest.fixture(scope="module")
def installed(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An environment in which the wheel is installed; what it needs is lent by this one, which needs no network."""
    folder = tmp_path_factory.mktemp("environment")
    subprocess.run([sys.executable, "-m", "venv", "--without-pip", str(folder)], check=True)
    python = folder / BIN / ("python.exe" if os.name == "nt" else "python")
    pip = [sys.executable, "-m", "pip", "--disable-pip-version-check", "--python", str(python), "install"]
    subprocess.run([*pip, "--no-deps", "--no-index", str(wheel)], check=True, capture_output=True)
    asked = [str(python), "-c", "import sysconfig; print(sysconfig.get_path('purelib'))"]
    place = Path(subprocess.run(asked, check=True, capture_output=True, text=True).stdout.strip())
    # A path in a .pth file does not bring the .pth files in it: the editable install of this checkout stays out.
    (place / "lent.pth").write_text(sysconfig.get_path("purelib") + "\n", "utf-8")
    return folder


def test_the_wheel_says_what_it_is(metadata: Message) -> None:
    """One version, the licence, what it needs, two extras, where it is typed, the README as its long text."""
    assert metadata["Version"] == __version__
    assert metadata["License-Expression"] == "GPL-2.0-or-later"
    assert metadata["Requires-Python"] == ">=3.11"
    assert set(metadata.get_all("Provides-Extra", [])) == {"archive", "cluster"}
    needs = metadata.get_all("Requires-Dist", [])
    assert {n.split("==")[0] for n in needs if "'archive'" in n} == {"duckdb"}
    assert {n.split("==")[0] for n in needs if "'cluster'" in n} == {"duckdb", "dask", "distributed"}
    assert all("==" in n for n in needs)
    assert "Typing :: Typed" in metadata.get_all("Classifier", [])
    assert metadata.get_payload().startswith("# Log capture coach")


def test_the_version_stands_in_one_place() -> None:
    """`coach/__init__.py`; neither pyproject.toml nor the page's list of packages has one of its own."""
    assert not re.search(r"^version\s*=", (ROOT / "pyproject.toml").read_text("utf-8"), re.MULTILINE)
    assert "version" not in json.loads((ROOT / "web/package.json").read_text("utf-8"))


def test_the_source_archive_ships_what_is_needed_to_build_and_to_check(unpacked: Path) -> None:
    """All tests, documents, drives, checksums and the way to run them; nothing that one machine made."""
    there = {path.relative_to(unpacked).as_posix() for path in unpacked.rglob("*") if path.is_file()}
    mine = {
        path.relative_to(ROOT).as_posix()
        for folder in ("coach", "docs", "hashes", "replay_traces", "tests")
        for path in (ROOT / folder).rglob("*")
        if path.is_file() and not {"__pycache__", "shots"} & set(path.parts) and path.suffix != ".part"
    }
    tops = {"CHANGELOG.md", "DEVELOPERS.md", "LICENSE", "README.md", "constraints.txt", "hatch_build.py", "run.py"}
    assert mine | tops <= there
    made = ("__pycache__", ".venv", "node_modules", ".hypothesis", "_cache", ".vendor-failed", "tests/browser/shots")
    assert [name for name in there if any(one in name for one in made)] == []


def test_tests_that_ship_pass_in_the_environment(installed: Path, unpacked: Path) -> None:
    """From the unpacked archive, over the installed package: one folder stands for all."""
    python = installed / BIN / "python"
    words = ["-m", "pytest", "-q", "-p", "no:cacheprovider", "-o", "pythonpath=", "tests/signals"]
    here = "import coach, pathlib; print(pathlib.Path(coach.__file__).parent)"
    where = subprocess.run([str(python), "-P", "-c", here], cwd=unpacked, capture_output=True, text=True, check=True)
    assert str(installed) in where.stdout
    environment = {**WITHOUT_NODE, "PYTHONSAFEPATH": "1"}
    done = subprocess.run(
        [str(python), *words], cwd=unpacked, env=environment, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert re.search(r"\d\d+ passed", done.stdout)


def test_demo_comes_to_its_verdict_without_node(installed: Path, tmp_path: Path) -> None:
    """The installed command, in an empty folder: all that the page names is there, and all qualifies."""
    words = ["demo", "--auto", "--speed", "max", "--port", "0", "--no-open", "--data", str(tmp_path / "data")]
    with subprocess.Popen(
        [str(installed / BIN / "coach"), *words], cwd=tmp_path, env=WITHOUT_NODE, stdout=subprocess.PIPE, text=True
    ) as process:
        try:
            assert process.stdout is not None
            address = re.search(r"http://[^#\s]+", process.stdout.readline())
            assert address
            page = fetch(address[0]).decode()
            parts = re.findall(r'(?:href|src)="([^":#]+)"', page)
            assert {Path(part).suffix for part in parts} >= {".css", ".js", ".webmanifest"}
            assert all(fetch(address[0] + part) for part in parts if not part.startswith("vendor/"))
            deadline = time.monotonic() + 60
            while ask(address[0] + "api/state")["drive"]["phase"] != "ended" and time.monotonic() < deadline:
                time.sleep(0.1)
            drive = ask(address[0] + "api/drives")["drives"][0]["id"]
            verdict = ask(address[0] + f"api/drives/{drive}/attempts")
        finally:
            process.send_signal(signal.SIGINT if os.name != "nt" else signal.SIGTERM)
    assert [(c["asked"], c["qualified"]) for c in verdict["captures"]] == [(1, 1), (2, 2), (1, 1)]


def fetch(address: str) -> bytes:
    """What is there."""
    with urllib.request.urlopen(address, timeout=10) as answer:
        return answer.read()


def ask(address: str) -> dict[str, Any]:
    """A JSON answer."""
    return json.loads(fetch(address))


def test_python_finds_a_typed_package(installed: Path) -> None:
    """`import coach` from anywhere, with its marker for type checkers and its version."""
    code = (
        "import coach, pathlib as p; print(coach.__version__, (p.Path(coach.__file__).parent / 'py.typed').is_file())"
    )
    done = subprocess.run(
        [str(installed / BIN / "python"), "-P", "-c", code], capture_output=True, text=True, check=True
    )
    assert done.stdout.split() == [__version__, "True"]


def test_the_changelog_is_in_order() -> None:
    """Keep a Changelog: what is not released comes first, then versions going down with their days; known headings."""
    text = (ROOT / "CHANGELOG.md").read_text("utf-8")
    heads = re.findall(r"^## (.+)$", text, re.MULTILINE)
    assert heads[0] == "[Unreleased]" or heads[0].startswith(f"[{__version__}]")
    released = [re.fullmatch(r"\[(\d+)\.(\d+)\.(\d+)\] - (\d{4}-\d{2}-\d{2})", head) for head in heads[1:]]
    assert all(released)
    numbers = [tuple(int(n) for n in found.groups()[:3]) for found in released if found]
    assert numbers == sorted(numbers, reverse=True)
    kinds = ["Added", "Changed", "Deprecated", "Removed", "Fixed", "Security"]
    for section in text.split("\n## ")[1:]:
        found = re.findall(r"^### (.+)$", section, re.MULTILINE)
        assert found == [kind for kind in kinds if kind in found]
        lines = [line for line in section.splitlines() if line.startswith("- ")]
        assert len(lines) == len(set(lines))


def test_documents_name_the_wheel_of_this_version() -> None:
    """A file name that is typed from a page is that of the wheel which is built."""
    text = "\n".join(path.read_text("utf-8") for path in (ROOT / "docs").rglob("*.md"))
    named = set(re.findall(r"log_capture_coach-[\w.-]+\.whl", text))
    assert named == {f"log_capture_coach-{__version__}-py3-none-any.whl"}
