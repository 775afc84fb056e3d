"""A review in the browser, from drives on the real server: verdict first, and one step deeper at a time."""

from __future__ import annotations

import json
import re
import urllib.request
from types import SimpleNamespace

import pytest
from playwright.sync_api import expect

from coach.assets import traces_root
from tests.browser.conftest import Opened
from tests.browser.real_server import RealServer
from tests.browser.test_screens import CUT, FITS, LIGHTS, TAPPED, TARGETS, set_light

axe_module = pytest.importorskip("axe_playwright_python.sync_playwright")

STANDS = "() => document.body.dataset.screen !== undefined && document.querySelector('h1')?.textContent"
OPEN_ALL = "() => document.querySelectorAll('details').forEach((one) => { one.open = true; })"


def ask(url, path, body=None, kind="application/json"):
    """What the server answers."""
    request = urllib.request.Request(f"{url}/api/{path}", body, {"Content-Type": kind} if body else {})
    with urllib.request.urlopen(request) as answer:
        return json.load(answer)


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """Three drives: of an earlier revision, one in which the speed was lost, and the last in which all qualified."""
    server = RealServer(tmp_path_factory.mktemp("data"))
    bundled = server.services.shelf.bundled[0]
    text = (traces_root() / "demo-recipe.toml").read_bytes().replace(b"revision = 2", b"revision = 1")
    earlier = ask(server.url, "recipes", text, "application/toml")["sha256"]
    ids = []
    for recipe, source in (
        (earlier, "everything-qualifies"),
        (bundled, "speed-lost"),
        (bundled, "everything-qualifies"),
    ):
        body = {"recipe": recipe, "source": f"replay:{source}", "speed": None, "role": "passenger", "acknowledged": []}
        ids.append(ask(server.url, "drives", json.dumps(body).encode())["id"])
        server.services.current.wait(60)
    yield SimpleNamespace(url=server.url, before=ids[0], bad=ids[1], id=ids[2], store=server.services.store)
    server.close()


@pytest.fixture(scope="module")
def shared(browser, made):
    """One context and page for all: what is kept of a page is its server, not its state."""
    context = browser.new_context(
        viewport={"width": 390, "height": 844}, locale="en-IE", reduced_motion="reduce", service_workers="block",
        accept_downloads=True, has_touch=True,
    )  # fmt: skip
    opened = Opened(context.new_page())
    yield opened
    context.close()


@pytest.fixture
def go(shared, made):
    """Shows a screen of the review and waits until it stands; nothing may be complained about."""

    def show(at):
        page = shared.page
        page.set_viewport_size({"width": 390, "height": 844})
        page.goto("about:blank")
        page.goto(f"{made.url}/?light=day#/{at}")
        page.wait_for_function(STANDS)
        return page

    shared.complaints.clear()
    yield show
    # What the server refuses is an answer too, shown to people.
    assert [one for one in shared.complaints if "status of 4" not in one] == []


def window(made, capture="part-load", number=0, drive=None):
    """The address of a window."""
    return f"window?drive={drive or made.id}&capture={capture}&number={number}"


def drawn(page, selector=".uplot canvas"):
    """Waits until it is drawn; skips where the build could not fetch the library."""
    page.wait_for_selector(f"{selector}, .no-plots")
    if page.locator(".no-plots").count():
        pytest.skip("the drawing library was not fetched when this was built")


def texts(page, selector):
    """The words in each, in one line."""
    return [" ".join(one.split()) for one in page.locator(selector).all_inner_texts()]


