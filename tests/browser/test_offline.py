"""The page with the laptop gone: it loads, it shows what this phone saw, it hands it on; and it changes only whole."""

from __future__ import annotations

import contextlib
import csv
import io
import json
import shutil
import urllib.request
import zipfile
from pathlib import Path

import pytest
from playwright.sync_api import Error, expect

from coach.assets import web_root
from tests.browser.conftest import KEEP, WHOLE
from tests.browser.real_server import RealServer, until

CACHED = """async () => {
  const found = {};
  for (const name of await caches.keys())
    found[name] = (await (await caches.open(name)).keys()).map((request) => new URL(request.url).pathname);
  return found;
}"""
SHARE = """() => {
  window.shared = [];
  navigator.canShare = ({ files }) => files.every(({ type }) => ['text/csv', 'text/plain'].includes(type));
  navigator.share = async ({ files, title }) => {
    for (const file of files) window.shared.push([file.name, file.type, await file.text()]);
    window.title_of_it = title;
  };
}"""
FULL = """() => {
  // Small answers fit, an attempt's signals do not.
  const put = IDBObjectStore.prototype.put;
  IDBObjectStore.prototype.put = function (value, ...rest) {
    if (JSON.stringify(value).length < 20000) return put.call(this, value, ...rest);
    throw new DOMException('no room', 'QuotaExceededError');
  };
}"""
NEITHER = """async () => {
  const { installing, waiting } = await navigator.serviceWorker.ready;
  return !installing && !waiting;
}"""
HAS = """async (path) => {
  const { look } = await import('/js/kept.js');
  return Boolean(await look((answers) => answers.get(path)));
}"""
"""Whether an answer is kept on the phone."""
SHUT = "() => { indexedDB.open = () => { throw new DOMException('shut', 'SecurityError'); }; }"


THERE = """(to) => {
  if (location.hash !== to) location.hash = to;
  return document.documentElement.dataset.version === '2';
}"""
"""Whether the screen whose script says so is that of the new version."""


def get(server, path):
    """What the server answers."""
    with urllib.request.urlopen(f"{server.url}/{path}") as response:
        return response.read()


def taken_over(page, old):
    """Whether a version has given way to the next one."""
    try:
        return page.evaluate("async (old) => !(await caches.keys()).includes(old)", old)
    except Error:  # the page is just being loaded anew
        return True


def test_the_cache_is_one_version_and_nothing_of_the_api(phone, done):
    """Every file of the shell is there under its version; no answer of the API is, though many were asked for."""
    page = phone(done, f"#/after?drive={done.id}").page
    source = get(done, "sw.js").decode()
    shell = json.loads(source.splitlines()[0].removeprefix("const SHELL = ").rstrip("; "))
    cached = page.evaluate(CACHED)
    assert list(cached) == [f"coach-{shell['version']}"]
    (paths,) = cached.values()
    assert {path.removeprefix("/") or "./" for path in paths} == set(shell["files"])
    assert {"./", "js/main.js", "js/screens/after.js", "css/first.css", "words/en/page.car.json"} <= set(shell["files"])
    assert not any(path.startswith("/api") for path in paths)


def test_with_the_server_gone_the_drive_that_was_seen_is_reviewed(phone, done):
    """The phone kept the drive by itself; loaded anew without a server it shows the same, says so, and plots it."""
    page = phone(done).page
    until(page, WHOLE, arg=done.id)
    page.goto(f"{done.url}/?light=day#/after?drive={done.id}")
    page.reload()
    page.wait_for_selector("[data-screen=after] .item .portrait .th")
    # The review's own sentences come after the verdict; without the laptop they come too, once they are kept.
    page.wait_for_selector(".rests")
    until(page, HAS, arg=f"drives/{done.id}/review")
    there = page.locator("main .list").inner_text()
    csv_there = get(done, f"api/drives/{done.id}/windows/part-load/0.csv")
    with done.away():
        page.reload()
        page.wait_for_selector("[data-screen=after] .reach.gone")
        page.wait_for_selector(".rests")
        assert page.locator(".reach").inner_text().startswith("Saved on this phone. Laptop not in reach. As of ")
        assert page.locator("main .list").inner_text() == there
        assert page.locator(".portrait .th").count() == 4
        assert page.locator(".acts :is(a, button)").all_inner_texts() == ["Save on this phone"]
        page.evaluate(SHARE)
        page.get_by_role("button", name="Save on this phone").click()
        page.wait_for_function("() => window.shared.length === 5")
        shared = page.evaluate("() => window.shared")
        assert shared[0][0] == "verdict.txt"
        assert "All three qualified." in shared[0][2]
        tables = {name: text for name, _, text in shared[1:]}
        assert tables["part-load-1.csv"].encode() == csv_there
        expect(page.locator(".handing p")).to_have_text("Handed on.")
        page.locator(".tries summary").first.click()
        page.locator("details[open] .try").first.click()
        page.wait_for_selector(".uplot canvas, .no-plots")
        assert page.locator("table.fig tbody tr").count() > 5
        assert page.locator(".acts a").count() == 0
        page.get_by_role("button", name="Share this one").click()
        page.wait_for_function("() => window.shared.length === 6")
    page.wait_for_selector(".reach.gone", state="hidden")


