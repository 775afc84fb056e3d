"""Where phones find this laptop, and the square to scan, as text. A secret goes to a terminal only, never to a pipe."""

from __future__ import annotations

import io
import sys
from typing import TYPE_CHECKING

from coach.cli.group import say

if TYPE_CHECKING:
    from coach.server.joining import Joining

MAKER = "terminal"


def tell_phones(joining: Joining) -> None:
    """Says how phones join, with a square where somebody can see it."""
    say(f"Phones on this network: {joining.address()}\n")
    if not joining.addresses:
        say("This machine is in no private network yet; join it to a Wi-Fi, or to the phone's own hotspot.\n")
    elif joining.trouble is not None:
        say(f"The name {joining.name} could not be announced ({joining.trouble}): the address is a number.\n")
    else:
        say(f"Where a phone does not find that: {joining.address(number=True)}\n")
    say(f"First time on a phone: {joining.help_address(number=True)} shows how to trust this machine.\n")
    if not is_terminal():
        say("No square is shown, because this is no terminal: use the page, or `coach devices invite`.\n")
        return
    url, seconds = joining.square("operator", MAKER)
    say(f"\n{drawn(url)}\nScan it to join as operator. It works once, for one phone, within {seconds // 60} minutes.\n")


def is_terminal() -> bool:
    """Whether a person looks at what is written."""
    return bool(sys.stdout.isatty())


def drawn(text: str) -> str:
    """A QR code (ISO/IEC 18004) as characters: half blocks where the terminal has them, else pairs of signs."""
    import segno

    code = segno.make_qr(text, error="m")
    out = io.StringIO()
    encoding = (getattr(sys.stdout, "encoding", None) or "ascii").lower()
    if encoding.startswith("utf"):
        code.terminal(out, compact=True)
        return out.getvalue()
    # Light on dark and dark on light both scan; what must be there is the margin of four.
    rows = [[0] * 4 + list(row) + [0] * 4 for row in code.matrix]
    width = len(rows[0])
    rows = [[0] * width] * 4 + rows + [[0] * width] * 4
    return "\n".join("".join("  " if dark else "##" for dark in row) for row in rows) + "\n"
