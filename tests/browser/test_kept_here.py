"""What a person can do about what the phone keeps: know the risk, take a drive off it, hand the bundle on from it."""

from __future__ import annotations

import urllib.request
import zipfile

from tests.browser.conftest import KEEP, WHOLE, note, was_said
from tests.browser.real_server import until
from tests.browser.test_axe import CONTRAST, FULL, faults
from tests.browser.test_screens import FITS, LIGHTS, set_light

ANSWERS = """async (id) => {
  const { look } = await import('/js/kept.js');
  return (await look((answers) => answers.index('drive').getAllKeys(id))).length;
}"""
SEEN = "async (id) => void await new (await import('/js/kept.js')).Reader().get(`drives/${id}`)"
BUNDLE = "async (id) => (await (await import('/js/keeping.js')).keptBundle(id))?.file.size ?? 0"
AGREED = "() => { navigator.storage.persisted = async () => true; }"
LOST = "async () => (await import('/js/live.js')).lost()"
LOAD = """() => Promise.all(['failed', 'offline', 'recipe'].map((name) => import(`/js/screens/${name}.js`)))
  .then(() => true)"""
RISK = "The browser may delete drives saved on this phone when room runs short."
SAYS = "(text) => document.querySelector('.reach')?.innerText.trim() === text"


def opened(phone, done, **options):
    """Afterwards of the drive that has ended, kept on the phone."""
    page = phone(done, worker=False, **options).page
    assert page.evaluate(KEEP, done.id)
    page.evaluate("(id) => { location.hash = `#/after?drive=${id}`; }", done.id)
    page.wait_for_selector(".kept-here")
    return page


def inside(page):
    """What stands in the opened part of the box."""
    return page.locator(".kept-here .handing").inner_text().split("\n")


def test_a_drive_is_taken_off_the_phone_when_asked_twice(phone, done):
    """The first press asks; the second takes all of it away, and it stays away until somebody wants it kept again."""
    page = opened(phone, done)
    page.locator(".kept-here summary").click()
    page.get_by_role("button", name="Remove from this phone").click()
    assert page.locator(".kept-here .under").inner_text() == "Remove it from this phone? The laptop's own copy stays."
    page.get_by_role("button", name="Keep it").click()
    assert page.evaluate(ANSWERS, done.id) > 5
    page.get_by_role("button", name="Remove from this phone").click()
    page.get_by_role("button", name="Yes, remove it").click()
    page.wait_for_function("() => document.querySelector('.kept-here')?.innerText === 'Not saved on this phone'")
    assert page.evaluate(ANSWERS, done.id) == 0
    # Neither by the drive being heard of again nor by being looked at.
    assert page.evaluate(KEEP, done.id) is False
    page.evaluate(SEEN, done.id)
    assert page.evaluate(ANSWERS, done.id) == 0
    page.locator(".kept-here summary").click()
    page.get_by_role("button", name="Save on this phone again").click()
    page.wait_for_function("() => document.querySelector('.kept-here')?.innerText === 'Saved on this phone'")
    assert page.evaluate(WHOLE, done.id)


def test_the_bundle_that_was_made_is_handed_on_without_the_laptop(phone, done):
    """Byte for byte what the laptop sealed, from Afterwards and from Send; taken away with its drive."""
    page = phone(done, f"#/after?drive={done.id}").page
    assert page.evaluate(KEEP, done.id)
    with page.expect_response("**/api/bundles/*.zip") as answer:
        page.evaluate("(id) => { location.hash = `#/send?drive=${id}`; }", done.id)
    with urllib.request.urlopen(answer.value.url) as again:
        sealed = again.read()
    until(page, BUNDLE, arg=done.id)
    with done.away():
        page.evaluate("(id) => { location.hash = `#/after?drive=${id}`; }", done.id)
        page.reload()
        page.wait_for_selector("[data-screen=after] .reach.gone")
        page.get_by_role("button", name="Save the sealed bundle").wait_for()
        assert "For the calibrator. Made by the laptop, " in page.locator(".kept-here").locator("..").inner_text()
        page.evaluate("(id) => { location.hash = `#/send?drive=${id}`; }", done.id)
        page.wait_for_selector("[data-screen=send] .problem")
        with page.expect_download() as download:
            page.get_by_role("button", name="Save the sealed bundle").click()
        path = download.value.path()
        assert path.read_bytes() == sealed
        with zipfile.ZipFile(path) as made:
            assert "manifest.json" in made.namelist()
        page.evaluate("(id) => { location.hash = `#/after?drive=${id}`; }", done.id)
        page.locator(".kept-here summary").click()
        page.get_by_role("button", name="Remove from this phone").click()
        assert inside(page)[0].endswith("It can be looked at again only when the laptop is in reach.")
        page.get_by_role("button", name="Yes, remove it").click()
        page.wait_for_selector("[data-offline]")
        assert page.locator(".under").last.inner_text() == "No drive is saved on this phone yet."
        assert page.evaluate(BUNDLE, done.id) == 0


