"""The screens of the desk over a real server: nothing axe finds, nothing cut, and what is typed stands."""

from __future__ import annotations

import base64
import tomllib
import zlib

import pytest
from playwright.sync_api import expect

from coach.assets import traces_root
from coach.bundle.make import make_bundle
from coach.desk.share import FORM, pack
from tests.browser.conftest import LOCALE, Opened, shoot
from tests.browser.real_server import RealServer
from tests.browser.test_axe import CONTRAST, FULL, faults
from tests.browser.test_screens import CUT, FITS, LIGHTS, set_light

DEMO = (traces_root() / "demo-recipe.toml").read_text("utf-8")
ONE = "[[capture]]".join(DEMO.split("[[capture]]")[:2])
"""The same with one capture."""
WIDE, PHONE, SMALL = (1280, 800), (390, 844), (320, 568)
ACTS = """() => [...document.querySelectorAll('.desk .act, .page .act')]
  .filter((e) => e.checkVisibility() && !e.closest('.shell'))
  .map((e) => e.getBoundingClientRect().height).filter((height) => height < 47.5)"""


@pytest.fixture(scope="module")
def stocked(browser, tmp_path_factory):
    """A desk with two customers, one of whom sent a bundle, and the bundle."""
    folder = tmp_path_factory.mktemp("desk")
    server = RealServer(folder / "data")
    drive = server.drive(speed=None)
    assert drive.wait(60)
    path = folder / "green.zip"
    make_bundle(server.folder, [drive.id], path)
    with server.services.desk.inbox() as inbox:
        now = server.services.clock.wall_us()
        inbox.ask("Green estate", DEMO.encode(), now)
        inbox.ask("Silver saloon", DEMO.encode(), now)
        inbox.take(path, now, customer="Green estate")
    yield server, path
    server.close()


@pytest.fixture
def at(browser, stocked):
    """Opens a screen of the desk with a recipe being written."""
    server, _ = stocked
    context = browser.new_context(
        viewport={"width": WIDE[0], "height": WIDE[1]}, locale=LOCALE, service_workers="block", reduced_motion="reduce"
    )
    opened = Opened(context.new_page())
    page = opened.page

    def go(address, wait, text=DEMO):
        write(page, server.url, address, wait, text)
        return opened

    yield go
    context.close()


def write(page, url, address, wait, text):
    """Opens a screen of the desk at `url`, with this recipe being written, or with none."""
    page.goto(f"{url}/?light=day#/drives")
    page.evaluate(
        "(text) => text === null ? localStorage.removeItem('desk.draft')"
        " : localStorage.setItem('desk.draft', JSON.stringify({ text }))",
        text,
    )
    page.goto("about:blank")
    page.goto(f"{url}/?light=day{address}")
    page.locator(wait).first.wait_for()
    page.evaluate("() => document.fonts.ready.then(() => true)")


def text_of(page):
    """The recipe that is being written."""
    return page.evaluate("() => JSON.parse(localStorage.getItem('desk.draft')).text")


def until_text(page, script):
    """Waits until the recipe that is being written has something."""
    page.wait_for_function(f"() => ({script})(JSON.parse(localStorage.getItem('desk.draft')).text)")


SCREENS = {
    "home": ("#/desk", ".line"),
    "begin": ("#/desk/write?new=1", ".starts"),
    "write": ("#/desk/write", ".shell:not([hidden])"),
    "prove": ("#/desk/prove", ".drives"),
    "send": ("#/desk/send", ".code > *"),
    "customer": ("#/desk/customer?name=Green%20estate", ".bundle"),
    "again": ("#/desk/again", ".answer"),
}


@pytest.mark.parametrize("name", SCREENS)
def test_a_screen_of_the_desk_stands(at, name):
    """All rules of axe by day, contrast in every light; no sideways scroll, nothing cut, on a laptop and on a phone."""
    opened = at(*SCREENS[name])
    page = opened.page
    if name == "write":
        page.get_by_text("More about this capture").click()
    wrong = {"all": faults(page, FULL)}
    for light in LIGHTS:
        set_light(page, light)
        wrong[light] = faults(page, CONTRAST)
        shoot(page, f"desk-{name}-{light}")
    assert {key: found for key, found in wrong.items() if found} == {}
    set_light(page, "day")
    for width, height in (WIDE, (768, 1024), PHONE, SMALL):
        page.set_viewport_size({"width": width, "height": height})
        shoot(page, f"desk-{name}-{width}")
        assert page.evaluate(FITS), f"{name} scrolls sideways at {width}"
        assert [one for one in page.evaluate(CUT) if one] == [], f"{name} at {width}"
        assert page.evaluate(ACTS) == []
    assert opened.complaints == []