def test_where_nothing_can_be_handed_on_a_zip_is_saved(phone, done):
    """A browser without sharing gets one file that any system opens: Python's zipfile finds every part sound."""
    page = phone(done, f"#/after?drive={done.id}").page
    page.wait_for_selector("[data-screen=after] .item")
    assert page.evaluate(KEEP, done.id)
    with done.away(), page.expect_download() as download:
        page.get_by_role("button", name="Save on this phone").click()
    assert download.value.suggested_filename.startswith("drive-2")
    with zipfile.ZipFile(download.value.path()) as made:
        assert made.testzip() is None
        assert {"verdict.txt", "verdict.json", "part-load-1.csv"} <= set(made.namelist())
        verdict = json.loads(made.read("verdict.json"))
        rows = list(csv.reader(io.StringIO(made.read("part-load-1.csv").decode())))
    assert verdict["captures"][0]["qualified"] == 1
    assert len(rows) > 500


def test_loaded_anew_in_mid_drive_without_a_server(phone, tmp_path):
    """The drive goes on without the phone: the page says how old what it knows is, and that it does not know more.

    When the server is back in reach, the drive is there again.
    """
    server = RealServer(tmp_path / "data")
    try:
        server.drive(speed=1.0)
        page = phone(server).page
        page.wait_for_selector("[data-screen=drive] .words")
        page.wait_for_function("() => localStorage.getItem('last')")
        with server.away():
            page.reload()
            page.wait_for_function("() => document.querySelector('.words')?.textContent === 'Phone lost the laptop'")
            assert page.locator(".rec").inner_text() == "Not known"
            assert page.locator(".what").inner_text().endswith(" old. The laptop records on its own.")
        page.wait_for_function("() => document.querySelector('.words')?.textContent !== 'Phone lost the laptop'")
        assert "Not known" not in page.locator(".rec").inner_text()
        assert server.services.current.phase == "recording"
    finally:
        server.close()


def test_what_is_not_kept_is_said_and_what_is_kept_is_offered(phone, done):
    """A screen that needs the laptop: not an error but where things are; back in reach it is drawn by itself."""
    page = phone(done).page
    assert page.evaluate(KEEP, done.id)
    with done.away():
        page.reload()
        page.wait_for_selector("[data-offline]")
        assert page.locator("h1").inner_text() == "Laptop not in reach"
        page.locator(".item").click()
        page.wait_for_selector("[data-screen=after] .item")
        page.go_back()
        page.wait_for_selector("[data-offline]")
    page.wait_for_selector("[data-offline]", state="detached")
    assert page.locator("h1").inner_text() == "Nothing asked for yet"


@pytest.mark.parametrize(
    ("script", "sentence"),
    [
        (SHUT, "This browser lets the page store nothing (a private window?). Drives stay on the laptop only."),
        (FULL, "No room is left on this phone. This drive is not kept here whole; the laptop has it."),
    ],
)
def test_storage_that_is_shut_or_full_is_said_and_hinders_nothing(phone, done, script, sentence):
    """The review stands as ever; that this phone does not keep it is said there."""
    opened = phone(done, f"#/after?drive={done.id}", worker=False, script=script)
    page = opened.page
    page.wait_for_selector("[data-screen=after] .item")
    until(page, "async () => (await import('/js/kept.js')).trouble !== ''")
    page.goto(f"{done.url}/?light=day#/drives")
    page.wait_for_selector("[data-screen=drives] .item")
    page.wait_for_function("(text) => document.querySelector('.reach')?.innerText === text", arg=sentence)
    assert opened.complaints == []


