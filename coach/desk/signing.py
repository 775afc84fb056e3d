"""A recipe with its writer's signature: one comment line at the end of the TOML, over every byte before it.

The line is part of the file as received, so the recipe's SHA-256 covers it too.
"""

from __future__ import annotations

import re
from pathlib import Path

from coach.bundle.keys import Pin, Signature, pins, sign, verify
from coach.errors import BadInput

PREFIX = b"log capture recipe, format 1\n"
"""Stands before what is signed, so that a signature made for something else never fits a recipe."""
_LINE = re.compile(rb"# signed Ed25519 ([0-9a-f]{64}) ([0-9a-f]{128})\n?\Z")
_MARK = b"# signed "


def signed(recipe: bytes, folder: Path) -> bytes:
    """The recipe with the signature of this installation's key in its last line, an earlier one taken off.

    Args:
        recipe: TOML as it stands in the file.
        folder: the data folder with the key.

    Raises:
        BadInput: it is JSON, which has no place for a comment.
        StoreError: the key cannot be read or made.
    """
    text = unsigned(recipe)
    if text.lstrip().startswith(b"{"):
        raise BadInput("a recipe in JSON has no place for a signature; save it as TOML and sign that")
    if text and not text.endswith(b"\n"):
        text += b"\n"
    made = sign(folder, text, PREFIX)
    return text + f"# signed Ed25519 {made['public_key']} {made['signature']}\n".encode()


def unsigned(recipe: bytes) -> bytes:
    """The recipe without its signature line; itself when there is none."""
    found = _last_line(recipe)
    return recipe if found is None else recipe[:found]


def signature_of(recipe: bytes) -> Signature | None:
    """The signature of a recipe, looked at: not good where the line is damaged; None when there is none."""
    start = _last_line(recipe)
    if start is None:
        return None
    found = _LINE.match(recipe, start)
    if found is None:
        return Signature("", "", good=False)
    return verify(recipe[:start], found[1].decode(), found[2].decode(), PREFIX)


def known_as(signature: Signature, folder: Path) -> Pin | None:
    """The pinned key that made a good signature, or None. Raises StoreError."""
    if not signature.good:
        return None
    return next((p for p in pins(folder) if p.public_key == signature.public_key), None)


def _last_line(recipe: bytes) -> int | None:
    """Where the signature line begins, or None."""
    end = recipe.rstrip(b"\r\n \t")
    start = end.rfind(b"\n") + 1
    return start if end.startswith(_MARK, start) else None
