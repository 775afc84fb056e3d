"""A whole recipe in the fragment of a link, which no server is ever sent, and in a QR code where it is small enough."""

from __future__ import annotations

import base64
import binascii
import zlib
from typing import TYPE_CHECKING

from coach.errors import BadInput
from coach.recipe.shape import MAX_BYTES

if TYPE_CHECKING:
    from segno import QRCode

FORM = "1."
"""Before the packed recipe: which form this is."""
ROUTE = "#/request/"
MOST_MODULES = 117
"""The largest QR code that a phone reads from a screen at arm's length (version 25; common practice, no source)."""


def pack(recipe: bytes) -> str:
    """The recipe as text for a link: raw deflate (RFC 1951) in URL-safe Base64 (RFC 4648) without padding."""
    squeeze = zlib.compressobj(9, zlib.DEFLATED, -15)
    small = squeeze.compress(recipe) + squeeze.flush()
    return FORM + base64.urlsafe_b64encode(small).decode().rstrip("=")


def unpack(text: str) -> bytes:
    """The recipe in a link's fragment, byte for byte.

    Raises:
        BadInput: it is cut off, damaged, of a later form, or larger than a recipe may be.
    """
    text = text.strip()
    _, found, rest = text.partition(ROUTE)
    text = rest if found else text
    if not text.startswith(FORM):
        raise BadInput("this link carries no recipe that this version can read; ask for it as a file", where="link")
    packed = text[len(FORM) :]
    try:
        small = base64.b64decode(packed + "=" * (-len(packed) % 4), altchars=b"-_", validate=True)
        unsqueeze = zlib.decompressobj(-15)
        recipe = unsqueeze.decompress(small, MAX_BYTES + 1)
    except (binascii.Error, ValueError, zlib.error) as error:
        raise BadInput("the link is damaged; ask for it again, or for the recipe as a file", where="link") from error
    if len(recipe) > MAX_BYTES:
        raise BadInput(f"the recipe in this link is larger than {MAX_BYTES // 1000} kB", where="link")
    if not unsqueeze.eof or unsqueeze.unused_data:
        raise BadInput("the link is cut off; ask for it again, or for the recipe as a file", where="link")
    return recipe


def link(recipe: bytes, page: str) -> str:
    """The link that opens a recipe on the owner's own page.

    Args:
        recipe: its bytes as they are to be received.
        page: the page's address, as in `http://localhost:8765/`.
    """
    return page.rstrip("/") + "/" + ROUTE + pack(recipe)


def code(url: str) -> QRCode:
    """The link as a QR code (ISO/IEC 18004).

    Raises:
        BadInput: it is too long for a code that a phone reads from a screen.
    """
    import segno
    from segno.encoder import DataOverflowError

    try:
        made = segno.make_qr(url, error="l", boost_error=False)
    except DataOverflowError:
        made = None
    if made is None or made.symbol_size(border=0)[0] > MOST_MODULES:
        raise BadInput(
            f"the link has {len(url)} characters, more than a code that a phone reads from a screen can carry; "
            "send it as a link or as a file"
        )
    return made
