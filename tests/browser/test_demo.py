"""The whole job through the page on the real server: from Ready to Afterwards, an alarm, Stop, the file."""

from __future__ import annotations

import csv
import json
import sys
import threading
import urllib.error
import urllib.request
from pathlib import Path

import pytest

from coach.server.run import serve
from tests.browser.conftest import LOCALE, Opened

PHONE = {"width": 390, "height": 844}
FIRST_LOAD_BYTES = 40_000
AFTER = ("/js/offline.js", "/js/kept.js", "/sw.js", "/api/drives?", "/icons/", "manifest")
"""What is loaded once the screen stands: the worker, and what keeps drives on the phone."""


@pytest.fixture(scope="module")
def address(tmp_path_factory):
    """The real server on a fresh data folder."""
    stop, found = threading.Event(), []
    ready = threading.Event()
    interval = sys.getswitchinterval()

    def tell(url):
        found.append(url.rstrip("/"))
        ready.set()

    folder = tmp_path_factory.mktemp("data")
    thread = threading.Thread(target=serve, kwargs={"port": 0, "data_dir": folder, "on_ready": tell, "stop": stop})
    thread.start()
    assert ready.wait(30)
    yield found[0]
    stop.set()
    thread.join(10)
    sys.setswitchinterval(interval)


@pytest.fixture
def opened(browser, address):
    """The page on the real server; no drive is left running."""
    context = browser.new_context(viewport=PHONE, accept_downloads=True, reduced_motion="reduce", locale=LOCALE)
    context.set_default_timeout(30_000)
    made = Opened(context.new_page())
    yield made
    context.close()
    post(address, "finish", quiet=True)
    while get(address, "state")["drive"]["phase"] not in {"none", "ended"}:
        pass


def get(address, path):
    """What the server answers."""
    with urllib.request.urlopen(f"{address}/api/{path}") as response:
        return json.load(response)


def post(address, action, *, quiet=False):
    """Does something to the drive that runs."""
    kind = {"Content-Type": "application/json"}
    request = urllib.request.Request(f"{address}/api/drives/current/{action}", b"{}", kind, method="POST")
    try:
        with urllib.request.urlopen(request) as response:
            return response.status == 200
    except urllib.error.HTTPError as error:
        if quiet and error.code == 409:
            return False
        raise


def begin(page, address, source, speed):
    """Through Ready, Who holds and the notes; `speed` is faster than the page itself offers."""
    sha = get(address, "recipes")["recipes"][0]["sha256"]
    page.goto(f"{address}/?light=day#/ready?recipe={sha}&source={source}&speed={speed}")
    page.get_by_role("link", name="Next: who holds the phone").click()
    page.locator(".choice", has_text="A passenger").first.click()
    page.get_by_role("link", name="Next: before you set off").click()
    page.get_by_role("button", name="We agree. Start recording").click()
    page.wait_for_selector("[data-screen=drive] .words")


def test_a_bundled_drive_from_ready_to_afterwards(opened, address):
    """A bundled drive qualifies for everything; its windows are drawn, and one comes down as a table."""
    page = opened.page
    begin(page, address, "replay:everything-qualifies", 60)
    page.wait_for_selector(".lane polyline", state="attached")
    page.wait_for_selector("[data-screen=after]")
    assert page.locator("h1").inner_text() == "All three qualified"
    assert page.locator(".item .mark[data-mark=secured]").count() >= 3
    assert page.locator(".portrait .th").count() == 4
    page.locator("summary").first.click()
    page.locator("details[open] .try").first.click()
    page.wait_for_selector(".uplot canvas, .no-plots")
    assert page.locator("table.fig tbody tr").count() > 5
    with page.expect_download() as download:
        page.get_by_role("link", name="Download as CSV").click()
    with Path(download.value.path()).open(encoding="utf-8", newline="") as file:
        rows = list(csv.reader(file))
    assert any("road_speed" in cell for cell in rows[0])
    assert len(rows) > 500
    assert opened.complaints == []


def test_a_limit_passed_then_stop_and_carry_on(opened, address):
    """The alarm takes the screen and is closed by hand; Stop counts down and is taken back."""
    page = opened.page
    begin(page, address, "replay:limit-passed", 8)
    page.wait_for_selector(".alarm")
    assert page.locator(".alarm .why b").inner_text().startswith("Boost 96 kPa, limit 95.")
    page.get_by_role("button", name="Seen it, carry on").click()
    page.wait_for_selector(".drive")
    page.get_by_role("button", name="Stop", exact=True).click()
    page.wait_for_function("() => document.querySelector('.words')?.textContent === 'Stopping'")
    page.get_by_role("button", name="Carry on").click()
    page.wait_for_function("() => document.querySelector('.words')?.textContent !== 'Stopping'")
    post(address, "finish", quiet=True)
    page.wait_for_selector("[data-screen=after]")
    assert page.locator("h1").inner_text() == "None of three qualified"
    assert page.locator(".item", has_text="Full pedal").locator("p").first.inner_text().startswith("Stopped.")
    assert opened.complaints == []


def test_reloaded_in_the_middle_it_is_back_on_the_drive(opened, address):
    """A page that is opened anew while a drive runs goes to the drive, and catches the thread up."""
    page = opened.page
    begin(page, address, "replay:everything-qualifies", 40)
    page.wait_for_function("() => Number(document.querySelector('.lane').getAttribute('aria-valuenow')) > 20")
    page.goto("about:blank")
    page.goto(f"{address}/?light=day")
    page.wait_for_selector("[data-screen=drive] .lane")
    page.wait_for_selector(".lane polyline, .alarm, .done-all", state="attached")
    assert opened.complaints == []


def test_the_first_load_of_drive_is_small(opened, address):
    """What the Drive screen loads first comes to less than 40 kB as the server packs it, with one weight of the font.

    The second weight and the More sheet follow once the drive is on the screen.
    """
    page = opened.page
    begin(page, address, "replay:everything-qualifies", 8)
    page.goto("about:blank")
    finished = []
    page.on("requestfinished", lambda request: finished.append((request.url, request)))
    page.goto(f"{address}/?light=day#/drive")
    page.wait_for_selector("[data-screen=drive] .words")
    page.wait_for_load_state("load")
    later = ("/api/live", "/lane", "b612-400", "sheet.js", *AFTER)
    sizes = {
        url.removeprefix(address): request.sizes()["responseBodySize"]
        for url, request in list(finished)
        if not any(part in url for part in later)
    }
    assert sum(sizes.values()) < FIRST_LOAD_BYTES, sizes
    assert "/js/screens/drive.js" in sizes
    assert not any("uPlot" in path for path in sizes)