def test_the_verdict_has_numbers_and_what_to_do(go, made):
    """How close the best attempt came, against what, and what to do differently; each way deeper is one tap away."""
    page = go(f"after?drive={made.bad}")
    page.wait_for_selector(".rests")
    assert page.locator("h1").inner_text() == "None of three qualified yet"
    said = texts(page, ".item.drawn p:first-of-type")
    assert said[0] == "Missed. Held 0:59 of 1:30. Too slow: 70 km/h against 72 at 1:44. Stay above 72 km/h."
    assert said[1] == "It never began: pedal travel was never 90 % or more."
    page.locator(".rests summary").click()
    assert "Cannot be said, because" in page.locator(".rests dl").inner_text()
    page = go(f"after?drive={made.id}")
    best = page.locator("a.best")
    assert best.inner_text() == "Send this one, the best of 2 attempts."
    best.click()
    page.wait_for_selector("[data-screen=window]")
    assert "number=" in page.url
    # What is sent is said before it is: a bundle goes whole, and this window is in it.
    expect(page.locator(".acts .mini")).to_contain_text("A bundle goes whole: every window of this drive")
    page.get_by_role("link", name="Send this drive").click()
    page.wait_for_selector("[data-screen=send]")
    expect(page.locator(".list .item").first).to_contain_text("the window from")
    expect(page.locator(".list .item").first).to_contain_text("You came from it. The 3 other windows go with it")


def test_a_late_review_is_put_in_when_it_comes(go, made, shared):
    """The verdict stands by itself; a review that takes long changes only its sentences, and one that fails nothing."""
    page = shared.page
    page.route("**/review", lambda route: route.fulfill(status=500, body="{}"))
    try:
        go(f"after?drive={made.bad}")
        assert texts(page, ".item.drawn p:first-of-type")[0].startswith("Missed. Lasted 0:59.")
        held = []
        page.unroute("**/review")
        page.route("**/review", lambda route: held.append(route))  # noqa: PLW0108 - a builtin cannot be one
        page.goto("about:blank")
        page.goto(f"{made.url}/?light=day#/after?drive={made.bad}")
        page.wait_for_selector(".item.drawn")
        assert texts(page, ".item.drawn p:first-of-type")[0].startswith("Missed. Lasted 0:59.")
        held[0].continue_()
        page.get_by_text("Held 0:59 of 1:30.").wait_for()
    finally:
        page.unroute("**/review")
        shared.complaints[:] = [one for one in shared.complaints if "status of 500" not in one]


def test_traces_are_read_by_key(go, made):
    """The cursor, closer, along, all of it: by keyboard alone; it is asked finer."""
    page = go(window(made))
    drawn(page)
    slider = page.get_by_role("slider")
    slider.focus()
    page.keyboard.press("ArrowRight")
    first = slider.get_attribute("aria-valuetext")
    assert first.startswith("at ")
    assert first.endswith(" km/h")
    assert [text.split() for text in texts(page, ".trace output")][1][1] == "°C"
    page.keyboard.press("End")
    assert slider.get_attribute("aria-valuetext") != first
    page.keyboard.press("Home")
    closer = page.get_by_role("button", name="All of it")
    expect(closer).to_have_attribute("aria-disabled", "true")
    with page.expect_request("**/traces?**") as asked:
        page.keyboard.press("+")
        page.keyboard.press("+")
    assert "road_speed" in asked.value.url
    assert "first=" in asked.value.url
    expect(closer).to_have_attribute("aria-disabled", "false")
    with page.expect_request("**/traces?**") as further:
        page.keyboard.press("Shift+ArrowRight")
    first_s = [float(one.value.url.split("first=")[1].split("&")[0]) for one in (asked, further)]
    assert first_s[1] > first_s[0]
    page.keyboard.press("0")
    expect(closer).to_have_attribute("aria-disabled", "true")


def test_traces_are_read_by_hand(go, made, shared):
    """A finger puts the cursor, two come closer, then one moves along; a mouse and buttons too."""
    page = go(window(made))
    drawn(page)
    box = page.locator(".trace .u-over").first.bounding_box()
    y = box["y"] + 60
    session = page.context.new_cdp_session(page)

    def touch(kind, *xs):
        points = [{"x": box["x"] + x, "y": y, "id": n} for n, x in enumerate(xs)]
        session.send("Input.dispatchTouchEvent", {"type": f"touch{kind}", "touchPoints": points})

    touch("Start", 100)
    touch("Move", 130)
    touch("End")
    expect(page.locator(".zoom .at")).to_have_text(re.compile(r"^at "))
    closer = page.get_by_role("button", name="All of it")
    expect(closer).to_have_attribute("aria-disabled", "true")
    touch("Start", 120, 160)
    touch("Move", 60, 220)
    touch("End")
    expect(closer).to_have_attribute("aria-disabled", "false")
    later = page.get_by_role("button", name="Later part")
    page.get_by_role("button", name="All of it").click()
    expect(closer).to_have_attribute("aria-disabled", "true")
    page.mouse.move(box["x"] + 80, y)
    page.mouse.down()
    page.mouse.move(box["x"] + 180, y, steps=4)
    page.mouse.up()
    expect(closer).to_have_attribute("aria-disabled", "false")
    expect(later).to_have_attribute("aria-disabled", "false")
    for name in ("Closer", "Further out", "Earlier part", "Later part"):
        page.get_by_role("button", name=name, exact=True).click()
    session.detach()


