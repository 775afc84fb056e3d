"""The page as an app: the browser finds nothing that hinders installing it; over plain http it says what is missing."""

from __future__ import annotations

import json

import pytest

from coach.assets import web_root
from tests.browser.real_server import until
from tests.browser.test_picture import size_of
from tests.conftest import BROWSER_ARGUMENTS, patient

MANIFEST = json.loads((web_root() / "manifest.webmanifest").read_text("utf-8"))
NAME = "coach.example"
READY = "async () => Boolean((await navigator.serviceWorker.ready).active)"


@pytest.fixture
def own(browser, browser_path, server, tmp_path):
    """A browser with a profile of its own, in which a foreign name is this machine."""
    server.recipes = [one | {"bundled": True} for one in server.recipes]
    context = browser.browser_type.launch_persistent_context(
        tmp_path / "profile", executable_path=browser_path, viewport={"width": 390, "height": 844},
        args=[*BROWSER_ARGUMENTS, f"--host-resolver-rules=MAP {NAME} 127.0.0.1"],
    )  # fmt: skip
    patient(context)
    yield context
    context.close()


def test_the_page_can_be_installed_and_says_over_plain_http_why_not(own, server):
    """On this machine nothing hinders installing; by a name of the network without TLS the page says what is missing.

    The list of hindrances is Chromium's own (Page.getInstallabilityErrors).
    """
    page = own.pages[0]
    page.goto(f"{server.url}/?light=day#/")
    page.wait_for_selector("h1")
    until(page, READY)
    tools = own.new_cdp_session(page)
    assert tools.send("Page.getInstallabilityErrors")["installabilityErrors"] == []
    manifest = tools.send("Page.getAppManifest")
    assert manifest["errors"] == []
    assert json.loads(manifest["data"]) == MANIFEST
    page.goto(f"{server.url.replace('127.0.0.1', NAME)}/?light=day#/")
    page.wait_for_selector(".reach:not([hidden])")
    assert (
        page.locator(".reach").inner_text().startswith("Without a trusted connection this phone cannot open the page")
    )
    assert page.evaluate("() => isSecureContext") is False
    # Without locks each page that is seen listens for itself; what may be needed later is loaded while it can be.
    until(page, "async () => (await import('/js/live.js')).isLeader()")
    names = "() => performance.getEntriesByType('resource').map(({ name }) => name)"
    until(page, f"() => (({names})()).some((name) => name.endsWith('screens/window.js'))")


def test_the_manifest_says_what_is_there():
    """Icons and pictures have the sizes that are claimed; there is one for a mask."""
    root = web_root()
    for entry in (*MANIFEST["icons"], *MANIFEST["screenshots"]):
        path = root / entry["src"]
        assert path.is_file(), entry["src"]
        if entry["type"] == "image/png":
            assert "{}x{}".format(*size_of(path.read_bytes())) == entry["sizes"]
    assert {entry["purpose"] for entry in MANIFEST["icons"]} == {"any", "maskable"}
    assert MANIFEST["start_url"] == MANIFEST["scope"] == MANIFEST["id"]
