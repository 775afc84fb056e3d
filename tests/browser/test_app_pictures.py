"""The pictures in the manifest are drawn by the page itself; kept anew when asked for: COACH_PICTURES=manifest."""

from __future__ import annotations

import os

import pytest

from coach.assets import web_root
from tests.browser.test_picture import SIZE, size_of, sound_on


@pytest.mark.parametrize(("name", "at"), [("drive", "#/drive"), ("after", "#/after?drive=d1")])
def test_the_manifest_has_its_pictures(opening, server, name, at):
    """An install dialog shows Drive and Afterwards as the page draws them."""
    server.face = "hold" if name == "drive" else "none"
    page = opening(at, device_scale_factor=2).page
    page.wait_for_selector(".lane polyline" if name == "drive" else ".portrait .th", state="attached")
    page.evaluate("() => document.fonts.ready.then(() => true)")
    if name == "drive":
        sound_on(page)
    drawn = page.screenshot()
    path = web_root() / "pictures" / f"{name}.png"
    if os.environ.get("COACH_PICTURES") == "manifest":
        path.parent.mkdir(exist_ok=True)
        path.write_bytes(drawn)
    assert size_of(drawn) == size_of(path.read_bytes()) == SIZE