def test_a_trace_has_its_twin_in_figures(go, made):
    """The same signals as a table, of the part that is shown."""
    page = go(window(made))
    drawn(page)
    page.locator(".twin summary").click()
    page.locator(".twin thead th").first.wait_for()
    head = texts(page, ".twin thead th")
    assert head[:2] == ["Time", "Speed km/h"]
    rows = page.locator(".twin tbody tr")
    assert rows.count() == 41
    before = rows.first.inner_text()
    with page.expect_response("**/traces?**"):
        page.get_by_role("button", name="Closer", exact=True).click()
    page.wait_for_function("(old) => document.querySelector('.twin tbody tr').innerText !== old", arg=before)


def test_a_sweep_is_drawn_over_engine_speed(go, made):
    """The same pull over engine speed instead of time, the limit with it."""
    page = go(window(made, "roll-on", 1))
    drawn(page)
    with page.expect_response("**/over/roll-on/1**"):
        page.get_by_text("Engine speed", exact=True).click()
    page.get_by_text("engine speed interpolated to them").wait_for()
    page.get_by_role("slider").focus()
    page.keyboard.press("ArrowRight")
    expect(page.locator(".zoom .at")).to_have_text(re.compile(r" rpm$"))


def test_what_went_outside_is_marked(go, made):
    """The moment that broke an attempt is drawn with its value: the canvas differs where the mark is left out."""
    page = go(window(made, drive=made.bad))
    drawn(page)
    with_mark = page.evaluate("() => document.querySelector('.uplot canvas').toDataURL()")
    page.route("**/attempts", lambda route: route.fulfill(json=without_reasons(route.fetch().json())))
    go(window(made, drive=made.bad))
    drawn(page)
    page.unroute("**/attempts")
    assert page.evaluate("() => document.querySelector('.uplot canvas').toDataURL()") != with_mark


def without_reasons(verdict):
    """The same attempts with nothing to mark."""
    for capture in verdict["captures"]:
        for attempt in capture["attempts"]:
            attempt["reason"], attempt["excursions"] = None, []
    return verdict


def test_any_signal_of_the_whole_drive_is_drawn(go, made):
    """All traces: signals by choice, on one time, to the end of the drive."""
    page = go(f"traces?drive={made.id}")
    drawn(page)
    count = page.locator(".trace").count()
    page.locator(".choice-of summary").click()
    page.get_by_label("Intake air").check()
    page.wait_for_function("(n) => document.querySelectorAll('.trace').length === n", arg=count + 1)
    chosen = page.locator(".chips input:checked")
    while chosen.count():
        chosen.first.uncheck()
    page.get_by_text("Choose a signal to draw it.").wait_for()


def test_figures_stand_with_their_spread_or_say_why_not(go, made):
    """By kind of capture: the figure, its spread, what the mean is known to, the rate; and what cannot be said."""
    page = go(f"figures?drive={made.id}&capture=part-load&number=0")
    first = " ".join(page.locator(".group dl > div").first.inner_text().split())
    assert first == "Road speed 79.9 km/h Spread ±0.8 km/h, mean known to ±0.3 km/h, 10.0 a second, 0.11 s"
    assert any("Cannot be said, because the trims of bank 2" in one for one in texts(page, ".unsaid li"))
    assert page.locator(".rates-of li").count() == 15
    page.locator(".choice-of summary").click()
    with page.expect_response("**/summary/**kind=idle**"):
        page.get_by_label("Read as").select_option("idle")
    page.get_by_text("Engine speed at idle").wait_for()
    late = page.get_by_label("Lambda comes late by")
    with page.expect_response("**lambda_delay=0.5"):
        late.fill("0.5")
        late.press("Tab")


