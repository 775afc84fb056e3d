"""Send and Bundle in a real browser: what leaves is shown first; shared by the phone's own way, else saved; checked."""

from __future__ import annotations

import pytest
from axe_playwright_python.sync_playwright import Axe

from tests.browser.conftest import shoot
from tests.browser.test_screens import CUT, FITS, LIGHTS, SIZES, TAPPED, TARGETS, WIDE, set_light

CONTENTS = {
    "id": "d1", "title": "Part load", "revision": 2, "windows": 3, "missed": 2, "before_s": 10, "after_s": 10,
    "judged_signals": 6, "other_signals": 4, "duration_s": 2460.0, "vin": "*************4821", "vin_known": True,
    "note": True, "facts": 3,
}  # fmt: skip
MADE = {
    "id": "ab" * 32, "sha256": "ab" * 32, "size": 2_100_000, "fingerprint": "3f2a 91bc 77d0 4e1c 0a55", "whole": False,
    "full_vin": False, "contents": [CONTENTS],
    "files": [{"path": "manifest.json", "size": 5_000, "packed": 1_800},
              {"path": "drives/d1/samples.bin", "size": 500_000, "packed": 90_000}],
}  # fmt: skip
CHECKED = {
    "sha256": "0" * 64, "ok": True, "same_verdict": True, "sentence": "Same verdict: judged again.", "more": 0,
    "signed_by": {"fingerprint": "3f2a 91bc 77d0 4e1c 0a55", "public_key": "0", "good": True, "name": "Red one",
                  "pinned": True},
    "problems": [], "warnings": [],
    "drives": [{"id": "d1", "title": "Part load", "revision": 2, "started": "2026-05-04T09:30:00.000Z",
                "captures": [{"id": "a", "title": "Steady", "asked": 1, "qualified": 1},
                             {"id": "b", "title": "A pull", "asked": 2, "qualified": 1}]}],
}  # fmt: skip
CHANGED = CHECKED | {
    "ok": False, "same_verdict": False, "sentence": "Another verdict. Capture 'b', qualified: it says 2.", "more": 3,
    "signed_by": None,
    "problems": [{"code": "verdict", "message": "The verdict is another.", "where": "drives/d1/verdict.json"}],
    "warnings": [{"code": "ways", "message": "Ratios are others.", "where": None}],
}  # fmt: skip
SHARES = """
  window.shared = [];
  navigator.canShare = ({ files }) => files.length === 1 && files[0].type === 'application/zip';
  navigator.share = async (what) => { window.shared.push([what.files[0].name, what.files[0].size]); };
"""


def send(server, opening, made=MADE, script=None, **options):
    server.answers["bundles"] = made
    opened = opening("#/drives", **options)
    page = opened.page
    if script:
        page.evaluate(f"() => {{ {script} }}")
    page.evaluate("() => { location.hash = '#/send?drive=d1'; }")
    page.wait_for_selector(".item [data-mark=secured]")
    page.wait_for_selector(".acts .act:not([disabled])")
    return opened


def items(page):
    return page.locator(".item h2").all_inner_texts()


def test_what_leaves_is_shown_before_it_does(server, opening):
    """The list as drawn, the size on top, two switches that are off, every file when asked for."""
    opened = send(server, opening)
    page = opened.page
    assert items(page) == [
        "3 windows that qualified", "2 attempts that did not", "What was judged, start to end",
        "Recipe, rates, your agreements",
    ]  # fmt: skip
    assert page.locator(".crumb").inner_text().split("\n")[-1] == "2.1 MB"
    assert [s.get_attribute("aria-checked") for s in page.get_by_role("switch").all()] == ["false", "false"]
    assert "…4821" in page.locator("#vin").inner_text()
    assert "3f2a 91bc 77d0 4e1c 0a55" in page.locator(".mini").inner_text()
    page.locator(".inside summary").click()
    assert page.locator(".inside li").first.inner_text().replace("\n", "") == "manifest.json2 kB"
    assert next(body for name, body in server.posts if name == "bundles") == {
        "drives": ["d1"],
        "whole": False,
        "full_vin": False,
    }
    assert opened.complaints == []


def test_switches_ask_for_another_bundle(server, opening):
    """Each tap asks for it anew; focus stays where it was, and the keyboard works it too."""
    page = send(server, opening).page
    page.locator("#whole").click()
    page.wait_for_selector("#whole[aria-checked=true]")
    # What the other one would weigh comes last, and the switches are drawn anew with it.
    page.wait_for_selector("#whole:has-text('kB more')")
    page.locator("#vin").focus()
    page.keyboard.press("Space")
    page.wait_for_selector("#vin[aria-checked=true]")
    assert page.evaluate("() => document.activeElement.id") == "vin"
    page.wait_for_function("() => document.querySelector('.acts a')")
    assert {"drives": ["d1"], "whole": True, "full_vin": True} in [
        body for name, body in server.posts if name == "bundles"
    ]


