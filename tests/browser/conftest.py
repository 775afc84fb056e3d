"""The page in a real browser: a server with canned answers, pages that record what went wrong, pictures of each.

With COACH_PICTURES=1 in the environment every state is pictured in shots/, which no commit holds.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from tests.browser.fixture_server import FixtureServer
from tests.browser.real_server import RealServer, until
from tests.browser.slow import slow_down

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

SHOTS = Path(__file__).parent / "shots"
PHONE = (390, 844)
LOCALE = "en-IE"
"""English, in kilometres and degrees Celsius."""
READY = """async () => {
  const there = await navigator.serviceWorker.ready;
  return Boolean(there.active && navigator.serviceWorker.controller);
}"""
WHOLE = """async (id) => {
  const { keptDrives } = await import('/js/kept.js');
  return (await keptDrives()).some((one) => one.id === id && one.whole);
}"""
"""Whether a drive is kept on the phone, all of it."""
CAUGHT_UP = """(points) => [...document.querySelectorAll('.lane polyline')]
  .reduce((sum, line) => sum + line.getAttribute('points').split(' ').length, 0) >= points"""
"""Whether the lane has drawn what the server gave to a page that came late, and not only the state that came first."""
KEEP = "async (id) => (await import('/js/kept.js')).keepDrive(id)"
"""Keeps it now, where a test is not about that it comes by itself."""


@pytest.fixture(scope="session")
def _one_server() -> Iterator[FixtureServer]:
    server = FixtureServer()
    yield server
    server.close()


@pytest.fixture
def server(_one_server: FixtureServer) -> FixtureServer:
    """The page over canned answers, as fresh."""
    _one_server.hang_up()
    _one_server.reset()
    return _one_server


NOTE = """(selector) => {
  window.noted = [];
  const note = () => {
    const text = document.querySelector(selector)?.textContent.trim() ?? '';
    if (text && window.noted.at(-1) !== text) window.noted.push(text);
  };
  new MutationObserver(note).observe(document, { childList: true, subtree: true, characterData: true });
}"""
WAS_SAID = "(start) => window.noted.some((text) => text.startsWith(start))"


NO_COMPLAINT = ("status of 404", "blocked by Playwright", "but not used within a few seconds")


class Opened:
    """A page with what it complained about."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.complaints: list[str] = []
        slow_down(page)
        page.on("console", lambda message: self._note(message.type, message.text))
        page.on("pageerror", lambda error: self.complaints.append(str(error)))

    def _note(self, kind: str, text: str) -> None:
        # A refused request is an answer of the server, shown to people; policy violations and errors are not.
        # Nor is what this harness says when it blocks a worker, nor that a busy machine came late to a preloaded file.
        if kind in {"error", "warning"} and not any(one in text for one in NO_COMPLAINT):
            self.complaints.append(text)


Open = Callable[..., Opened]


@pytest.fixture
def opening(browser: Browser, server: FixtureServer) -> Iterator[Open]:
    """Opens the page at a hash, in a light and a size, and waits until its screen stands."""
    contexts = []

    def open_page(
        at: str = "#/", *, light: str = "day", size: tuple[int, int] = PHONE, clock: bool = False, **options: object
    ) -> Opened:
        context = browser.new_context(
            viewport={"width": size[0], "height": size[1]},
            # Where a test is not about it, no worker fetches the whole page once more.
            **{"service_workers": "block", "locale": LOCALE, "reduced_motion": "reduce", **options},
        )  # fmt: skip
        contexts.append(context)
        opened = Opened(context.new_page())
        if clock:
            opened.page.clock.install()
        opened.page.goto(f"{server.url}/?light={light}{at}")
        opened.page.wait_for_function(
            "() => document.body.dataset.screen !== undefined && document.querySelector('h1')?.textContent"
        )
        opened.page.evaluate("() => document.fonts.ready.then(() => true)")
        return opened

    yield open_page
    for context in contexts:
        context.close()


@pytest.fixture
def face(opening: Open, server: FixtureServer) -> Open:
    """Opens Drive with a face of `faces.py`, its thread caught up."""
    from tests.browser import faces

    def open_face(name: str, **options: object) -> Opened:
        server.face = name
        opened = opening("#/drive", **options)
        points = len(faces.thread(name))
        if points > 1 and name not in {*faces.WHOLE, "paused"}:
            opened.page.wait_for_function(CAUGHT_UP, arg=points)
        if name in faces.PAGES:
            opened.page.wait_for_selector("[data-screen=arm]")
        return opened

    return open_face


@pytest.fixture(scope="session")
def done(tmp_path_factory: pytest.TempPathFactory) -> Iterator[RealServer]:
    """A real server with one drive that has ended; whoever cuts its wire mends it."""
    server = RealServer(tmp_path_factory.mktemp("data"))
    server.drive(speed=None).wait(60)
    server.id = server.services.store.drives()[0].id
    yield server
    server.close()


@pytest.fixture
def phone(browser: Browser) -> Iterator[Open]:
    """Opens the page as a phone with a worker would; waits until the page is kept."""
    contexts = []

    def open_phone(
        server: RealServer, at: str = "#/", *, worker: bool = True, script: str | None = None, **options: object
    ) -> Opened:
        context = browser.new_context(
            viewport={"width": 390, "height": 844}, reduced_motion="reduce", accept_downloads=True,
            service_workers="allow" if worker else "block", **options,
        )  # fmt: skip
        contexts.append(context)
        if script:
            context.add_init_script(f"({script})()")
        opened = Opened(context.new_page())
        opened.page.goto(f"{server.url}/?light=day{at}")
        opened.page.wait_for_selector("h1")
        if worker:
            until(opened.page, READY)
        return opened

    yield open_phone
    for context in contexts:
        context.close()


def note(page: Page, selector: str) -> None:
    """Writes down from now on what an element says: for what is shown for a moment only."""
    page.evaluate(NOTE, selector)


def was_said(page: Page, start: str) -> str:
    """Waits until the element of `note` has said something that begins so; gives the whole of it."""
    page.wait_for_function(WAS_SAID, arg=start)
    said: list[str] = page.evaluate("() => window.noted")
    return next(text for text in said if text.startswith(start))


def shoot(page: Page, name: str) -> None:
    """Keeps a picture in shots/, where pictures were asked for."""
    if not os.environ.get("COACH_PICTURES"):
        return
    SHOTS.mkdir(exist_ok=True)
    page.screenshot(path=SHOTS / f"{name}.png")


def need_font(page: Page) -> None:
    """Skips what is true of the page's own typeface only, where the build could not fetch it."""
    page.evaluate(
        "() => Promise.allSettled(['400', '700'].map((weight) => document.fonts.load(`${weight} 16px B612`)))"
    )
    if not page.evaluate("() => [...document.fonts].some((font) => font.status === 'loaded')"):
        pytest.skip("the typeface was not fetched when this was built: its letters cannot be measured")