def test_cells_are_numbers_first(go, made):
    """Seconds in each cell as a table, by choice of cells, for one drive or all of its revision."""
    page = go(f"coverage?drive={made.id}")
    cells = page.locator("table.cells td.seen")
    assert sum(float(one) for one in cells.locator("b").all_inner_texts()) == pytest.approx(461.8, abs=5)
    assert page.locator("table.cells td.wanted").count() > 0
    page.locator(".choice-of summary").click()
    with page.expect_response("**step_rpm=1000**"):
        page.get_by_label("Width of a cell").select_option("1000")
    page.wait_for_function("() => document.querySelectorAll('table.cells thead th').length < 8")
    with page.expect_response("**scope=revision**"):
        page.get_by_text("All of this revision").click()
    page.get_by_text("2 drives, ").wait_for()
    page.route("**/coverage?**", lambda route: route.fulfill(json=wanting(route.fetch().json())))
    page = go(f"coverage?drive={made.bad}")
    page.unroute("**/coverage?**")
    assert "One wanted cell is still empty." in page.locator(".under").inner_text()
    assert page.locator("table.cells td [data-mark=todo]").count() == 2
    assert texts(page, ".unsaid li") == ["3000 to 4000 rpm at 90 to 100 kPa"]


def wanting(data):
    """The same time, with a stretch that is wanted and was not visited."""
    data["x"]["edges"] = [x * 500.0 for x in range(1, 9)]
    data["dwell_s"] = [[0.0] * 7 for _ in data["dwell_s"]]
    data["dwell_s"][0][0] = 30.0
    data["y"]["edges"] = [10.0 * y for y in range(2, 11)]
    data["dwell_s"] = [*data["dwell_s"], *[[0.0] * 7 for _ in range(8)]][:8]
    data["wanted"] = [[True] * 7 for _ in range(8)]
    one = {"x_low": 3000, "x_high": 4000, "y_low": 90, "y_high": 100, "capture": "part-load"}
    data["empty_wanted"] = [one | {"text": "3000 to 4000 rpm at 90 to 100 kPa"}]
    return data


def test_two_revisions_lie_over_each_other(go, made):
    """Like windows: one over the other, each difference with its noise, power with standards beside the raw figure."""
    page = go(f"compare?a={made.id}&capture=roll-on")
    drawn(page)
    assert page.locator(".under").inner_text().startswith("From revision 1 to 2 nothing changed by more")
    assert page.locator(".differences .real").count() == 0
    assert page.locator(".differences li").count() > 10
    standards = texts(page, ".grid-of:has(h3:text('Corrected to standard air')) tbody th")
    assert "ISO 1585" in standards
    assert "SAE J1349, 2004" in standards
    assert "compensates part of the weather" in page.locator(".caveat").inner_text()
    page.locator(".choice-of summary").click()
    with page.expect_response("**capture=part-load"):
        page.get_by_label("Capture").select_option("part-load")
    page.get_by_text("record at least three of each").first.wait_for()
    with page.expect_response(f"**b={made.bad}**") as refused:
        page.get_by_label("Earlier drive").select_option(made.bad)
    if refused.value.status != 200:
        page.get_by_role("alert").wait_for()


def test_power_is_an_estimate_and_says_of_what(go, made):
    """The band it is known in, what it was made with, standards beside it; another mass gives another figure."""
    page = go(f"power?drive={made.id}&capture=roll-on&number=1")
    drawn(page)
    first = page.locator("h1").inner_text()
    assert "give or take" in first
    page.get_by_label("Mass, with people").fill("2000")
    page.get_by_role("button", name="Estimate again").click()
    page.wait_for_function("(old) => document.querySelector('h1').innerText !== old", arg=first)
    page.get_by_label("Road load").fill("1,2")
    page.get_by_role("button", name="Estimate again").click()
    page.get_by_role("alert").wait_for()