def test_a_car_whose_number_is_not_known_has_one_switch(server, opening):
    nothing = CONTENTS | {"vin": None, "vin_known": False, "windows": 0, "missed": 0, "facts": 0}
    page = send(server, opening, MADE | {"contents": [nothing]}).page
    assert page.get_by_role("switch").count() == 1
    assert items(page)[0] == "No window qualified"
    assert len(items(page)) == 3


def test_the_phones_own_way_to_share(server, opening):
    """Send hands the file itself to the phone; Save stays beside it."""
    page = send(server, opening, script=SHARES).page
    page.get_by_role("button", name="Send", exact=True).click()
    page.wait_for_function("() => document.querySelector('p.under').textContent.startsWith('Handed on')")
    assert page.evaluate("() => window.shared") == [["d1.zip", 4]]
    assert page.get_by_role("link", name="Save on this phone").is_visible()
    assert page.get_by_role("link", name="Back to the drive").is_visible()


def test_a_phone_that_refuses_says_so_and_one_that_changes_its_mind_does_not(server, opening):
    script = SHARES.replace(
        "window.shared.push([what.files[0].name, what.files[0].size]);",
        "throw new DOMException('x', window.why);",
    )
    page = send(server, opening, script="window.why = 'AbortError';" + script).page
    page.get_by_role("button", name="Send", exact=True).click()
    assert page.locator(".problem").count() == 0
    page.evaluate("() => { window.why = 'NotAllowedError'; }")
    page.get_by_role("button", name="Send", exact=True).click()
    page.wait_for_selector(".problem")


def test_without_internet_send_becomes_save(server, opening):
    """The laptop is still there; sharing is not offered, saving is."""
    page = send(server, opening, script=SHARES).page
    page.get_by_role("button", name="Send", exact=True).wait_for()
    page.evaluate("() => { Object.defineProperty(navigator, 'onLine', { get: () => false }); }")
    page.evaluate("() => { dispatchEvent(new Event('offline')); }")
    page.wait_for_function("() => document.querySelector('p.under').textContent.startsWith('No internet')")
    assert page.get_by_role("button", name="Send", exact=True).count() == 0
    with page.expect_download() as download:
        page.get_by_role("link", name="Save on this phone").click()
    assert download.value.suggested_filename == "d1.zip"
    page.wait_for_function("() => document.querySelector('p.under').textContent.startsWith('Saved')")


@pytest.mark.parametrize("name", ["send", "bundle", "bundle-changed"])
def test_they_stand_in_every_light_and_size(server, opening, name):
    """Nothing is cut, nothing scrolls sideways, targets have 48 px, axe finds nothing."""
    if name == "send":
        opened = send(server, opening, script=SHARES)
    else:
        opened = check(server, opening, CHECKED if name == "bundle" else CHANGED)
    page = opened.page
    for light in LIGHTS:
        set_light(page, light)
        shoot(page, f"{name}-{light}")
        found = Axe().run(page)
        assert found.violations_count == 0, found.generate_report()
    set_light(page, "day")
    for width, height in (*SIZES, *WIDE):
        page.set_viewport_size({"width": width, "height": height})
        assert page.evaluate(FITS), f"{name} scrolls sideways at {width}x{height}"
        assert page.evaluate(CUT) == [], f"{name} at {width}x{height}"
    page.set_viewport_size({"width": 390, "height": 844})
    small = [one for one in page.evaluate(TARGETS, TAPPED) if one[2] < 48]
    assert [one for one in small if one[0]] == []
    assert opened.complaints == []


def check(server, opening, answer):
    server.answers["bundles/check"] = answer
    opened = opening("#/bundle")
    opened.page.set_input_files("input[type=file]", {"name": "x.zip", "mimeType": "application/zip", "buffer": b"PK"})
    opened.page.wait_for_selector(".found .item")
    return opened


def test_the_same_verdict(server, opening):
    page = check(server, opening, CHECKED).page
    assert page.locator("h1").inner_text() == "It holds"
    assert items(page) == ["Signed by Red one", "Steady", "A pull"]
    assert [m.get_attribute("data-mark") for m in page.locator(".found .mark").all()] == [
        "secured",
        "secured",
        "running",
    ]


def test_another_verdict_is_named(server, opening):
    """What was changed, where, and that nobody signed it."""
    page = check(server, opening, CHANGED).page
    assert page.locator("h1").inner_text() == "It does not hold"
    assert "it says 2" in page.locator("p.under").inner_text()
    assert items(page)[:4] == ["Not signed", "verdict.json", "And 3 more", "x.zip"]
