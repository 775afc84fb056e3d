"""What is rarely asked for has its slots at the desk; and the desk says why something is missing."""

from __future__ import annotations

import tomllib

import pytest
from playwright.sync_api import expect

from coach.bundle.make import make_bundle
from tests.browser.conftest import LOCALE, Opened, shoot
from tests.browser.real_server import RealServer
from tests.browser.test_axe import CONTRAST, FULL, faults
from tests.browser.test_desk import ACTS, DEMO, PHONE, SMALL, WIDE, text_of, until_text, write
from tests.browser.test_screens import CUT, FITS, LIGHTS, set_light

CELLS = """
format = 1
title = "Part load by cells"
revision = 1
[record]
engine_speed = "8 Hz" # fast
calculated_load = "4 Hz"
coolant_temp = { rate = "0.5 Hz", need = false }
[[capture]]
id = "table"
collect = "10 min"
[capture.keep]
coolant_temp = { min = "80 degC" }
[capture.limit]
engine_speed = { max = "4000 rpm" }
[capture.cells]
dwell = "20 s"
without = [{ engine_speed = "1600 rpm", calculated_load = "79 %" }]
[capture.cells.edges]
engine_speed = ["1500 rpm", "2000 rpm", "2500 rpm"]
calculated_load = ["20 %", "40 %", "60 %", "80 %"]
"""


@pytest.fixture(scope="module")
def desk(browser, tmp_path_factory):
    """A desk with one customer, who passed a limit."""
    folder = tmp_path_factory.mktemp("desk")
    server = RealServer(folder / "data")
    drive = server.drive("replay:limit-passed", speed=None)
    assert drive.wait(60)
    path = folder / "green.zip"
    make_bundle(server.folder, [drive.id], path)
    with server.services.desk.inbox() as inbox:
        inbox.ask("Green estate", DEMO.encode(), server.services.clock.wall_us())
        inbox.take(path, server.services.clock.wall_us(), customer="Green estate")
    yield server
    server.close()


@pytest.fixture
def at(browser, desk):
    """Opens a screen of the desk with a recipe being written."""
    contexts = []

    def go(address, wait, text=CELLS, locale=LOCALE):
        context = browser.new_context(
            viewport={"width": WIDE[0], "height": WIDE[1]}, locale=locale, service_workers="block",
            reduced_motion="reduce",
        )  # fmt: skip
        contexts.append(context)
        opened = Opened(context.new_page())
        write(opened.page, desk.url, address, wait, text)
        return opened

    yield go
    for context in contexts:
        context.close()


def has(page, part):
    """Waits until the recipe that is being written has something, with its blanks closed up."""
    until_text(page, f"(text) => text.replace(/\\s+/g, '').includes({part.replace(' ', '')!r})")


def test_a_rate_says_its_gap_its_share_and_whether_it_is_needed(at):
    """Behind ⋯ of its line; emptied it is as usual again, and the last of them leaves the rate as one text."""
    page = at("#/desk/write", ".sentence").page
    page.get_by_role("button", name="The whole recipe").click()
    page.get_by_label("Change Engine speed").select_option(label="no gap longer than…")
    gap = page.get_by_label("Engine speed, no gap longer than")
    expect(gap).to_have_value("0.63 s")
    gap.fill("0.4 s")
    gap.press("Enter")
    has(page, 'engine_speed = {rate = "8 Hz", gap = "0.4 s"} # fast')
    page.get_by_label("Change Engine speed").select_option(label="at least so much of it…")
    expect(page.get_by_label("Engine speed, at least")).to_have_value("80 %")
    page.get_by_label("Change Engine speed").select_option(label="windows count without it")
    has(page, 'engine_speed = {rate = "8 Hz", gap = "0.4 s", least = "80 %", need = false}')
    page.get_by_label("Change Engine speed").select_option(label="windows need it")
    has(page, 'gap = "0.4 s", least = "80 %"}')
    for part in ("no gap longer than", "at least"):
        slot = page.get_by_label(f"Engine speed, {part}")
        slot.fill("")
        slot.press("Enter")
        expect(slot).to_have_count(0)
    has(page, 'engine_speed = "8 Hz" # fast')
    page.get_by_label("Change Coolant").select_option(label="windows need it")
    has(page, 'coolant_temp = "0.5 Hz"')
    page.get_by_label("Change Coolant").select_option(label="Take this out")
    expect(page.get_by_label("Change Coolant")).to_have_count(0)
    assert "coolant_temp" not in tomllib.loads(text_of(page))["record"]