def test_health_says_what_it_means(go, made):
    """What is odd, what that means for the verdict, the delay of two signals by choice."""
    page = go(f"health?drive={made.id}")
    assert page.locator(".under").inner_text() == "Usable; look at: Lambda, sensor 1."
    first = page.locator(".item").first
    assert first.locator("[data-mark=mind]").count() == 1
    assert "it is judged as it is" in first.inner_text()
    delays = page.locator(".group .list li")
    before = delays.count()
    page.get_by_label("First signal").select_option("pedal")
    page.get_by_label("Second signal").select_option("mass_airflow")
    page.get_by_role("button", name="Tell the delay of these two").click()
    page.wait_for_function("(n) => document.querySelectorAll('.group .list li').length === n", arg=before + 1)
    assert "Mass airflow" in delays.first.inner_text() or "Cannot be said" in delays.first.inner_text()


def test_the_report_is_one_tap_away(go, made):
    """One file from the verdict's own screen."""
    page = go(f"after?drive={made.id}")
    with page.expect_download() as download:
        page.get_by_role("link", name="Report").click()
    text = download.value.path().read_text("utf-8")
    assert text.startswith("<!doctype html>")
    assert "<script" not in text


def test_the_log_is_searched_and_two_are_compared(go, made):
    """Named, noted, weather typed in; found again by a word of the note; two are compared, in their order."""
    page = go(f"label?drive={made.id}")
    page.get_by_label("Name", exact=True).fill("Evening, wet road")
    page.get_by_label("Note by the driver").fill("Headwind on the way out.")
    page.get_by_label("Air pressure").fill("98.2")
    page.get_by_role("button", name="Save it").click()
    page.get_by_text("Saved on the laptop.").wait_for()
    assert ask(made.url, f"drives/{made.id}/label") == {
        "name": "Evening, wet road", "note": "Headwind on the way out.",
        "weather": {"pressure_kpa": 98.2, "temperature_c": None, "humidity_pct": None},
    }  # fmt: skip
    page.get_by_label("Air pressure").fill("20")
    page.get_by_role("button", name="Save it").click()
    page.get_by_role("alert").wait_for()
    page = go("drives")
    assert page.locator(".list > li").count() == 3
    page.get_by_label("Search").fill("headwind")
    page.wait_for_function("() => document.querySelectorAll('.list > li').length === 1")
    assert page.locator(".list h2").inner_text() == "Evening, wet road"
    page.get_by_label("Search").fill("")
    page.wait_for_function("() => document.querySelectorAll('.list > li').length === 3")
    page.locator(".choice-of summary").click()
    page.get_by_label("Everything qualified").select_option("no")
    page.wait_for_function("() => document.querySelectorAll('.list > li').length === 1")
    page.get_by_label("Everything qualified").select_option("")
    page.wait_for_function("() => document.querySelectorAll('.list > li').length === 3")
    page.get_by_role("button", name="Compare two").click()
    page.locator(".list a").first.click()
    page.locator(".list a").last.click()
    page.wait_for_selector("[data-screen=compare]")
    assert f"a={made.id}&b={made.before}" in page.url


def test_a_drive_is_removed_only_when_asked_twice(go, made, shared):
    """One press asks, the second does it; nothing is removed by the first."""
    page = go(f"label?drive={made.id}")
    asked = []

    def answer(route):
        if route.request.method == "GET":  # the page looks whether it keeps the drive, when it has the time
            route.fallback()
            return
        asked.append(route.request.method)
        route.fulfill(json={"id": "x"})

    page.route("**/api/drives/*", answer)
    try:
        page.get_by_role("button", name="Remove this drive").click()
        page.get_by_text("It is gone for good").wait_for()
        assert "DELETE" not in asked
        page.get_by_role("button", name="Keep it").click()
        page.get_by_role("button", name="Remove this drive").click()
        page.get_by_role("button", name="Remove it for good").click()
        page.wait_for_selector("[data-screen=drives]")
    finally:
        page.unroute("**/api/drives/*")
    # what the phone keeps of a drive may be fetched meanwhile
    assert [method for method in asked if method != "GET"] == ["DELETE"]


