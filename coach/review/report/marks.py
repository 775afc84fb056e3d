"""The marks of outcomes, made from one block: a word stands beside each, and shape comes before colour."""

from __future__ import annotations

from html import escape

_SHAPES = {
    "todo": '<path d="M3 3h18v18H3z" fill="none" stroke="currentColor" stroke-width="3"/>',
    "part": '<path d="M3 3h18v18H3z" fill="none" stroke="currentColor" stroke-width="3"/><path d="M3 3h10v18H3z"/>',
    "secured": '<path fill-rule="evenodd" d="M1.5 1.5h21v21h-21zM6 12.2l4.2 4.4 8-8.8-2.1-1.9-6 6.6-2-2.1z"/>',
    "missed": (
        '<path d="M1.5 1.5h8.2L8 8l3 4-3.6 4.5L9 22.5H1.5z"/><path d="M14 1.5h8.5v21h-9L12 16.8l3.4-4.6-3-4.2z"'
        ' fill="none" stroke="currentColor" stroke-width="2.6" stroke-dasharray="3.4 2.6"/>'
    ),
    "stopped": ('<path fill-rule="evenodd" d="M7.4 1h9.2L23 7.4v9.2L16.6 23H7.4L1 16.6V7.4zM5.5 10v4h13v-4z"/>'),
    "sparse": "".join(
        f'<path d="M{x} {y}h4.4v4.4h-4.4z"/>' for x in ("2", "9.8", "17.6") for y in ("2", "9.8", "17.6")
    ),
}


def mark(outcome: str, word: str) -> str:
    """The mark of an outcome, with the word that a screen reader says."""
    shape = _SHAPES.get(outcome, _SHAPES["todo"])
    return f'<svg class="mark" viewBox="0 0 24 24" role="img" aria-label="{escape(word, quote=True)}">{shape}</svg>'
