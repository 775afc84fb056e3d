"""From an empty recipe to the next revision: the calibrator's desk and the customer's page, two servers."""

from __future__ import annotations

import pytest

from coach.server.models import StartDrive
from tests.browser.conftest import LOCALE, Opened
from tests.browser.real_server import RealServer

LAPTOP = {"width": 1280, "height": 800}
PHONE = {"width": 390, "height": 844}


@pytest.fixture
def two(browser, tmp_path):
    """The calibrator's page and server, the customer's page and server."""
    servers = [RealServer(tmp_path / name) for name in ("calibrator", "customer")]
    contexts = [browser.new_context(viewport=size, locale=LOCALE, service_workers="block") for size in (LAPTOP, PHONE)]
    pages = [Opened(context.new_page()) for context in contexts]
    yield pages[0], servers[0], pages[1], servers[1]
    for each in (*contexts, *servers):
        each.close()


def test_from_an_empty_recipe_to_a_bundle_that_comes_back(two, tmp_path):
    """Written, proved, signed, sent as a link; opened, key pinned, driven, sent back; complete, and the next begun."""
    desk, calibrator, phone, customer = two
    page = desk.page

    # Write: a starting point, a figure changed in its place, a condition more.
    page.goto(f"{calibrator.url}/?light=day")
    page.get_by_role("link", name="I am the calibrator").click()
    page.get_by_role("link", name="New recipe").click()
    page.locator(".starts").get_by_role("button", name="Free recording").click()
    page.get_by_label("hold for").fill("20 s")
    page.get_by_label("hold for").press("Enter")
    page.get_by_label("and keep…").select_option(label="Coolant")
    page.locator(".sentence").get_by_label("coolant, at least").wait_for()
    page.locator(".says .ok").first.wait_for()
    page.wait_for_function("() => document.querySelector('.shell .words')?.textContent")

    # Prove: on a drive made before.
    page.get_by_role("button", name="Try on a drive").click()
    page.get_by_role("button", name="Everything qualifies").click()
    page.get_by_role("heading", name="It would have been met").wait_for()

    # Send: signed, as a link.
    page.get_by_role("link", name="Send").click()
    page.get_by_label("For whom").fill("Green estate")
    page.locator(".code svg").wait_for()
    page.get_by_role("button", name="Copy the link").click()
    page.get_by_text("Noted as sent to Green estate.").wait_for()
    link = page.get_by_role("textbox", name="The link").input_value()
    assert link.startswith("http://localhost:8765/#/request/1.")

    # The customer opens it: who asks for what, before anything is kept; the key is pinned, and known from then on.
    sent = []
    page = phone.page
    page.on("request", lambda request: sent.append((request.method, request.url)))
    page.goto(f"{customer.url}/?light=day{link[link.index('#') :]}")
    page.locator("[data-signer=unknown]").wait_for()
    assert page.locator(".item.drawn").count() == 1
    assert customer.services.store.recipes() == []
    packed = link.rpartition("/")[2]
    assert not [url for _, url in sent if packed[:40] in url.partition("#")[0]]
    assert {url for method, url in sent if method == "POST"} == {f"{customer.url}/api/recipes/look"}
    page.get_by_text("I know this key").click()
    page.get_by_label("Whose key is it?").fill("The workshop")
    page.get_by_role("button", name="Keep").click()
    page.locator("[data-signer=known]").wait_for()
    page.get_by_role("button", name="Take it").click()
    page.locator("[data-screen=recipe] [data-signer=known]").wait_for()
    assert "From The workshop" in page.locator(".signer").inner_text()
    recipe = customer.services.store.recipes()[0].sha

    # Driven, and sent back.
    asked = StartDrive(recipe=recipe, source="replay:everything-qualifies", speed=None, role="passenger")
    drive = customer.services.start(asked)
    assert drive.wait(60)
    page.goto(f"{customer.url}/?light=day#/send?drive={drive.id}")
    with page.expect_download() as coming:
        page.get_by_role("link", name="Save").click()
    bundle = tmp_path / "from-the-customer.zip"
    coming.value.save_as(bundle)

    # It comes back to the desk: checked, complete, the next revision begun with what changed as sentences.
    page = desk.page
    page.get_by_role("link", name="To the desk").click()
    page.locator(".line", has_text="Green estate").get_by_text("Asked today.").wait_for()
    page.locator(".drop input").set_input_files(bundle)
    line = page.locator(".line", has_text="Green estate")
    line.get_by_text("Complete, today.").wait_for()
    assert line.locator(".blocks [data-mark=secured]").count() == 1
    line.get_by_role("link", name="Next revision").click()
    page.get_by_label("hold for").fill("30 s")
    page.get_by_label("hold for").press("Enter")
    page.get_by_text("from 20 to 30 seconds").wait_for()
    page.get_by_text("revision 2, for Green estate").wait_for()
    page.get_by_role("link", name="Back to the desk").click()
    page.locator(".line", has_text="Green estate").get_by_text("Revision 2 begun today.").wait_for()
    page.get_by_role("link", name="Carry on", exact=True).click()

    # And what came is opened in the review, like any other drive.
    page.get_by_role("button", name="Open in the review").click()
    page.wait_for_selector("[data-screen=after] h1")
    assert desk.complaints == []
    assert phone.complaints == []