RUN = """async (options) => (await axe.run(document, options)).violations
  .flatMap(({ id, nodes }) => nodes.map(({ target }) => [id, target.join(' ')]))"""
TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
FEW = """() => document.querySelectorAll('tbody, ul, dl, .chips').forEach((list) => {
  for (const more of [...list.children].slice(4)) more.remove();
})"""
"""A few of each kind are looked at: the rest of a long list is like them."""
DEEPER = ("after", "figures", "power", "coverage", "health", "compare", "label", "drives", "traces", "window")


@pytest.mark.parametrize("name", DEEPER)
def test_no_screen_of_a_review_has_a_fault(go, made, name):
    """Everything opened: axe by day, contrast in the other lights, nothing wider than the screen, targets of 48 px."""
    address = {
        "drives": "drives", "window": window(made, "roll-on", 1), "compare": f"compare?a={made.id}&capture=roll-on",
        "figures": f"figures?drive={made.id}&capture=roll-on&number=1",
        "power": f"power?drive={made.id}&capture=roll-on&number=1",
    }.get(name, f"{name}?drive={made.id}")  # fmt: skip
    page = go(address)
    if name == "after":
        page.wait_for_selector(".rests")
    if name in {"power", "compare", "traces", "window"}:
        page.wait_for_selector(".uplot canvas, .no-plots")
    page.evaluate(OPEN_ALL)
    page.evaluate(FEW)
    page.evaluate(axe_module.Axe().axe_script)
    wrong = {}
    for light in LIGHTS:
        set_light(page, light)
        rules = {"runOnly": TAGS if light == "day" else ["color-contrast"], "resultTypes": ["violations"]}
        wrong[light] = page.evaluate(RUN, rules)
    assert {key: found for key, found in wrong.items() if found} == {}
    assert [one for one in page.evaluate(TARGETS, TAPPED) if one[0] and one[2] < 48] == []
    for width, height in ((320, 568), (195, 422), (740, 360), (768, 1024), (1280, 800)):
        page.set_viewport_size({"width": width, "height": height})
        assert page.evaluate(FITS), f"{name} scrolls sideways at {width}x{height}"
        assert page.evaluate(CUT) == []


VIEW = """async () => {
  const { View } = await import('/js/parts/zoom.js');
  const view = new View([100, 200], String);
  const seen = [];
  const note = () => seen.push(view.now.map((x) => Math.round(x * 1000) / 1000));
  view.zoom(2, 125); note();
  view.pan(10); note();
  view.pan(-0.5); note();
  for (let n = 0; n < 30; n += 1) view.zoom(2, 150);
  seen.push(Math.round((view.now[1] - view.now[0]) * 1000) / 1000);
  view.zoom(0.001); note();
  view.point(500); seen.push(view.at);
  view.reset(); seen.push(view.zoomed);
  return seen;
}"""
TICKS = """async () => {
  const { across, timeText, levels, reach } = await import('/js/parts/ticks.js');
  const whole = { start_s: 100, end_s: 190 };
  const none = { low: null, high: null, limit: null };
  return [
    across([90, 200], 300, whole, true), across([0, 3600], 300, null, true), across([1500, 2600], 300, null, false),
    timeText(61.94, 0.5), timeText(-3.2, 0.1), timeText(61.94, 1), levels(none, 0, 90),
    reach({ low: 70, high: 90, limit: null }, [0, 200]), reach(none, []),
  ];
}"""


def test_a_view_never_leaves_what_there_is(go):
    """Closer keeps the place under the finger, along stops at the ends, a thousandth is the closest."""
    page = go("drives")
    assert page.evaluate(VIEW) == [[112.5, 162.5], [150, 200], [125, 175], 0.1, [100, 200], 200, False]


def test_axes_have_whole_steps(go):
    """Times in steps that people count in, the ends of a window named, bounds before round values."""
    page = go("drives")
    assert page.evaluate(TICKS) == [
        [100, 130, 160, 190], [0, 1800, 3600], [1500, 2000, 2500], "1:01.9", "−0:03.2", "1:01", [0, 50],
        [60, 100], [0, 1],
    ]  # fmt: skip
