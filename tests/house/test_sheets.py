"""Style sheets stay once a screen has loaded them, so none may dress what another screen calls by the same name."""

from __future__ import annotations

import re
from collections import defaultdict

import pytest

from coach.assets import web_root

FIRST = {"tokens.css", "base.css", "drive.css", "lane.css", "sizes.css", "first.css", "pages.css"}
"""Loaded before any other: what they say is meant for every screen, or for Drive alone."""
ALIKE = {".told summary", ".told summary::-webkit-details-marker"}
"""Said twice in the same words: either sheet may come without the other."""
ROOTS = {"page", "desk", "item"}
"""What a sheet hangs its own names on, so that they say nothing elsewhere."""


def bare_rules(css: str) -> dict[str, str]:
    """What a sheet says of bare class names: `.field` and `.field small`, not `.desk .field`, by selector.

    What stands in a media query is left out: it answers for another size, and its rule outside is here.
    """
    css = re.sub(r"/\*.*?\*/", "", css, flags=re.DOTALL)
    css = re.sub(r"@media[^{]*\{(?:[^{}]*\{[^{}]*\})*\s*\}", "", css)
    found = re.findall(r"([^{}]+)\{([^{}]*)\}", css)
    each = ((one.strip(), body) for names, body in found for one in re.split(r",(?![^(]*\))", names))
    return {one: body for one, body in each if (name := first(one)) is not None and name not in ROOTS}


def first(selector: str) -> str | None:
    """The class that a selector begins with, where it is one alone: of `.field > span`, not of `.mini.note`."""
    found = re.match(r"\.([a-z-]+)(?=$|[ :>\[])", selector)
    return found and found[1]


def test_a_class_is_dressed_by_one_sheet():
    """Two sheets that speak of the same name do so below a name of their own (`.desk .field`, `.page .field`)."""
    names: dict[str, set[str]] = defaultdict(set)
    for path in sorted((web_root() / "css").glob("*.css")):
        if path.name not in FIRST:
            for selector in bare_rules(path.read_text("utf-8")):
                if selector not in ALIKE:
                    names[str(first(selector))].add(path.name)
    assert {name: sheets for name, sheets in names.items() if len(sheets) > 1} == {}


@pytest.mark.parametrize("selector", sorted(ALIKE))
def test_what_is_said_twice_is_said_alike(selector):
    """The exceptions are exceptions because it makes no difference which of the sheets is there."""
    sheets = [bare_rules(path.read_text("utf-8")) for path in (web_root() / "css").glob("*.css")]
    assert len({rules[selector] for rules in sheets if selector in rules}) == 1


def test_bare_rules_are_found():
    """The reader of sheets sees a bare name, one in a list and one with a descendant, and no others."""
    css = (
        "/* .no {} */ .a { x: y } .b small, .desk .c { x: y } @media (max-width: 1px) { .d { x: y } } :is(.e) { x: y }"
    )
    assert set(bare_rules(css)) == {".a", ".b small"}
