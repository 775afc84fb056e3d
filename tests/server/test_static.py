"""The page's files: right types, tags, packed; nothing else."""

import gzip

import pytest

from coach.assets import web_root
from coach.server.static import TYPES, Static


def test_the_page_is_at_the_root(client):
    """index.html, checked at each load."""
    answer = client.get("/")
    assert answer.content_type == "text/html; charset=utf-8"
    assert answer.headers["Cache-Control"] == "no-cache"
    assert client.get("/", headers={"If-None-Match": answer.headers["ETag"]}).status_code == 304


def test_modules_have_the_type_that_browsers_insist_on(client):
    """A module of another type is not run."""
    assert client.get("/js/main.js").content_type == "text/javascript; charset=utf-8"


def test_text_is_packed_for_who_can_unpack(client):
    """The packed form has its own tag and gives the same bytes."""
    plain = client.get("/")
    packed = client.get("/", headers={"Accept-Encoding": "gzip"})
    assert packed.headers["Content-Encoding"] == "gzip"
    assert packed.headers["Vary"] == "Accept-Encoding"
    assert gzip.decompress(packed.data) == plain.data
    assert packed.headers["ETag"] != plain.headers["ETag"]
    assert "Content-Encoding" not in client.get("/", headers={"Accept-Encoding": "gzip;q=0"}).headers
    assert "Content-Encoding" not in client.get("/js/main.js", headers={"Accept-Encoding": "gzip"}).headers


@pytest.mark.parametrize(
    "path",
    ["/package.json", "/.secret.txt", "/program.exe", "/js", "/js/", "/../outside.txt", "/js/../../outside.txt",
     "/%2e%2e/outside.txt", "/..%2foutside.txt", "/js//main.js", "/C:/x.txt", "/js/main.js/", "/a%00.txt", "/\\x.txt",
     "/node_modules/a.js"],
)  # fmt: skip
def test_nothing_else_is_served(client, path):
    """Build files, hidden files, other types, folders, and everything outside."""
    answer = client.get(path)
    assert answer.status_code == 404
    assert answer.json["error"]["code"] == "not_found"


def test_a_file_that_changes_is_seen(client, tmp_path):
    """No restart is needed to edit the page."""
    tag = client.get("/js/main.js").headers["ETag"]
    (tmp_path / "web" / "js" / "main.js").write_text("export const a = 22;\n")
    changed = client.get("/js/main.js")
    assert changed.headers["ETag"] != tag
    assert "22" in changed.text


def test_a_sheet_is_sent_with_the_sheets_that_it_names(client, tmp_path):
    """One request; a change of either is seen."""
    sheets = tmp_path / "web" / "css"
    sheets.mkdir()
    (sheets / "first.css").write_text('/* all */\n@import "a.css";\n@import "b.css";\n')
    (sheets / "a.css").write_text("a { b: c }\n")
    (sheets / "b.css").write_text("d { e: f }\n")
    before = client.get("/css/first.css")
    assert before.text == "a{b:c}d{e:f}"
    (sheets / "b.css").write_text("d { e: longer }\n")
    after = client.get("/css/first.css")
    assert after.text == "a{b:c}d{e:longer}"
    assert after.headers["ETag"] != before.headers["ETag"]


def test_a_link_to_the_outside_is_not_followed(client, tmp_path):
    """The root is the end of the world."""
    (tmp_path / "web" / "link.txt").symlink_to(tmp_path / "outside.txt")
    assert client.get("/link.txt").status_code == 404


def test_the_projects_own_page_has_only_files_that_are_served():
    """Whatever the page needs has a type here."""
    root = web_root()
    hidden = {"node_modules", "vendor", "package.json", "package-lock.json", "jsconfig.json"}
    files = [p for p in root.rglob("*") if p.is_file() and not hidden & set(p.relative_to(root).parts)]
    wrong = [p for p in files if p.suffix not in TYPES and not p.name.startswith(".")]
    assert files
    assert wrong == []
    assert Static().answer is not None
