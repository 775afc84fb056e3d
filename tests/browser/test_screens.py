"""Every screen and every face: it stands in each light and size, and nothing is complained about."""

from __future__ import annotations

import pytest

from tests.browser.conftest import PHONE, shoot
from tests.browser.faces import FACES, PAGES, WHOLE

SCREENS = {
    "empty": "#/",
    "choose": "#/",
    "recipe": "#/recipe?sha=f00d",
    "source": "#/source?recipe=f00d",
    "ready": "#/ready?recipe=f00d&source=simulator",
    "ready-blocked": "#/ready?recipe=f00d&source=simulator",
    "ready-looking": "#/ready?recipe=f00d&source=simulator",
    "who": "#/who?recipe=f00d&source=simulator",
    "notes": "#/notes?recipe=f00d&source=simulator&role=passenger",
    "drives": "#/drives",
    "sound": "#/sound",
    "facts": "#/facts?recipe=f00d&source=link:0",
    "pedal": "#/pedal?recipe=f00d&source=link:0",
    "dial": "#/dial",
    "after": "#/after?drive=d1",
    "window": "#/window?drive=d1&capture=part-load&number=1",
}
LIGHTS = ("day", "night", "contrast", "contrast-night")
SIZES = ((390, 664), (320, 568), (740, 360), (844, 390), (195, 422))
"""Short, small, in a holder (twice), and text at 200 % (half the width and height)."""
WIDE = ((768, 1024), (1280, 800))
TAPPED = "button, a[href], label.act, summary, .pickone label"

FITS = "() => document.documentElement.scrollWidth <= innerWidth"
IN_VIEW = """(selector) => [...document.querySelectorAll(selector)].filter((e) => e.checkVisibility()).every((e) => {
  const r = e.getBoundingClientRect();
  return r.top >= -0.5 && r.left >= -0.5 && r.bottom <= innerHeight + 0.5 && r.right <= innerWidth + 0.5;
})"""
TARGETS = """(selector) => [...document.querySelectorAll(selector)].filter((e) => e.checkVisibility()).map((e) => {
  const r = e.getBoundingClientRect();
  const sides = [Math.min(r.height, r.width), r.height].map((v) => Math.round(v * 10) / 10);
  return [e.textContent.trim().slice(0, 30), ...sides];
})"""
CUT = """() => [...document.querySelectorAll('.words, .number, .what, .title, .act')].filter((e) => e.checkVisibility()
  && e.scrollWidth > e.clientWidth + 1 && getComputedStyle(e).display !== 'inline').map((e) => e.textContent)"""


def set_light(page, light):
    """Changes the light as the page itself does."""
    page.evaluate("(light) => { document.documentElement.dataset.light = light; }", light)


def look(opened, name, sizes, stop=None):
    """Draws a screen in each light and size, and checks that it fits."""
    page = opened.page
    for light in LIGHTS:
        set_light(page, light)
        shoot(page, f"{name}-{light}")
    set_light(page, "day")
    for width, height in sizes:
        page.set_viewport_size({"width": width, "height": height})
        shoot(page, f"{name}-{width}x{height}")
        assert page.evaluate(FITS), f"{name} scrolls sideways at {width}x{height}"
        assert page.evaluate(CUT) == [], f"{name} at {width}x{height}"
        if stop is not None:
            assert page.evaluate(IN_VIEW, stop), f"{stop} of {name} is not in view at {width}x{height}"
    page.set_viewport_size({"width": PHONE[0], "height": PHONE[1]})
    assert opened.complaints == []


def open_screen(server, opening, name, **options):
    """Opens a parked screen, with what it fetches after it stands."""
    server.recipes = [one | {"bundled": name == "empty"} for one in server.recipes]
    if name.startswith("ready-"):
        server.marks = name.removeprefix("ready-")
    if name == "dial":
        server.face = "hold"
    opened = opening(SCREENS[name], **options)
    if name.startswith("ready"):
        opened.page.wait_for_selector(".item .mark[data-mark=secured]")
    if name == "window":
        opened.page.wait_for_selector(".uplot canvas, .no-plots")
    return opened


@pytest.mark.parametrize("name", SCREENS)
def test_a_parked_screen_stands(server, opening, name):
    """Each parked screen is drawn in every light and size without a complaint, fits, and has targets of 48 px."""
    opened = open_screen(server, opening, name)
    look(opened, name, (*SIZES, *WIDE))
    small = [one for one in opened.page.evaluate(TARGETS, TAPPED) if one[2] < 48]
    assert [one for one in small if one[0]] == []


@pytest.mark.parametrize("name", [name for name in FACES if name not in PAGES])
def test_a_face_stands(face, name):
    """Each face of Drive is drawn in every light and size without a complaint; Stop in view, targets of 64 px."""
    opened = face(name)
    page = opened.page
    stop = ".bar button" if name not in WHOLE else ".acts button"
    look(opened, f"drive-{name}", SIZES, stop)
    assert [one for one in page.evaluate(TARGETS, "button") if one[1] < 64] == []
    assert page.locator("[role=status]:visible").count() == 1
    if name not in WHOLE and name != "paused":
        bar = page.locator("[role=progressbar]")
        assert bar.get_attribute("aria-valuenow").isdigit()
        assert bar.get_attribute("aria-valuetext")


@pytest.mark.parametrize("name", sorted(PAGES))
def test_the_arm_screen_stands(face, name):
    """At standstill, a capture that has to be armed brings the Arm screen, with what it asks and what it warns of."""
    opened = face(name)
    look(opened, name, SIZES)
    assert opened.page.locator(".acts .act.main").evaluate("(e) => e.offsetHeight") >= 88
