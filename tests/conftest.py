"""What every test may use: Hypothesis profiles, a browser, and the optional folder of outside material."""

from __future__ import annotations

import os
import shutil
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from hypothesis import settings

if TYPE_CHECKING:
    from playwright.sync_api import Browser, BrowserContext

CI = bool(os.environ.get("CI"))

# Quick for the desk, more and the same each time for CI, deep for the long test; --hypothesis-profile chooses by hand.
settings.register_profile("quick", max_examples=40, deadline=None, derandomize=False)
settings.register_profile("ci", max_examples=120, deadline=None, derandomize=True, print_blob=True)
settings.register_profile("deep", max_examples=2_000, deadline=None, derandomize=False, print_blob=True)
settings.load_profile("ci" if CI else "quick")

BROWSERS = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome", "msedge")
BROWSER_ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
PATIENCE_MS = 60_000
"""How long a test waits for what the page must come to. A wait that succeeds costs nothing, whatever is allowed."""
NO_BROWSER = "no browser on this machine: install chromium, or name one in COACH_BROWSER"


LONGEST = (
    "browser/test_review_page.py", "browser/test_desk.py", "browser/test_joining.py", "browser/test_offline.py",
    "browser/test_axe.py", "browser/test_kept_here.py", "browser/test_sound_page.py", "browser/test_desk_more.py",
    "browser/test_screens.py", "browser/test_page_does.py", "browser/test_language_page.py", "browser/test_demo.py",
    "browser/test_stream.py", "browser/test_desk_whole.py", "browser/test_decimal_sign.py",
    "house/test_docs_commands.py", "browser/test_send.py", "browser/test_safety_flow.py", "server/test_live.py",
    "bench/test_bench.py", "fuzz/test_api.py", "server/test_errors.py", "server/test_desking.py",
    "store/test_full_disk.py", "soak/test_kills.py", "bundle/test_check.py", "browser/test_kept_review.py",
    "browser/test_link_page.py", "browser/test_doc_pictures.py", "cli/test_demo.py", "cli/test_serve_link.py",
    "house/test_package.py", "server/test_api.py", "house/test_run.py", "desk/test_archive.py",
)  # fmt: skip
"""Files that take longest, below tests/: they begin first, or a process is left alone with one of them at the end."""


def find_browser() -> str | None:
    """The browser named in COACH_BROWSER, else one on PATH, else the one that Playwright fetched."""
    named = os.environ.get("COACH_BROWSER")
    if named:
        return shutil.which(named)
    found = next((path for path in map(shutil.which, BROWSERS) if path), None)
    if found:
        return found
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        own = playwright.chromium.executable_path
    return own if Path(own).is_file() else None


@pytest.fixture(scope="session")
def browser_path() -> str:
    """Where the browser is. Without one the test is skipped, but fails when CI is set."""
    found = find_browser()
    if found is not None:
        return found
    if CI:
        pytest.fail(f"{NO_BROWSER}; CI is set, so this is a failure", pytrace=False)
    pytest.skip(NO_BROWSER)


def patient(context: BrowserContext) -> None:
    """Gives every wait in a context the same patience."""
    context.set_default_timeout(PATIENCE_MS)


@pytest.fixture(scope="session")
def browser(browser_path: str) -> Iterator[Browser]:
    """A headless Chromium; make a context for each test from it. Every wait has patience, see `PATIENCE_MS`."""
    from playwright.sync_api import expect, sync_playwright

    expect.set_options(timeout=PATIENCE_MS)
    with sync_playwright() as playwright:
        running = playwright.chromium.launch(executable_path=browser_path, args=BROWSER_ARGUMENTS)
        running.on("context", patient)
        yield running
        running.close()


@pytest.fixture(scope="session")
def shared() -> Path:
    """Published material kept beside the project; tests that want more than tests/data are skipped without it."""
    folder = Path(__file__).parents[1].parent / "shared"
    if not folder.is_dir():
        pytest.skip("the folder shared/ beside the project is not here: its recordings are not checked")
    return folder


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Marks every test that asks for the browser; the longest files come first, then those with most tests."""
    for item in items:
        if isinstance(item, pytest.Function) and "browser_path" in item.fixturenames:
            item.add_marker("browser")
    count = Counter(item.path for item in items)
    places = {name: place for place, name in enumerate(LONGEST)}
    rank = {path: places.get("/".join(path.parts[-2:]), len(LONGEST)) for path in count}
    items.sort(key=lambda item: (rank[item.path], -count[item.path], item.path))


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Says in one sentence that the browser tests were skipped, when they were."""
    skipped = [r for r in terminalreporter.stats.get("skipped", []) if NO_BROWSER in str(r.longrepr)]
    if skipped:
        terminalreporter.write_line(f"{len(skipped)} browser tests were skipped: {NO_BROWSER}.")
