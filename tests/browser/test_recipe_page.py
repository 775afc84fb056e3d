"""What is asked, on the phone: who asks, and that a title stands unbroken."""

from __future__ import annotations

import json
import urllib.request

from playwright.sync_api import expect

from coach.assets import traces_root

OWN = "Comes with the program, to try it out."


def test_what_comes_with_the_program_is_nobodys_request(done, phone):
    """No warning that nobody signed it: it was not sent by anybody."""
    page = phone(done, f"#/recipe?sha={done.services.shelf.bundled[0]}", worker=False).page
    expect(page.get_by_text(OWN)).to_be_visible()
    expect(page.locator(".signer")).to_have_count(0)


def test_what_was_sent_without_a_signature_says_so(done, phone):
    """The same request, from outside: take it only from somebody you trust."""
    text = (traces_root() / "demo-recipe.toml").read_bytes().replace(b"revision = 2", b"revision = 3")
    request = urllib.request.Request(f"{done.url}/api/recipes", text, {"Content-Type": "application/toml"})
    with urllib.request.urlopen(request) as answer:
        sha = json.load(answer)["sha256"]
    page = phone(done, f"#/recipe?sha={sha}", worker=False).page
    expect(page.locator("[data-signer=unsigned]")).to_be_visible()
    expect(page.get_by_text(OWN)).to_have_count(0)


def test_a_short_word_with_a_hyphen_is_not_torn(done, phone):
    """The title's *roll-on* stands on one line at every width that it fits."""
    page = phone(done, f"#/recipe?sha={done.services.shelf.bundled[0]}", worker=False).page
    tied = page.locator("h1 .tied")
    expect(tied).to_have_text("roll-on, ")
    for width in (390, 360, 320, 280):
        page.set_viewport_size({"width": width, "height": 844})
        assert tied.evaluate("(e) => e.getClientRects().length") == 1, width
