"""The picture in the README is drawn by the page itself; it is kept anew only when asked for: COACH_PICTURES=readme."""

from __future__ import annotations

import os
from pathlib import Path

PICTURE = Path(__file__).parents[2] / "docs/images/drive.png"
SIZE = (780, 1688)
"""Twice the size of a phone's screen."""


def size_of(png):
    """Width and height of a PNG (its IHDR chunk: ISO/IEC 15948, 11.2.2)."""
    assert png.startswith(b"\x89PNG")
    return int.from_bytes(png[16:20], "big"), int.from_bytes(png[20:24], "big")


def sound_on(page):
    """As on a phone whose sound was let out: no browser in a test has a voice, and it says so beside the picture."""
    page.wait_for_selector(".ear", state="attached")
    page.locator(".ear").evaluate("(ear) => ear.remove()")


def test_the_readme_has_its_picture(face):
    """The Drive screen while a speed is being held, as the page draws it, is what the README shows."""
    page = face("hold", device_scale_factor=2).page
    page.reload()
    page.wait_for_selector(".lane polyline", state="attached")
    page.evaluate("() => document.fonts.ready.then(() => true)")
    sound_on(page)
    drawn = page.screenshot()
    if os.environ.get("COACH_PICTURES") == "readme":
        PICTURE.parent.mkdir(parents=True, exist_ok=True)
        PICTURE.write_bytes(drawn)
    assert size_of(drawn) == SIZE
    assert size_of(PICTURE.read_bytes()) == SIZE
