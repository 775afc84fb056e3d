"""What the repository may not hold: paths of one machine, hosts of package indexes, other people's files."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
MADE = {".git", ".venv", "vendor", "node_modules", "dist", "build", "htmlcov", ".hypothesis"}
"""Folders that git does not keep."""

# Put together from pieces, so that this file does not hold what it looks for.
MACHINE = re.compile("|".join([r"(?<![\w.~)}])/" + r"(?:work|tmp|root|home|Users)/", r"[A-Z]:\\+" + "Users"]))
INDEX = re.compile(
    "|".join(
        [
            r"py" + r"pi\.(?:org|python)",
            "python" + "hosted",
            r"registry\." + r"(?:npmjs|yarnpkg)",
            r"npmjs" + r"\.(?:com|org)",
            r"--(?:extra-)?index-" + "url",
            "--find-" + "links",
            r"npm_config_" + r"registry\s*=\s*http",
        ]
    ),
    re.IGNORECASE,
)


def kept() -> Iterator[Path]:
    """Every file of the working tree that is, or may become, part of the repository."""
    todo = [ROOT]
    while todo:
        for path in sorted(todo.pop().iterdir()):
            if path.is_dir():
                made = path.name in MADE or path.name.endswith(("_cache", "__pycache__", ".egg-info"))
                if not made and not path.name.startswith(".vendor-"):
                    todo.append(path)
            elif not path.name.startswith(".coverage"):
                yield path


def lines(path: Path) -> list[str]:
    """The lines of a text file; none of a binary one."""
    data = path.read_bytes()
    return [] if b"\0" in data[:4096] else data.decode("utf-8", "replace").splitlines()


def hits(pattern: re.Pattern[str]) -> list[str]:
    """Where `pattern` stands: file, line, text."""
    return [
        f"{path.relative_to(ROOT)}:{number}: {line.strip()[:100]}"
        for path in kept()
        if path.suffix != ".csv"
        for number, line in enumerate(lines(path), 1)
        if pattern.search(line)
    ]


def test_no_path_of_a_machine() -> None:
    """The project runs anywhere, so it names no folder of the machine it was written on."""
    assert hits(MACHINE) == []


def test_no_host_of_a_package_index() -> None:
    """Where packages come from is each machine's own setting."""
    assert hits(INDEX) == []


@pytest.mark.parametrize("text", ["cd /" + "work/main", "'/" + "tmp/x.csv'", "C:" + "\\Users\\me"])
def test_the_check_of_paths_bites(text: str) -> None:
    assert MACHINE.search(text)


@pytest.mark.parametrize(
    "text", ["https://py" + "pi.org/simple", "pip --index-" + "url x", "https://registry." + "npm" + "js.org"]
)
def test_the_check_of_hosts_bites(text: str) -> None:
    assert INDEX.search(text)


@pytest.mark.parametrize("text", ["GET /" + "api/home/x", "../" + "tmp/", "https://example.org/" + "home/"])
def test_the_check_of_paths_leaves_addresses_alone(text: str) -> None:
    assert not MACHINE.search(text)


def test_lock_files_name_no_host() -> None:
    """Npm would write the address of the registry it asked; web/.npmrc tells it not to."""
    assert "resolved" not in (ROOT / "web/package-lock.json").read_text("utf-8")
    assert "omit-lockfile-registry-resolved=true" in (ROOT / "web/.npmrc").read_text("utf-8")


def test_no_borrowed_file() -> None:
    """Fonts and minified scripts come with the build, never with the repository."""
    endings = (".woff", ".woff2", ".ttf", ".otf", ".min.js", ".min.css", ".whl", ".so", ".dll", ".exe")
    assert [str(path.relative_to(ROOT)) for path in kept() if path.name.endswith(endings)] == []
    assert list(kept())


EXCEPTION = re.compile(r"#\s*(?:noqa|type:\s*ignore)\b")
WITH_REASON = re.compile(r"#\s*(?:noqa:\s*[A-Z]+\d+(?:,\s*[A-Z]+\d+)*\s+-\s+\w|type:\s*ignore\[[\w-]+\]\s+#\s+\w)")


def without_reason(path: Path) -> list[int]:
    """Lines that switch a check off and do not say why."""
    return [n for n, line in enumerate(lines(path), 1) if EXCEPTION.search(line) and not WITH_REASON.search(line)]


def test_a_check_that_is_switched_off_says_why() -> None:
    """In what is shipped and what installs it; a test that must, reads plainly enough."""
    files = [*(ROOT / "coach").rglob("*.py"), *(ROOT / "hashes").glob("*.py"), ROOT / "run.py", ROOT / "hatch_build.py"]
    assert {str(path.relative_to(ROOT)): found for path in files if (found := without_reason(path))} == {}


def test_the_check_of_reasons_bites(tmp_path: Path) -> None:
    """A reason is words, behind a dash or a second mark."""
    file = tmp_path / "some.py"
    bare = [
        "x = 1  # no" + "qa",
        "x = 1  # no" + "qa: E501",
        "x = 1  # type: " + "ignore[misc]",
        "x = 1  # type: " + "ignore",
    ]
    said = ["x = 1  # no" + "qa: S603, S607 - ours", "x = 1  # type: " + "ignore[misc]  # of the library"]
    file.write_text("\n".join([*bare, *said]), "utf-8")
    assert without_reason(file) == [1, 2, 3, 4]
