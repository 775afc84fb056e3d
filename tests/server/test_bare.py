"""What a script and a sheet are sent without: comments and blanks, and nothing else."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.assets import web_root
from coach.server.bare import bare_script, bare_sheet, imported, with_imported

SCRIPTS = [*sorted((web_root() / "js").rglob("*.js")), web_root() / "sw.js"]
SHEETS = sorted((web_root() / "css").glob("*.css"))

CASES = {
    "// a\nconst a = 1;\n": "\nconst a=1;\n",
    'const a = "// not one"; // goes\nb();': 'const a="// not one";\nb();',
    "/**\n * b\n */\nconst b = `x  /* y */ ${ c + ` // ${ d }` }`;\n  e();\n": "\n\n\n"
    "const b=`x  /* y */ ${ c + ` // ${ d }` }`;\ne();\n",
    "const u = 'it\\'s  // here';": "const u='it\\'s  // here';",
    "go(/** @type {any} */ (b), /* here */ c);": "go((b),c);",
    "return /** @type {any} */ x;": "return x;",
    "const r = /[/*]  \\/ ' \"/g.test(a); // b": "const r=/[/*]  \\/ ' \"/g.test(a);",
    "const q = (a + b) / c / d;  // e / f": "const q=(a + b)/ c / d;",
    "return /a  b/.exec(c) ?? d / e;": "return /a  b/.exec(c)??d / e;",
    "i++ + ++j; k - -1; 1 .toFixed(); typeof a in b": "i++ + ++j;k - -1;1 .toFixed();typeof a in b",
    "let a = 1\n/* b\n */ let c = 2 /* d */\nlet e": "let a=1\n\nlet c=2\nlet e",
    "x = `\\``;  // y": "x=`\\``;",
}


@pytest.mark.parametrize("text", CASES)
def test_a_script_loses_comments_and_blanks_that_say_nothing(text):
    """What stands in quotes, in a pattern or in a template stays as it is; so do blanks that keep two words apart."""
    assert bare_script(text) == CASES[text]


@pytest.mark.parametrize("path", SCRIPTS, ids=lambda path: path.stem)
def test_every_line_of_code_stays_on_its_line(path):
    """An error's place is the one in the file: the words of each line are where they were, and no comment is left."""
    text = path.read_text("utf-8")
    sent = bare_script(text)
    assert sent.count("\n") == text.count("\n")
    assert bare_script(sent) == sent
    assert len(sent) < len(text)
    for was, now in zip(text.split("\n"), sent.split("\n"), strict=True):
        # In code with no quotation and no comment, taking out blanks is all that was done.
        if was and not re.search(r"[\"'`/*]", was):
            assert now.replace(" ", "") == was.replace(" ", "")
        assert not now.startswith(("//", "/*"))
    assert not re.search(r"@(type|param|returns|typedef)\b", sent)


@given(st.text(alphabet="ab1 \n\"'`/*${}()\\[],;=+-.", max_size=60))
def test_whatever_comes_it_ends_and_keeps_the_lines_outside_quotations(text):
    """Also of a text that is no script: nothing hangs, nothing is made up."""
    sent = bare_script(text)
    assert sent.count("\n") == text.count("\n")
    assert len(sent) <= len(text)


def test_a_sheet_loses_comments_and_blanks():
    """Blanks that mean something (between selectors, in sums, in quotes) stay."""
    text = '/* a */\n.a  .b,\n.c:hover { d: calc(1px + 2px) e;\n  content: "f;  g: {"; }\n'
    text += "@media (h: 1px) and (i) { j { k: l; } }\n"
    sent = '.a .b,.c:hover{d:calc(1px + 2px) e;content:"f;  g: {"}@media (h:1px) and (i){j{k:l}}'
    assert bare_sheet(text) == sent
    assert bare_sheet(sent) == sent


@pytest.mark.parametrize("path", SHEETS, ids=lambda path: path.stem)
def test_a_sheet_says_what_it_said(path):
    """Without any blank both forms are the same, but for comments and the last semicolon of a block."""
    text = re.sub(r"/\*.*?\*/", "", path.read_text("utf-8"), flags=re.DOTALL)
    assert re.sub(r"\s", "", bare_sheet(text)) == re.sub(r"\s", "", text).replace(";}", "}")
    # A colon with a blank before it is a selector's, and stays one.
    assert len(re.findall(r"[\w)\]]\s+:", text)) == len(re.findall(r"[\w)\]] :", bare_sheet(text)))


def test_a_sheet_takes_others_in():
    """In their order, in place of the lines that name them."""
    text = '/* all */\n@import "a.css";\n@import "b.css";\nc {}\n'
    assert imported(text) == ["a.css", "b.css"]
    assert bare_sheet(with_imported(text, ["x { y: z }", "/* b */"])) == "x{y:z}c{}"
    assert imported("a { b: c }") == []