def test_a_figure_is_edited_where_it_stands(at):
    """Typed, it is in the text, comments and all; what it makes wrong is said; undone, it is as it was."""
    page = at("#/desk/write", ".sentence", DEMO.replace('hold = "90 s"', 'hold = "90 s" # long enough')).page
    slot = page.get_by_label("road speed, to")
    slot.fill("60 km/h")
    page.locator(".says .no").first.wait_for()
    assert 'max = "60 km/h"' in text_of(page)
    assert "# long enough" in text_of(page)
    page.get_by_role("button", name="Undo").click()
    page.locator(".says .ok").first.wait_for()
    assert 'max = "88 km/h"' in text_of(page)
    expect(page.get_by_label("road speed, to")).to_have_value("88 km/h")


def test_degrees_are_shown_as_people_write_them(at):
    """°C on the screen, degC in the file."""
    page = at("#/desk/write", ".sentence").page
    slot = page.get_by_label("coolant, at least")
    assert slot.input_value() == "80 °C"
    slot.fill("75 °C")
    slot.press("Enter")
    until_text(page, "(text) => text.includes('75 degC')")


def test_conditions_come_and_go(at):
    """Added from a list, with its signal recorded; another end; taken out again, with its table."""
    page = at("#/desk/write", ".sentence").page
    page.get_by_label("and never…").select_option(label="Intake air")
    limit = page.get_by_label("intake air, Never", exact=True)
    assert limit.input_value() == "70 °C"
    data = tomllib.loads(text_of(page))
    assert data["capture"][0]["limit"] == {"intake_temp": {"max": "70 degC"}}
    assert data["record"]["intake_temp"] == "2 Hz"
    page.get_by_label("Change intake air, Never").select_option("drive")
    page.get_by_text("through the whole drive").first.wait_for()
    page.get_by_label("Change intake air, Never").select_option("remove")
    limit.wait_for(state="detached")
    assert "limit" not in tomllib.loads(text_of(page))["capture"][0]
    page.get_by_label("Change gear").select_option("max")
    page.get_by_label("gear, at most").wait_for()
    assert tomllib.loads(text_of(page))["capture"][0]["keep"]["gear"] == {"max": 5}


def test_states_to_confirm_are_a_list(at):
    """One by one, edited in place, emptied they go."""
    page = at("#/desk/write", ".sentence").page
    page.get_by_label("Another state to confirm").fill("Windows shut")
    page.get_by_label("Another state to confirm").press("Enter")
    page.get_by_label("They confirm: 1").wait_for()
    assert tomllib.loads(text_of(page))["capture"][0]["confirm"] == ["Windows shut"]
    page.get_by_label("They confirm: 1").fill("")
    page.get_by_label("They confirm: 1").press("Enter")
    page.get_by_label("They confirm: 1").wait_for(state="detached")
    assert "confirm" not in tomllib.loads(text_of(page))["capture"][0]


def test_every_other_key_has_its_place(at):
    """`needs`, `after_limit`; `settle`, `calibration` and rates on the recipe as a whole; `cells` as a table."""
    page = at("#/desk/write", ".sentence").page
    page.locator(".cap").nth(1).click()
    page.get_by_text("More about this capture").click()
    page.locator(".fields").get_by_label("First secure").fill("part-load")
    page.locator(".fields").get_by_label("First secure").press("Enter")
    page.get_by_label("After a passed limit").select_option("wait")
    until_text(page, "(text) => text.includes('after_limit') && text.includes('needs')")
    capture = tomllib.loads(text_of(page))["capture"][1]
    assert (capture["needs"], capture["after_limit"]) == (["part-load"], "wait")
    page.get_by_role("button", name="The whole recipe").click()
    page.get_by_label("Distance since trims were reset").fill("60 km")
    page.get_by_label("Calibration in the car").fill("A1, B2")
    page.get_by_label("Engine speed, Recorded, and how often").fill("6 Hz")
    page.get_by_label("Words to the owner").fill("Cold tyres.")
    page.get_by_label("Name", exact=True).focus()
    until_text(page, "(text) => ['60 km', 'B2', '6 Hz', 'Cold tyres'].every((one) => text.includes(one))")
    page.locator(".adds").get_by_role("button", name="Part load by cells").click()
    page.locator(".edges").wait_for()
    page.get_by_label("Edges of engine speed").fill("1000 rpm, 2000 rpm, 3000 rpm")
    page.get_by_label("Time in each cell").fill("17 s")
    page.get_by_label("Time in each cell").press("Enter")
    until_text(page, "(text) => text.includes('17 s') && !text.includes('2500 rpm')")
    cells = tomllib.loads(text_of(page))["capture"][-1]["cells"]
    assert cells["edges"]["engine_speed"] == ["1000 rpm", "2000 rpm", "3000 rpm"]
    assert cells["dwell"] == "17 s"


def test_captures_are_moved_copied_removed(at):
    """In the order of the file."""
    page = at("#/desk/write", ".sentence").page
    page.get_by_text("More about this capture").click()
    page.get_by_role("button", name="Move down").click()
    until_text(page, "(text) => text.indexOf('= \"roll-on') < text.indexOf('= \"part-load')")
    page.get_by_role("button", name="Copy").click()
    until_text(page, "(text) => text.includes('part-load-2')")
    page.locator(".cap").nth(2).wait_for()
    page.get_by_role("button", name="Remove", exact=True).click()
    until_text(page, "(text) => !text.includes('part-load-2')")


