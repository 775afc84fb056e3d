"""The pictures in the documents are drawn by the page itself; kept anew when asked for: COACH_PICTURES=docs."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from coach.assets import traces_root
from tests.browser.conftest import LOCALE
from tests.browser.real_server import RealServer
from tests.browser.test_joining import laptop, served, square  # noqa: F401 - the two fixtures are asked for by name
from tests.browser.test_picture import size_of

IMAGES = Path(__file__).parents[2] / "docs/images"
PHONE_PNG, DESK_PNG = (585, 1266), (1280, 800)
LARGEST = 140_000
"""Bytes: a page of the documents opens at once."""


def keep(name: str, drawn: bytes, size: tuple[int, int]) -> None:
    """Keeps the picture where that was asked for; else looks that one of its size is there."""
    path = IMAGES / f"{name}.png"
    if os.environ.get("COACH_PICTURES") == "docs":
        path.write_bytes(drawn)
    assert size_of(drawn) == size_of(path.read_bytes()) == size
    assert path.stat().st_size < LARGEST


@pytest.mark.parametrize(
    ("name", "at", "wait"),
    [
        ("ready", "#/ready?recipe=f00d&source=simulator", "[data-screen=ready] h1"),
        ("afterwards", "#/after?drive=d1", ".portrait .th"),
    ],
)
def test_the_phone_has_its_pictures(opening, server, name, at, wait):
    """Ready before the drive, and what each capture came to after it."""
    page = opening(at, device_scale_factor=1.5).page
    page.wait_for_selector(wait, state="attached")
    page.evaluate("() => document.fonts.ready.then(() => true)")
    keep(name, page.screenshot(), PHONE_PNG)


def test_the_desk_has_its_picture(browser, tmp_path):
    """A capture as a sentence, with the phone beside it as the driver will see it."""
    server = RealServer(tmp_path / "data")
    context = browser.new_context(
        viewport={"width": 1280, "height": 800}, locale=LOCALE, service_workers="block", reduced_motion="reduce"
    )
    try:
        page = context.new_page()
        page.goto(f"{server.url}/?light=day#/drives")
        text = (traces_root() / "demo-recipe.toml").read_text("utf-8")
        page.evaluate("(text) => localStorage.setItem('desk.draft', JSON.stringify({ text }))", text)
        page.goto("about:blank")
        page.goto(f"{server.url}/?light=day#/desk/write")
        page.locator(".shell:not([hidden])").first.wait_for()
        page.evaluate("() => document.fonts.ready.then(() => true)")
        keep("write", page.screenshot(), DESK_PNG)
    finally:
        context.close()
        server.close()


def test_joining_has_its_picture(laptop, served):  # noqa: F811 - as above
    """The square that a phone scans, as the laptop shows it. It worked once, and in this test only."""
    square(laptop, served)
    laptop.page.evaluate("() => document.fonts.ready.then(() => true)")
    keep("join", laptop.page.screenshot(), DESK_PNG)
