"""The whole job through the page on the real server: from Ready to Afterwards, an alarm, Stop, the file."""

from __future__ import annotations

import csv
import json
import re
import sys
import threading
import time
import urllib.error
import urllib.request
from pathlib import Path

import pytest

from coach.assets import traces_root, web_root
from coach.bench.page import USABLE
from coach.server.run import Given, serve
from tests.browser.conftest import LOCALE, Opened

PHONE = {"width": 390, "height": 844}
FIRST_LOAD_BYTES = 40_000
SEEN = """window.seen = new Set();
new MutationObserver(() => {
  for (const selector of ['[data-screen=drive] .words', '.lane polyline']) {
    if (document.querySelector(selector)) window.seen.add(selector);
  }
}).observe(document, { childList: true, subtree: true, attributes: true });"""
"""What is on the page for some time only is remembered."""


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
    table = prolonged(tmp_path_factory.mktemp("given") / "limit-passed.csv")
    given = Given(tables=(table,), vehicle=(traces_root() / "demo-vehicle.toml").read_bytes())
    more = {"port": 0, "data_dir": folder, "given": given, "on_ready": tell, "stop": stop}
    thread = threading.Thread(target=serve, kwargs=more)
    thread.start()
    assert ready.wait(60)
    yield found[0]
    stop.set()
    thread.join(10)
    sys.setswitchinterval(interval)


@pytest.fixture
def opened(browser, address):
    """The page on the real server; no drive is left running."""
    context = browser.new_context(viewport=PHONE, accept_downloads=True, reduced_motion="reduce", locale=LOCALE)
    made = Opened(context.new_page())
    made.page.add_init_script(SEEN)
    yield made
    context.close()
    post(address, "finish", quiet=True)
    while get(address, "state")["drive"]["phase"] not in {"none", "ended"}:
        time.sleep(0.02)


def prolonged(path):
    """A bundled drive in which a limit is passed, and five minutes after it: no test has to hurry through its end."""
    lines = (traces_root() / path.name).read_text("utf-8").splitlines()
    cells = [line.split(",", 1) for line in lines[-20:]]
    first, last = float(cells[0][0]), float(cells[-1][0])
    times = range(1, int(300 / (last - first)))
    tail = [f"{float(t) + n * (last - first + 0.05):.3f},{rest}" for n in times for t, rest in cells]
    path.write_text("\n".join([*lines, *tail]) + "\n", "utf-8")
    return path


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
    set_off(page)


def set_off(page):
    """From Ready to Drive, with a passenger."""
    page.get_by_role("link", name="Next: who holds the phone").click()
    page.locator(".choice", has_text="A passenger").first.click()
    page.get_by_role("link", name="Next: before you set off").click()
    page.get_by_role("button", name="We agree. Start recording").click()
    was_seen(page, "[data-screen=drive] .words")


def was_seen(page, selector):
    """Waits until something of `SEEN` has been on the page: a drive at sixty times its speed is soon over."""
    page.wait_for_function("(selector) => window.seen.has(selector)", arg=selector)


def test_a_bundled_drive_from_ready_to_afterwards(opened, address):
    """A bundled drive qualifies for everything; its windows are drawn, and one comes down as a table."""
    page = opened.page
    begin(page, address, "replay:everything-qualifies", 60)
    was_seen(page, ".lane polyline")
    page.wait_for_selector("[data-screen=after]")
    assert page.locator("h1").inner_text() == "All three qualified"
    assert page.locator(".item .mark[data-mark=secured]").count() >= 3
    assert page.locator(".portrait .th").count() == 4
    page.locator(".tries summary").first.click()
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
    begin(page, address, "table:0", 8)
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
    assert page.locator("h1").inner_text() == "None of three qualified yet"
    assert page.locator(".item", has_text="Full pedal").locator("p").first.inner_text().startswith("Stopped.")
    assert opened.complaints == []


def test_reloaded_in_the_middle_it_is_back_on_the_drive(opened, address):
    """A page that is opened anew while a drive runs goes to the drive, and catches the thread up."""
    page = opened.page
    begin(page, address, "replay:everything-qualifies", 16)
    page.wait_for_function("() => Number(document.querySelector('.lane').getAttribute('aria-valuenow')) > 20")
    page.goto("about:blank")
    page.goto(f"{address}/?light=day")
    page.wait_for_selector("[data-screen=drive] .lane")
    page.wait_for_selector(".lane polyline, .alarm, .done-all", state="attached")
    assert opened.complaints == []


def test_the_first_load_of_drive_is_small(browser, opened, address):
    """All that is asked for before Drive can be used comes to less than 40 kB as sent, with one weight of the font.

    Counted as `coach bench` counts it: every file and every answer. What only a press or a failure needs follows.
    """
    begin(opened.page, address, "replay:everything-qualifies", 8)
    # A phone that has never been here: of what it has already it would ask only whether it is still so.
    page = browser.new_context(viewport=PHONE, service_workers="block").new_page()
    page.add_init_script(USABLE)
    page.goto(f"{address}/?light=day#/drive")
    page.wait_for_function("() => window.usable")
    found = page.evaluate("() => window.usable")
    files = found["files"]
    assert found["bytes"] == sum(files.values())
    assert {"/", "/js/screens/drive.js", "/css/first.css", "/vendor/b612-700.woff2", "/api/state"} <= set(files)
    assert all(files.values()), files
    assert found["bytes"] < FIRST_LOAD_BYTES, files
    late = ("sheet", "sound", "offline", "kept", "uPlot", "b612-400", "pages.css")
    assert not [path for path in files if any(name in path for name in late)]
    # More is there all the same, drawn as it should be, once the screen stands.
    page.get_by_role("button", name="More").click()
    page.wait_for_selector("dialog[open]")
    assert page.evaluate("() => getComputedStyle(document.querySelector('dialog')).position") == "fixed"
    page.context.close()


def test_the_page_fetches_at_once_all_that_drive_is_made_of():
    """Each script that Drive imports, however deep, is named in the page: none is found out about one after another."""
    root = web_root()
    found, waiting = set(), [root / "js/main.js", root / "js/screens/drive.js"]
    while waiting:
        path = waiting.pop()
        if path in found:
            continue
        found.add(path)
        names = re.findall(r'^(?:import|export)[^;]*? from "(\.[^"]+)";$', path.read_text("utf-8"), re.MULTILINE)
        waiting += [(path.parent / name).resolve() for name in names]
    named = re.findall(r'<link rel="modulepreload" href="([^"]+)">', (root / "index.html").read_text("utf-8"))
    assert sorted(named) == sorted(path.relative_to(root.resolve()).as_posix() for path in found)
