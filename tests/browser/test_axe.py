"""No screen and no face has a fault that axe finds: WCAG 2.2 A and AA, and contrast at AAA for what is read in the car.

One page is kept and every face is pushed to it: what is looked at is the page as it changes, not as it is loaded.
"""

from __future__ import annotations

import pytest

axe_module = pytest.importorskip("axe_playwright_python.sync_playwright")

from tests.browser import faces  # noqa: E402
from tests.browser.test_screens import LIGHTS, SCREENS, open_screen, set_light  # noqa: E402

RUN = """async (options) => (await axe.run(document, options)).violations
  .flatMap(({ id, nodes }) => nodes.map(({ target }) => [id, target.join(' ')]))"""
TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
FULL = {"runOnly": TAGS}
CONTRAST = {"runOnly": ["color-contrast"]}
ENHANCED = {"runOnly": ["color-contrast-enhanced"]}
"""7:1 for text below large, WCAG 2.2 success criterion 1.4.6."""
ALL = {"runOnly": TAGS, "rules": {"color-contrast-enhanced": {"enabled": True}}}
STEADY = [name for name in faces.FACES if name not in faces.PAGES]
GROUNDS = {"hold", "steer", "warn", "secured", "limit", "lost-car", "locked"}
"""One face for each ground: these in the fourth light too."""


def faults(page, options):
    """What axe finds, as rule and place."""
    if not page.evaluate("() => 'axe' in window"):
        page.evaluate(axe_module.Axe().axe_script)  # once a page: half a megabyte to read
    return [tuple(one) for one in page.evaluate(RUN, options | {"resultTypes": ["violations"]})]


def test_no_face_has_a_fault(face, server):
    """Every face of Drive, all rules by day; contrast in the other lights, at AAA."""
    page = face("hold").page
    page.wait_for_selector("dialog.sheet", state="attached")
    page.wait_for_selector(".ear", state="visible")
    wrong = {}
    for name in STEADY:
        server.push(faces.copy(name))
        line = "The car is moving" if name == "locked" else faces.FACES[name]["face"]["line"]
        page.wait_for_function(
            "(line) => [...document.querySelectorAll('.words')].some((e) => e.textContent === line)", arg=line
        )
        for light in LIGHTS if name in GROUNDS else LIGHTS[:3]:
            set_light(page, light)
            wrong[name, light] = faults(page, ALL if light == "day" else ENHANCED)
    assert {key: found for key, found in wrong.items() if found} == {}


def test_the_sheet_has_no_fault(face):
    """More, open over the drive."""
    page = face("hold").page
    page.wait_for_selector("dialog.sheet", state="attached")
    page.get_by_role("button", name="More: skip, pause, someone else").click()
    page.wait_for_selector("dialog[open]")
    assert faults(page, FULL) == []


@pytest.mark.parametrize("name", [*SCREENS, "arm"])
def test_no_screen_has_a_fault(server, opening, face, name):
    """Every parked screen, all rules by day, contrast in the other lights."""
    page = face(name).page if name in faces.PAGES else open_screen(server, opening, name).page
    wrong = {"all": faults(page, FULL)}
    for light in LIGHTS[1:3]:
        set_light(page, light)
        wrong[light] = faults(page, CONTRAST)
    assert {key: found for key, found in wrong.items() if found} == {}
