"""Scripts and sheets as they are sent: without comments and without the blanks that only people need.

No parser and no renaming: it tells code from comments, quotations and patterns; each line of code stays on its line.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator

_TOKEN = re.compile(
    r"""(?P<comment>//[^\n]*|/\*.*?\*/)|(?P<quoted>"(?:\\.|[^"\\\n])*"|'(?:\\.|[^'\\\n])*')"""
    r"""|(?P<pattern>/(?:\\.|\[(?:\\.|[^\]\\\n])*\]|[^/\\\[\n*])(?:\\.|\[(?:\\.|[^\]\\\n])*\]|[^/\\\[\n])*/[a-z]*)"""
    r"""|(?P<blank>\s+)|(?P<word>[\w$#.@]+)|(?P<sign>.)""",
    re.DOTALL,
)
# After these a slash begins a pattern; after a name, a number or a bracket that closes it divides.
_BEFORE_PATTERN = frozenset("(,=:[!&|?{};+-*%<>~^")
_WORDS_BEFORE_PATTERN = frozenset({"", "return", "typeof", "case", "in", "of", "await", "yield", "throw", "else", "do"})
# A blank beside one of these separates nothing.
_APART = frozenset("{}()[],;:=<>?&|!*%\"'`")
_IMPORT = re.compile(r'^@import "([a-z_]+\.css)";$', re.MULTILINE)
_SHEET_QUOTED = re.compile(r"""/\*.*?\*/|"[^"\n]*"|'[^'\n]*'""", re.DOTALL)


def bare_script(text: str) -> str:
    """A script without comments, indents and blanks beside signs; quotations, patterns and templates stay."""
    out: list[str] = []
    owed = ""
    for kind, piece in _pieces(text):
        if kind in {"comment", "blank"}:
            # A comment over lines ends a line, like a line break; so does what ends it.
            lines = piece.count("\n")
            owed = "\n" * (owed.count("\n") + lines) if lines or "\n" in owed else " "
            continue
        if owed == " ":
            owed = "" if not out or out[-1][-1] in _APART or piece[0] in _APART else " "
        out += [owed, piece] if owed else [piece]
        owed = ""
    return "".join(out) + owed.replace(" ", "")


def bare_sheet(text: str) -> str:
    """A sheet without comments, line breaks and the blanks around braces, colons of declarations and semicolons."""
    text = _SHEET_QUOTED.sub(lambda found: "" if found[0].startswith("/*") else found[0], text)
    out, at = [], 0
    for found in _SHEET_QUOTED.finditer(text):
        out += [_tight(text[at : found.start()]), found[0]]
        at = found.end()
    return "".join([*out, _tight(text[at:])]).strip()


def imported(sheet: str) -> list[str]:
    """Names of the sheets beside it that a sheet begins with (`@import "name.css";`), in order."""
    return _IMPORT.findall(sheet)


def with_imported(sheet: str, others: Iterable[str]) -> str:
    """A sheet with the others in place of its imports: one request, and packed together."""
    texts = iter(others)
    return _IMPORT.sub(lambda _: next(texts), sheet)


def _tight(text: str) -> str:
    # A colon of a selector is never followed by a blank, that of a declaration always.
    return re.sub(r": ", ":", re.sub(r"\s*([{};,])\s*", r"\1", re.sub(r"\s+", " ", text))).replace(";}", "}")


def _pieces(text: str) -> Iterator[tuple[str, str]]:
    """The script cut into comments, blanks and everything else; the code inside a template counts as template."""
    at, before = 0, ""
    while at < len(text):
        if text[at] == "`":
            end = _template(text, at)
            yield "quoted", text[at:end]
            at, before = end, "`"
            continue
        found = _TOKEN.match(text, at)
        kind = (found.lastgroup or "") if found else ""
        piece = found[0] if found else text[at]
        if kind == "pattern" and not _may_be_pattern(before):
            kind, piece = "sign", "/"
        yield kind, piece
        at += len(piece)
        if kind not in {"comment", "blank"}:
            before = piece


def _may_be_pattern(before: str) -> bool:
    return before in _WORDS_BEFORE_PATTERN or before[-1] in _BEFORE_PATTERN


def _template(text: str, at: int) -> int:
    """Where the template that begins at `at` ends: templates may stand in the braces of another."""
    at += 1
    while at < len(text) and text[at] != "`":
        if text[at] == "\\":
            at += 2
        elif text.startswith("${", at):
            at, depth = at + 2, 1
            while at < len(text) and depth:
                if text[at] == "`":
                    at = _template(text, at)
                    continue
                depth += {"{": 1, "}": -1}.get(text[at], 0)
                at += 1
        else:
            at += 1
    return at + 1