def test_a_limit_says_from_when_and_how_long(at):
    """In its own sentence; emptied each is gone."""
    page = at("#/desk/write", ".sentence").page
    change = "Change engine speed, Never"
    page.get_by_label(change).select_option(label="leave out its first moments…")
    page.get_by_label("engine speed, Never, after the first").fill("1.5 s")
    page.get_by_label("engine speed, Never, after the first").press("Enter")
    has(page, 'engine_speed = { max = "4000 rpm", after = "1.5 s"')
    page.get_by_label(change).select_option(label="only where it lasts…")
    lasting = page.get_by_label("engine speed, Never, for longer than")
    expect(lasting).to_have_value("0.5 s")
    assert tomllib.loads(text_of(page))["capture"][0]["limit"]["engine_speed"] == {
        "max": "4000 rpm", "after": "1.5 s", "for": "0.5 s"
    }  # fmt: skip
    lasting.fill("")
    lasting.press("Enter")
    expect(lasting).to_have_count(0)
    assert "for" not in tomllib.loads(text_of(page))["capture"][0]["limit"]["engine_speed"]


def test_a_cell_is_left_out_with_one_press(at):
    """The cells as a table, one named by a value within it; pressed again it is asked for again."""
    page = at("#/desk/write", ".sentence").page
    page.get_by_text("One of 6 cells is left out").click()
    left = page.get_by_role("button", name="engine speed 1500–2000 rpm, load, calculated 60–80 %")
    expect(left).to_have_attribute("aria-pressed", "false")
    other = page.get_by_role("button", name="engine speed 2000–2500 rpm, load, calculated 20–40 %")
    other.click()
    expect(other).to_have_attribute("aria-pressed", "false")
    expect(page.get_by_text("2 of 6 cells are left out")).to_be_visible()
    has(page, '{engine_speed = "2250 rpm", calculated_load = "30 %"}')
    expect(other).to_be_focused()
    left.click()
    other.click()
    expect(page.get_by_text("All 6 cells are to be visited")).to_be_visible()
    assert "without" not in tomllib.loads(text_of(page))["capture"][0]["cells"]
    expect(page.locator(".says .ok").first).to_be_visible()


def test_a_capture_has_a_list_of_its_own(at):
    """Begun as the recipe's, changed there alone; given up, the recipe's counts again."""
    page = at("#/desk/write", ".sentence").page
    page.get_by_text("More about this capture").click()
    whose = page.get_by_label("Recorded, and how often", exact=True)
    expect(whose).to_have_value("all")
    whose.select_option("own")
    rate = page.get_by_label("Load, calculated, Recorded, and how often")
    rate.fill("2 Hz")
    rate.press("Enter")
    until_text(page, "(text) => text.includes('2 Hz')")
    data = tomllib.loads(text_of(page))
    assert data["capture"][0]["record"] == data["record"] | {"calculated_load": "2 Hz"}
    page.get_by_label("Recorded, and how often", exact=True).select_option("all")
    expect(rate).to_have_count(0)
    assert "record" not in tomllib.loads(text_of(page))["capture"][0]


def test_what_is_rare_stands_without_fault(at):
    """All rules of axe by day, contrast in every light; nothing cut, no sideways scroll, on a laptop and on a phone."""
    own = '[capture.record]\nengine_speed = { rate = "8 Hz", gap = "1 s" }\ncalculated_load = "4 Hz"\n'
    own += 'coolant_temp = "1 Hz"\n'
    text = CELLS.replace("[capture.cells]", f"{own}[capture.cells]", 1)
    opened = at("#/desk/write", ".sentence", text.replace('"4000 rpm"', '"4000 rpm", after = "1 s", for = "0.5 s"'))
    page = opened.page
    page.get_by_text("One of 6 cells is left out").click()
    page.get_by_text("More about this capture").click()
    expect(page.get_by_label("Engine speed, no gap longer than")).to_be_visible()
    wrong = {"all": faults(page, FULL)}
    for light in LIGHTS:
        set_light(page, light)
        wrong[light] = faults(page, CONTRAST)
    assert {key: found for key, found in wrong.items() if found} == {}
    for width, height in (WIDE, PHONE, SMALL):
        page.set_viewport_size({"width": width, "height": height})
        shoot(page, f"desk-rare-{width}")
        assert page.evaluate(FITS), f"it scrolls sideways at {width}"
        assert [one for one in page.evaluate(CUT) if one] == [], f"at {width}"
        assert page.evaluate(ACTS) == []
    assert opened.complaints == []


@pytest.mark.parametrize(
    ("locale", "why", "asks"),
    [
        (LOCALE, "Full pedal in third: limit passed at 3390 rpm.", "Ask for a sweep to 3300 rpm"),
        ("de-DE", "Full pedal in third: Grenzwert verletzt bei 3390 rpm.", "Eine Rampe bis 3300 rpm verlangen"),
    ],
)
def test_a_customer_s_line_says_why_something_is_missing(at, locale, why, asks):
    """Of the capture that tells most, in the reader's language; of every capture on the customer's own page."""
    page = at("#/desk", ".line", locale=locale).page
    line = page.locator(".line", has_text="Green estate")
    expect(line).to_contain_text(why)
    expect(line).to_contain_text(asks)
    line.get_by_role("link", name="Green estate").click()
    expect(page.locator(".lacks")).to_have_count(3)
    expect(page.locator(".lacks").nth(1)).to_contain_text(asks)