def test_a_bundle_is_left_out_where_there_is_no_room(phone, done):
    """It is the laptop's to keep: no drive makes way for it, and nothing is said of it."""
    page = opened(phone, done)
    keep = """async ([id, quota]) => {
      navigator.storage.estimate = async () => ({ quota, usage: 0 });
      const { keepBundle } = await import('/js/keeping.js');
      return keepBundle(id, new File([new Uint8Array(1000)], 'd.zip', { type: 'application/zip' }));
    }"""
    assert page.evaluate(keep, [done.id, 1999]) is False
    assert page.evaluate(BUNDLE, done.id) == 0
    assert page.evaluate(keep, ["no such drive", 9999]) is False
    assert page.evaluate(keep, [done.id, 9999]) is True
    assert page.evaluate(BUNDLE, done.id) == 1000
    assert page.evaluate(WHOLE, done.id)


def test_a_browser_that_may_throw_drives_away_is_said_where_they_are_listed(phone, done):
    """With the laptop and without it; where the browser agrees to keep them, nothing is said.

    Nor has the screen for a laptop out of reach any fault that axe finds, in any light.
    """
    page = opened(phone, done)
    page.evaluate("() => { location.hash = '#/drives'; }")
    page.wait_for_selector("[data-screen=drives] .item")
    page.wait_for_function(SAYS, arg=RISK)
    note(page, ".reach")
    with done.unheard():
        page.evaluate(LOST)
        was_said(page, "Laptop not in reach")
    # For three seconds; then what it said before.
    was_said(page, "The laptop is back.")
    page.wait_for_function(SAYS, arg=RISK)
    # Without a worker, what is shown with the laptop gone must have been loaded.
    page.evaluate(LOAD)
    with done.away():
        page.evaluate("() => { location.hash = '#/recipe?sha=none'; }")
        page.wait_for_selector("[data-offline] .item")
        assert page.locator(".mini").all_inner_texts() == [RISK]
        assert page.evaluate(FITS)
        wrong = {"all": faults(page, FULL)}
        for light in LIGHTS:
            set_light(page, light)
            wrong[light] = faults(page, CONTRAST)
        assert {key: found for key, found in wrong.items() if found} == {}
    page.wait_for_selector("[data-offline]", state="detached")
    page.evaluate(AGREED)
    assert page.evaluate("async () => (await import('/js/keeping.js')).mayGo()") is False


def test_a_screen_from_the_phone_offers_what_the_laptop_has_now(phone, done):
    """The laptop back, what is shown stays until somebody asks: then Send is there again."""
    page = opened(phone, done)
    page.evaluate("() => { location.hash = '#/drives'; }")
    page.wait_for_selector("[data-screen=drives] .item")
    with done.away():
        page.evaluate("(id) => { location.hash = `#/after?drive=${id}`; }", done.id)
        page.wait_for_selector("[data-screen=after] [data-kept-at]")
        page.evaluate(LOST)
        page.wait_for_selector(".reach.gone")
        assert page.get_by_role("link", name="Send it").count() == 0
    page.get_by_role("link", name="Show what it has now").click()
    page.wait_for_selector("[data-kept-at]", state="detached")
    page.get_by_role("link", name="Send it").wait_for()
