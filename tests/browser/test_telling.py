"""What stands in the way of a drive is handed on in words, from the phone that found it."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

AT = "#/ready?recipe=f00d&source=simulator"
SAID = (
    "Two things to sort out\n"
    "Signals: Boost ends too low: this car shows manifold pressure only up to 255 kPa, the limit asked needs 262.\n"
    "Engine: Pedal comes 4 times a second, 8 are asked."
)
SHARES = """() => {
  window.shared = [];
  Object.defineProperty(Navigator.prototype, 'share', { configurable: true, writable: true, value: async ({ text }) => {
    window.tries = (window.tries ?? 0) + 1;
    if (window.refuses) throw new DOMException('no', window.refuses);
    window.shared.push(text);
  } });
}"""


@pytest.fixture
def blocked(opening, server):
    """Ready with two things in the way."""
    server.marks = "blocked"
    opened = opening(AT, permissions=["clipboard-read", "clipboard-write"])
    expect(opened.page.locator("h1")).to_have_text("Two things to sort out")
    return opened


def tell(page):
    """Taps what hands it on."""
    page.get_by_role("button", name="Tell the calibrator").click()


def test_it_is_copied_where_nothing_can_be_shared(blocked):
    """A laptop's browser: the sentences as they stand, and what to do with them."""
    tell(blocked.page)
    expect(blocked.page.locator(".telling [role=status]")).to_have_text("Copied. Paste it into a message.")
    assert blocked.page.evaluate("() => navigator.clipboard.readText()") == SAID
    assert blocked.complaints == []


def test_a_phone_hands_it_to_another_app(blocked):
    """The phone's own list of apps gets the same sentences; nothing is copied."""
    page = blocked.page
    page.evaluate(SHARES)
    tell(page)
    page.wait_for_function("() => window.shared.length === 1")
    assert page.evaluate("() => window.shared") == [SAID]
    expect(page.locator(".telling [role=status]")).to_be_hidden()


@pytest.mark.parametrize(
    ("how", "said"), [("AbortError", ""), ("NotAllowedError", "This phone did not take it. Read it out instead.")]
)
def test_what_was_not_handed_on_is_said(blocked, how, said):
    """A list of apps that was closed is no failure; one that never came is."""
    page = blocked.page
    page.evaluate(SHARES)
    page.evaluate("(how) => { window.refuses = how; }", how)
    tell(page)
    page.wait_for_function("() => window.tries === 1")
    expect(page.locator(".telling [role=status]")).to_have_text(said)
    page.evaluate("() => { window.refuses = null; }")
    tell(page)
    page.wait_for_function("() => window.shared.length === 1")
    expect(page.locator(".telling [role=status]")).to_have_text("")


def test_there_is_nothing_to_tell_of_a_car_that_is_ready(opening, server):
    """It is there only while something stands in the way."""
    opened = opening(AT)
    expect(opened.page.locator("h1")).to_have_text("The car is ready")
    expect(opened.page.get_by_role("button", name="Tell the calibrator")).to_be_hidden()
