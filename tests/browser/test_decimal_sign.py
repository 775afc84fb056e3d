"""Numbers are written as the language writes them, wherever they come from; what a program reads keeps its points."""

from __future__ import annotations

import re

import pytest

from tests.browser.conftest import LOCALE

POINT = re.compile(r"(?<![\d.:])\d+\.\d+(?![\d.])")
COMMA = re.compile(r"(?<![\d,])\d+,\d+(?![\d,])")
OWN = re.compile(r"\d+ gaps? of more than [^.]*\.\d+[^.]*\.\d+ s")
"""A note of a table's reader, in English for every language."""
SCREENS = {
    "after": ("#/after?drive={id}", ".rests dd"),
    "window": ("#/window?drive={id}&capture=roll-on&number=0", "table.fig td"),
    "figures": ("#/figures?drive={id}&capture=roll-on&number=0", ".figures .group"),
    "power": ("#/power?drive={id}&capture=roll-on&number=0", ".inputs dd"),
    "health": ("#/health?drive={id}", ".grid td"),
    "send": ("#/send?drive={id}", ".switches small"),
    "recipe": ("#/recipe?sha={sha}", ".item h2"),
}
TEXT = """() => {
  for (const one of document.querySelectorAll('details')) one.open = true;
  return document.querySelector('main').innerText;
}"""


def text_of(phone, done, name, **options):
    """All that stands on a screen, with what can be opened opened."""
    address, wait = SCREENS[name]
    sha = done.services.shelf.bundled[0]
    page = phone(done, address.format(id=done.id, sha=sha), worker=False, **options).page
    page.locator(wait).first.wait_for(state="attached")
    return OWN.sub("", page.evaluate(TEXT))


@pytest.mark.parametrize("name", SCREENS)
def test_german_has_a_comma(phone, done, name):
    """No number on the screen has a point, be it from the page itself or in a sentence of the server."""
    text = text_of(phone, done, name, locale="de-DE")
    assert POINT.findall(text) == []
    if name not in ("recipe", "send"):
        assert COMMA.search(text)


@pytest.mark.parametrize("name", ["window", "figures"])
def test_english_has_a_point(phone, done, name):
    """The same screens in English."""
    text = text_of(phone, done, name, locale=LOCALE)
    assert POINT.search(text)
    assert COMMA.findall(text) == []


def test_one_function_writes_them(phone, done):
    """As many places as are asked for, no groups of thousands, no minus before nothing; by the page's own language."""
    for locale, wanted in (("de-DE", ["1234567,5", "0,50", "0", "-3,1"]), (LOCALE, ["1234567.5", "0.50", "0", "-3.1"])):
        page = phone(done, worker=False, locale=locale).page
        made = page.evaluate(
            """async () => {
              const { decimal, figure, t } = await import('/js/words.js');
              return [decimal(1234567.5), decimal(0.5, 2), decimal(-0.04, 0), decimal(-3.14, 1), figure(1.5)];
            }"""
        )
        assert made[:-1] == wanted
        assert made[-1] == ("1,50" if locale == "de-DE" else "1.50")


def test_what_a_program_reads_keeps_its_points(phone, done):
    """A table and JSON are the same in every language."""
    page = phone(done, worker=False, locale="de-DE").page
    ask = "(path) => fetch(path, { headers: { 'accept-language': 'de' } }).then((answer) => answer.text())"
    table = page.evaluate(ask, f"api/drives/{done.id}/windows/part-load/0.csv")
    assert POINT.search(table.splitlines()[5])
    assert not re.search(r'"', table.splitlines()[5])
    assert '"duration_s":' in page.evaluate(ask, f"api/drives/{done.id}/attempts")
