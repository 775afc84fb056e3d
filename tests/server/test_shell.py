"""The shell that a phone keeps: what is in it, what changes its version, and what a script is sent without."""

from __future__ import annotations

import json
import struct
import zlib

import pytest

from coach.assets import web_root
from coach.server.icons import ICONS, draw, png
from coach.server.shell import WORDS, is_kept, words_file
from coach.server.static import Static


def made(root):
    """Version and files of the shell of a folder."""
    shell = Static(root).shell()
    return shell["version"], shell["files"]


@pytest.fixture
def root(tmp_path):
    """A small page."""
    (tmp_path / "js").mkdir()
    (tmp_path / "vendor").mkdir()
    (tmp_path / "pictures").mkdir()
    for name, text in {
        "index.html": "<!doctype html>", "sw.js": "// worker\nrun(SHELL);\n", "js/a.js": "// b\nexport const a = 1;\n",
        "first.css": '@import "inside.css";\n', "inside.css": "a { b: c }",
        "vendor/lib.js": "// theirs\nx;\n", "vendor/vendor.json": "{}", "vendor/lib.LICENSE.txt": "free",
        "package.json": "{}", ".hidden.js": "no", "pictures/drive.png": "png", "notes.md": "no",
    }.items():  # fmt: skip
        (tmp_path / name).write_text(text)
    return tmp_path


def test_the_shell_is_the_page_and_its_words(root):
    """What a browser asks for and no more: no licence, no picture, no worker, nothing hidden, nothing of the API.

    A sheet that is sent as a part of another is not asked for by itself.
    """
    _, files = made(root)
    words = {path for path in files if path.startswith("words/")}
    assert set(files) - words == {"./", "js/a.js", "first.css", "vendor/lib.js"}
    assert {"words/en/page.car.json", "words/en/page.parked.json", "words/en/offline.json"} <= words
    assert all(is_kept(path) for path in files)


@pytest.mark.parametrize("name", ["index.html", "sw.js", "js/a.js", "vendor/lib.js", "inside.css"])
def test_whatever_changes_is_another_version(root, name):
    """One byte in any file, the worker included; the same bytes give the same version."""
    before = made(root)
    assert made(root) == before
    (root / name).write_text((root / name).read_text() + "b {}")
    assert made(root)[0] != before[0]


def test_the_worker_begins_with_its_shell(client, tmp_path):
    """On the first line, so that a changed page is a changed worker; asked for again, it is not sent again."""
    (tmp_path / "web/sw.js").write_text("// mine\nrun(SHELL);\n")
    answer = client.get("/sw.js")
    first, *rest = answer.text.splitlines()
    shell = json.loads(first.removeprefix("const SHELL = ").rstrip(";"))
    assert "".join(rest) == "run(SHELL);"
    for path, tag in shell["files"].items():
        assert tag in client.get(f"/{path.removeprefix('./')}").headers["ETag"]
    assert client.get("/sw.js", headers={"If-None-Match": answer.headers["ETag"]}).status_code == 304
    (tmp_path / "web/js/main.js").write_text("export const a = 2;\n")
    assert client.get("/sw.js").headers["ETag"] != answer.headers["ETag"]


@pytest.mark.parametrize(
    "path",
    ["words/xx/page.car.json", "words/en/none.json", "words/en/page.car.name.json", "words/en/../en.json", "words/en/"],
)
def test_there_are_no_words_elsewhere(client, path):
    """Another language, another section, a single word, a way out: not found."""
    assert client.get(f"/{path}").status_code == 404
    assert words_file(path) is None


def test_words_are_the_catalogues(client):
    """The page's words as a file are what the API says."""
    assert client.get("/words/en/page.car.json").json == client.get("/api/words?section=page.car").json


def test_no_two_files_of_words_share_a_name():
    """The page lays them into one table as its screens ask for them: the later would take the earlier one's place."""
    seen: dict[str, str] = {}
    for section in WORDS:
        for name in json.loads(words_file(f"words/en/{section}.json") or b"{}"):
            assert seen.setdefault(name, section) == section, f"{name} stands in {seen[name]} and in {section}"


@pytest.mark.parametrize("name", ICONS)
def test_the_icons_are_the_drawing(name):
    """Each file is what the generator draws, pixel by pixel; what a mask cuts off is ground or goes on to the edge."""
    pixels = draw(*ICONS[name])
    assert (web_root() / "icons" / name).read_bytes()[:33] == png(pixels)[:33]
    body = (web_root() / "icons" / name).read_bytes()
    at, data = 8, b""
    while at < len(body):
        (length,) = struct.unpack(">I", body[at : at + 4])
        if body[at + 4 : at + 8] == b"IDAT":
            data += body[at + 8 : at + 8 + length]
        at += 12 + length
    rows = zlib.decompress(data)
    side = pixels.shape[0]
    assert rows == b"".join(b"\0" + row.tobytes() for row in pixels)
    assert len(rows) == side * (3 * side + 1)
