"""The documents hold together: links lead somewhere, commands exist, the licence is the one that is named."""

from __future__ import annotations

import hashlib
import os
import re
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
DOCS = [ROOT / "README.md", ROOT / "DEVELOPERS.md", ROOT / "CHANGELOG.md", *sorted((ROOT / "docs").rglob("*.md"))]
FENCE = re.compile(r"^```.*?^```", re.MULTILINE | re.DOTALL)


def anchors(path: Path) -> set[str]:
    """The anchors that headings make: lower case, spaces to dashes, no other signs."""
    heads = re.findall(r"^#+\s+(.+?)\s*$", FENCE.sub("", path.read_text("utf-8")), re.MULTILINE)
    return {re.sub(r"[^\w\- ]", "", head.lower()).replace(" ", "-") for head in heads}


@pytest.mark.parametrize("path", DOCS, ids=lambda path: str(path.relative_to(ROOT)))
def test_links_lead_somewhere(path: Path) -> None:
    """Every relative link and picture names a file that is there, and an anchor that it has."""
    text = re.sub(r"`[^`\n]*`", "", FENCE.sub("", path.read_text("utf-8")))
    broken = []
    pictures = re.findall(r'<img src="([^"]+)"', text)
    for target in re.findall(r"\]\(([^)\s]+)\)", text) + pictures:
        if re.match(r"[a-z]+:", target):
            continue
        name, _, anchor = target.partition("#")
        there = (path.parent / name).resolve() if name else path
        if not there.exists() or (anchor and there.suffix == ".md" and anchor not in anchors(there)):
            broken.append(target)
    assert broken == []


def commands() -> list[str]:
    """Every `coach ...` and `run.py ...` command line in the documents' fenced blocks."""
    blocks = "\n".join("\n".join(FENCE.findall(path.read_text("utf-8"))) for path in DOCS if path.exists())
    return sorted(set(re.findall(r"^\s*(?:\$ )?((?:coach|python3 run\.py)(?: .*)?)$", blocks, re.MULTILINE)))


def test_commands_in_the_documents_exist() -> None:
    """Each names a command of `run.py` or of `coach`, with options that it has."""
    run_py = (ROOT / "run.py").read_text("utf-8")
    assert commands()
    try:
        from coach.cli import main
    except ModuleNotFoundError:
        assert not os.environ.get("CI"), "coach.cli is missing"
        pytest.skip("coach.cli is not written yet")
    import click

    unknown = []
    for line in commands():
        words = line.split("#")[0].split()
        if words[0] == "python3":
            words = words[2:]
            if words and not words[0].startswith("-"):
                if f'"{words[0]}"' not in run_py:
                    unknown.append(line)
                if words[0] in ("test", "install"):
                    continue
                words = words[1:] if words[0] == "coach" else words
            else:
                words = ["demo", *words]
        else:
            words = words[1:]
        command: click.Command = main
        while isinstance(command, click.Group) and words and words[0] in command.commands:
            command, words = command.commands[words[0]], words[1:]
        options = {name for parameter in command.params for name in parameter.opts} | {"--help"}
        if (isinstance(command, click.Group) and words and not words[0].startswith("-")) or any(
            word.split("=")[0] not in options for word in words if word.startswith("--")
        ):
            unknown.append(line)
    assert unknown == []


def test_readme_opens_with_the_job_a_picture_and_two_commands() -> None:
    """What a visitor needs before anything else."""
    text = (ROOT / "README.md").read_text("utf-8")
    assert text.index("docs/images/drive.png") < text.index("```")
    first_block = FENCE.findall(text)[0].splitlines()[1:-1]
    assert first_block == ["python3 run.py", "python3 run.py test"]


def test_pictures_are_described_small_and_used() -> None:
    """Each has words in its place and a width; no picture lies there that no page shows."""
    shown = set()
    for path in DOCS:
        for tag in re.findall(r"<img [^>]*>", path.read_text("utf-8")):
            assert re.search(r' alt="[^"]{20,}"', tag), tag
            assert re.search(r' width="\d+"', tag), tag
            shown.add(Path(re.findall(r'src="([^"]+)"', tag)[0]).name)
    assert shown == {path.name for path in (ROOT / "docs/images").iterdir()}


def test_every_document_is_on_the_list_of_all() -> None:
    """A page that `docs/README.md` does not name would be found by nobody."""
    pages = {p.relative_to(ROOT / "docs").as_posix() for p in (ROOT / "docs").rglob("*.md")} - {"README.md"}
    linked = set(re.findall(r"\]\(([\w/.-]+\.md)\)", (ROOT / "docs/README.md").read_text("utf-8")))
    assert pages <= linked


def test_licence_is_gpl_2() -> None:
    """LICENSE is the text of the GNU General Public License, version 2, word for word.

    SHA-256 of the text as the Free Software Foundation publishes it (from Debian's common licences).
    """
    text = (ROOT / "LICENSE").read_bytes()
    assert b"GNU GENERAL PUBLIC LICENSE\n                       Version 2, June 1991" in text
    assert hashlib.sha256(text).hexdigest() == "8177f97513213526df2cf6184d8ff986c675afb514d4e68a404010521b880643"
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    assert project["license"] == "GPL-2.0-or-later"


def test_changelog_knows_this_version() -> None:
    """Keep a Changelog: the version of the package, or what is not released yet, has its section."""
    from coach import __version__

    text = (ROOT / "CHANGELOG.md").read_text("utf-8")
    assert re.search(rf"^## \[({re.escape(__version__)}|Unreleased)\]", text, re.MULTILINE)
