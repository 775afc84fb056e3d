"""The threat model names tests: each exists; and what it says of the page's scripts."""

import re
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest

from coach.assets import web_root
from coach.server.api import ENDPOINTS

ROOT = Path(__file__).parents[2]
PAGE = (ROOT / "docs/explanation/security.md").read_text("utf-8")
TESTS = {
    name
    for path in (ROOT / "tests").rglob("test_*.py")
    for name in re.findall(r"^(?:async )?def (test_\w+)", path.read_text("utf-8"), re.MULTILINE)
}
MARKUP = re.compile(
    r"\b(?:innerHTML|outerHTML|insertAdjacentHTML|setHTMLUnsafe|document\.write|DOMParser|createContextualFragment)\b"
    r"|\beval\s*\(|new Function\b|\.srcdoc\b|javascript:"
)


def test_every_test_that_the_page_names_exists():
    """A line that nothing holds is a promise, not a fact."""
    named = set(re.findall(r"`(test_\w+)`", PAGE))
    assert len(named) > 50
    assert sorted(named - TESTS) == []


def test_each_threat_names_what_holds_it():
    """Every row of every table of threats, in each of the five parts."""
    for part in ("A neighbour on the same network", "A malicious page in the same browser", "A malicious recipe",
                 "A malicious bundle or table from mail", "A lost phone"):  # fmt: skip
        text = PAGE.partition(f"## {part}\n")[2].partition("\n## ")[0]
        table = [line for line in text.splitlines() if line.startswith("|")][2:]
        assert len(table) >= 3, part
        assert [line for line in table if "`test_" not in line] == []


@pytest.mark.parametrize("script", sorted((web_root() / "js").rglob("*.js")), ids=lambda path: path.name)
def test_no_script_makes_markup_out_of_strings(script):
    """Text from a recipe, a bundle or a device's name stays text. One script takes a picture that the server drew."""
    allowed = ["DOMParser"] if script.name == "speeds.js" else []
    assert MARKUP.findall(script.read_text("utf-8")) == allowed


def test_a_picture_that_the_server_draws_holds_no_markup_of_a_recipe(client):
    """A recipe whose titles are markup, in the plot that the page takes in as it comes."""
    recipe = (ROOT / "replay_traces/demo-recipe.toml").read_text("utf-8")
    bad = "<script>alert(1)</script><a href='javascript:1' onclick='1'>"
    for title in ("Steady part load in fifth", "Full pedal in third"):
        assert title in recipe
        recipe = recipe.replace(title, bad)
    kept = client.post("/api/recipes", data=recipe.encode(), content_type="application/toml").json
    source = client.get("/api/sources").json["sources"][0]["id"]
    answer = client.get("/api/plan.svg", query_string={"recipe": kept["sha256"], "source": source})
    assert answer.mimetype == "image/svg+xml"
    elements = list(ET.fromstring(answer.text).iter())
    assert len(elements) > 5
    assert not any(e.tag.endswith(("script", "foreignObject", "}a")) for e in elements)
    assert not any(name.startswith("on") or "javascript" in value for e in elements for name, value in e.attrib.items())


@pytest.mark.parametrize("bad", ["x.innerHTML = y", "eval (x)", "new Function('x')", "document.write(x)"])
def test_the_check_of_markup_bites(bad):
    assert MARKUP.search(bad)


def test_nothing_that_changes_anything_answers_to_get():
    """A change asked for by GET would pass the check of its origin: every address that acts takes another method."""
    acts = {"stop", "finish", "pause", "resume", "arm", "disarm", "skip", "unskip", "confirm", "role", "seen", "remove",
            "name", "pair", "leave", "square", "carry-on"}  # fmt: skip
    assert {e.method for e in ENDPOINTS if e.path.rpartition("/")[2] in acts} == {"POST"}
    assert {e.method for e in ENDPOINTS} <= {"GET", "POST", "DELETE"}