def test_the_text_itself_can_be_edited(at):
    """Broken, it says where; the sentences wait until it can be read again."""
    page = at("#/desk/write", ".sentence").page
    page.get_by_role("button", name="Show as TOML").click()
    area = page.get_by_label("The recipe as TOML")
    area.fill(DEMO.replace("revision = 2", "revision = "))
    page.get_by_text("Line 3:").wait_for()
    area.fill(DEMO.replace("revision = 2", "revision = 7"))
    page.get_by_text("revision 7").wait_for()
    page.get_by_role("button", name="Show as sentences").click()
    page.locator(".sentence").wait_for()


def test_the_phone_goes_through_its_moments(at):
    """Drive's own parts: the line, the number and the ground of each moment."""
    page = at("#/desk/write", ".shell:not([hidden])").page
    lines = {}
    for moment in ("Before", "Going", "Outside", "Secured"):
        page.locator(".steps").get_by_role("button", name=moment).click()
        lines[moment] = (
            page.locator(".shell .words").inner_text(),
            page.locator(".shell .drive").get_attribute("data-ground"),
        )
    assert lines["Going"] == ("Hold this speed", "calm")
    assert lines["Outside"][1] == "steer"
    assert lines["Secured"] == ("Secured", "secured")
    assert "Next, Full pedal in third" in page.locator(".shell .top").inner_text()
    assert page.locator(".shell .lane").count() == 1
    assert "Recording" in page.locator(".shell .rec").inner_text()


def test_less_is_used_with_one_tap(at):
    """A hold too long for the drive: what would have done is offered, applied, and tried again."""
    page = at("#/desk/prove", ".drives", ONE.replace('"90 s"', '"6 min"', 1)).page
    page.get_by_role("button", name="Everything qualifies").click()
    page.get_by_role("heading", name="It would not have been met").wait_for()
    page.locator(".less li", has_text="Met with a hold of").get_by_role("button", name="Use it").click()
    page.get_by_role("heading", name="It would have been met").wait_for()
    assert '"6 min"' not in text_of(page)


def test_everything_is_judged_again_beside_what_it_was(at):
    """By the recipe that is being written; one that asks for more is met no more."""
    page = at("#/desk/again", ".answer", DEMO.replace('"90 s"', '"40 min"', 1)).page
    page.get_by_role("button", name="Judge all").click()
    page.get_by_role("heading", name="0 of 1 drives meet it").wait_for()
    assert "part-load: 0 of 1, was 1" in page.locator(".item").inner_text()


def test_what_is_no_bundle_is_refused_in_a_sentence(at, tmp_path):
    """And the desk stands as before."""
    page = at("#/desk", ".line").page
    path = tmp_path / "x.zip"
    path.write_bytes(b"nothing")
    page.locator(".drop input").set_input_files(path)
    page.locator(".taken .problem").wait_for()
    assert page.locator(".line").count() == 2


@pytest.mark.parametrize(
    ("packed", "says"),
    [
        ("1.abc", "damaged or cut off"),
        ("2.abc", "no recipe that this page can read"),
    ],
)
def test_a_link_that_is_none_is_refused(at, packed, says):
    """Damaged, of another form, or not a recipe: one sentence, and nothing to take."""
    opened = at(f"#/request/{packed}", ".problem")
    assert says in opened.page.locator("h1").inner_text() + opened.page.locator(".problem").inner_text()
    assert opened.page.get_by_role("button", name="Take it").count() == 0
    assert opened.page.get_by_role("heading", name="It cannot be used").count() == 1


def test_a_link_that_grows_without_end_is_stopped(at):
    """A few kilobytes that unpack to many megabytes are not unpacked."""
    squeeze = zlib.compressobj(9, zlib.DEFLATED, -15)
    small = squeeze.compress(b"#" * 30_000_000) + squeeze.flush()
    packed = FORM + base64.urlsafe_b64encode(small).decode().rstrip("=")
    page = at(f"#/request/{packed}", ".problem").page
    assert "too large" in page.locator(".problem").inner_text()


def test_what_the_check_refuses_is_refused(at):
    """A recipe that can never be met is shown as what it is."""
    wrong = DEMO.replace('max = "88 km/h"', 'max = "60 km/h"')
    page = at(f"#/request/{pack(wrong.encode())}", ".problem").page
    assert page.get_by_role("button", name="Take it").count() == 0


def test_a_request_stands(at):
    """Unsigned: said so, in every light, on a phone."""
    opened = at(f"#/request/{pack(DEMO.encode())}", "[data-signer=unsigned]")
    page = opened.page
    page.set_viewport_size({"width": PHONE[0], "height": PHONE[1]})
    wrong = {"all": faults(page, FULL)}
    for light in LIGHTS:
        set_light(page, light)
        wrong[light] = faults(page, CONTRAST)
    assert {key: found for key, found in wrong.items() if found} == {}
    assert page.evaluate(FITS)
    assert opened.complaints == []