def test_a_new_version_waits_for_the_drive_to_end(phone, tmp_path):
    """Two versions: the new one is fetched while a drive runs and touches nothing; after the drive it comes whole."""
    root = tmp_path / "web"
    shutil.copytree(web_root(), root, ignore=shutil.ignore_patterns("node_modules"))
    server = RealServer(tmp_path / "data", root)
    try:
        page = phone(server).page
        first = page.evaluate(CACHED)
        server.drive(speed=1.0)
        # A page that goes to Drive before it has heard of one goes on to where there is something to do.
        until(page, "async () => (await import('/js/live.js')).isDriving()")
        page.goto(f"{server.url}/?light=day#/drive")
        page.wait_for_selector("[data-screen=drive] .words")
        script = root / "js/screens/after.js"
        script.write_text(script.read_text("utf-8") + "document.documentElement.dataset.version = '2';\n", "utf-8")
        page.evaluate("async () => (await navigator.serviceWorker.ready).update()")
        until(page, "async () => (await navigator.serviceWorker.ready).waiting?.state === 'installed'")
        # Every way by which a page asks for the new version, tried while the drive runs.
        page.evaluate("async () => (await navigator.serviceWorker.ready).waiting.postMessage('activate')")
        page.reload()
        page.wait_for_selector("[data-screen=drive] .words")
        page.evaluate("async () => { await import('/js/screens/after.js'); }")
        assert page.evaluate("() => document.documentElement.dataset.version") is None
        assert set(first) < set(page.evaluate(CACHED))
        page.reload()
        page.wait_for_selector("[data-screen=drive] .words")
        server.services.current.finish()
        page.wait_for_selector("[data-screen=after]")
        # A worker with a debugger attached, as it is in a test, never falls idle, and only then does it give way: it is
        # stopped from outside, but never once the new one has taken over, from which the page then loads itself anew.
        workers, loads = page.context.new_cdp_session(page), []
        page.on("domcontentloaded", lambda loaded: loads.append(loaded))  # noqa: PLW0108 - a builtin cannot be one
        workers.send("ServiceWorker.enable")
        for n in range(100):
            # With each other screen the page asks; varied times after that, so that the answer is not always cut off.
            with contextlib.suppress(Error):
                page.evaluate("(to) => { location.hash = to; }", "#/sound" if n % 2 else "#/drives")
            page.wait_for_timeout(400 + n % 7 * 350)
            if loads or taken_over(page, next(iter(first))):
                break
            workers.send("ServiceWorker.stopAllWorkers")
        page.wait_for_function(THERE, arg=f"#/after?drive={server.services.current.id}")
        until(page, "async (old) => !(await caches.keys()).includes(old)", arg=next(iter(first)))
        assert len(page.evaluate(CACHED)) == 1
    finally:
        server.close()


def test_a_half_fetched_version_is_no_version(phone, tmp_path):
    """A file that is not what the list says (a help page in its place) leaves no cache and no worker behind."""
    root = tmp_path / "web"
    shutil.copytree(web_root(), root, ignore=shutil.ignore_patterns("node_modules"))
    server = RealServer(tmp_path / "data", root)
    try:
        opened = phone(server)
        before = opened.page.evaluate(CACHED)
        plain = get(server, "sw.js").decode()
        broken = plain.replace('"js/main.js":"', '"js/main.js":"0', 1)
        opened.page.context.route("**/sw.js", lambda route: route.fulfill(body=broken, content_type="text/javascript"))
        opened.page.evaluate("async () => (await navigator.serviceWorker.ready).update().catch(() => undefined)")
        until(opened.page, NEITHER)
        assert opened.page.evaluate(CACHED) == before
    finally:
        server.close()


def test_the_server_lists_every_file_that_a_script_imports():
    """No module is missing from the shell: whatever a script names is in it."""
    from coach.server.static import Static

    listed = set(Static().shell()["files"])
    root = web_root()
    scripts = [path for path in root.rglob("*.js") if "vendor" not in path.parts and path.name != "sw.js"]
    assert {path.relative_to(root).as_posix() for path in scripts} <= listed
    assert Path("sw.js").as_posix() not in listed
