"""A drive kept on the phone opens its review with the server gone: sentences, what it rests on, and its traces."""

from __future__ import annotations

from playwright.sync_api import expect

from tests.browser.conftest import WHOLE, shoot
from tests.browser.real_server import until
from tests.browser.test_axe import CONTRAST, FULL, faults
from tests.browser.test_screens import FITS, LIGHTS, set_light

KEPT = """async (id) => {
  const { look } = await import('/js/kept.js');
  return look((answers) => answers.index('drive').getAllKeys(id));
}"""


def test_a_drive_that_was_never_opened_opens_its_review_without_the_laptop(phone, done):
    """Kept by itself, all of it: the review's own sentences and head, each attempt, and the whole drive's traces."""
    page = phone(done).page
    until(page, WHOLE, arg=done.id)
    kept = page.evaluate(KEPT, done.id)
    assert f"drives/{done.id}/review" in kept
    assert [path for path in kept if "/traces?" in path] == [f"drives/{done.id}/traces?points=600"]
    with done.away():
        page.goto(f"{done.url}/?light=day#/after?drive={done.id}")
        page.reload()
        page.wait_for_selector("[data-screen=after] .reach.gone")
        # What only the review says: what to send, and what the verdict rests on.
        expect(page.locator(".rests summary")).to_contain_text("What it rests on")
        expect(page.locator(".item p").first).to_contain_text("Qualified")
        page.locator(".rests summary").click()
        expect(page.locator(".rests dd").first).to_be_visible()
        # Nothing to write, and no way to what is not here.
        expect(page.locator(".rests a")).to_have_count(0)
        expect(page.locator(".further a")).to_have_count(1)
        page.locator(".further a").click()
        page.wait_for_selector("[data-screen=traces] .uplot canvas, [data-screen=traces] .no-plots")
        expect(page.locator(".reach.gone")).to_contain_text("Saved on this phone.")
        chosen = page.locator(".choice-of input:checked").count()
        assert chosen >= 3
        drawn = page.locator(".uplot").count()
        page.locator(".choice-of summary").click()
        page.locator(".choice-of label", has_text="Throttle").first.click()
        if drawn:
            expect(page.locator(".uplot")).to_have_count(drawn + 1)
            page.get_by_role("button", name="Closer").click()
            expect(page.locator(".uplot")).to_have_count(drawn + 1)
        wrong = {"all": faults(page, FULL)}
        for light in LIGHTS:
            set_light(page, light)
            wrong[light] = faults(page, CONTRAST)
            shoot(page, f"kept-traces-{light}")
        assert {key: found for key, found in wrong.items() if found} == {}
        assert page.evaluate(FITS)


def test_a_review_that_cannot_be_made_spoils_nothing_else(phone, done):
    """The server refuses it: the verdict and its windows are kept, and the review is asked for again when heard of."""
    page = phone(done, worker=False).page
    refused = {"error": {"code": "fault", "message": "", "where": None}}
    page.route("**/api/drives/*/review", lambda route: route.fulfill(status=500, json=refused))
    assert page.evaluate("async (id) => (await import('/js/kept.js')).keepDrive(id)", done.id)
    until(page, WHOLE, arg=done.id)
    kept = page.evaluate(KEPT, done.id)
    assert f"drives/{done.id}/attempts" in kept
    assert f"drives/{done.id}/review" not in kept
    page.unroute("**/api/drives/*/review")
    assert page.evaluate("async (id) => (await import('/js/kept.js')).keepDrive(id)", done.id)
    assert f"drives/{done.id}/review" in page.evaluate(KEPT, done.id)
