"""What the server says follows the language that is asked for: drive, verdict, review, report, help pages."""

from __future__ import annotations

import json
import re

import pytest

from coach.assets import traces_root
from coach.recipe import load_recipe
from tests.words.test_languages import ENGLISH

GERMAN = {"Accept-Language": "de-DE,de;q=0.9,en;q=0.5"}
SERVER_TEXTS = ("line", "caption", "speech", "spare", "asked", "name", "text", "remedy", "sentence", "short", "never")
"""Under these keys an answer carries words for people that come from the catalogue."""


def said(made, titles, key=""):
    """Every text for people in an answer, without what the recipe's author wrote."""
    if isinstance(made, dict):
        for inner, value in made.items():
            if inner == "notes":
                continue  # remarks of sources, which are kept with the drive as they were made
            yield from said(value, titles, inner)
    elif isinstance(made, list):
        for value in made:
            yield from said(value, titles, key)
    elif isinstance(made, str) and key in SERVER_TEXTS:
        for title in titles:
            made = made.replace(title, "")
        yield made


@pytest.fixture
def titles():
    """What the author of the recipe wrote, which no catalogue translates."""
    parsed = load_recipe(traces_root() / "demo-recipe.toml")
    return sorted({parsed.title, parsed.note, *(c.title for c in parsed.captures)}, key=len, reverse=True)


def english_in(made, titles):
    """English words among what is said, each with its text."""
    return {text: set(ENGLISH.findall(text)) for text in said(made, titles) if ENGLISH.search(text)}


def test_before_the_drive_all_is_german(client, recipe, titles):
    """The recipe's sentences and what Ready says."""
    assert {"code": "de", "name": "Deutsch"} in client.get("/api/about").json["languages"]
    view = client.get(f"/api/recipes/{recipe}", headers=GERMAN).json
    assert view["captures"][0]["sentence"].startswith("72 bis 88 km/h in Gang fünf für ")
    assert english_in(view["captures"], titles) == {}
    query = {"recipe": recipe, "source": "replay:everything-qualifies"}
    marks = client.get("/api/ready", query_string=query, headers=GERMAN).json["marks"]
    assert next(m for m in marks if m["id"] == "room")["text"].startswith("Platz für")
    assert english_in(marks, titles) == {}


def test_a_drive_is_judged_and_reviewed_in_german(client, drive, titles):
    """Verdict and review of a drive that passed a limit: no English word in what the catalogue says."""
    made = drive("replay:limit-passed")
    verdict = client.get(f"/api/drives/{made.id}/attempts", headers=GERMAN).json
    assert "Grenzwert verletzt: Ladedruck, relativ" in json.dumps(verdict, ensure_ascii=False)
    assert english_in(verdict, titles) == {}
    review = client.get(f"/api/drives/{made.id}/review", headers=GERMAN).json
    assert english_in(review, titles) == {}


def test_a_report_is_in_the_language_that_is_asked_for(client, drive, titles):
    """By the header, or by name in its address, which a link needs; an unknown one is refused in a sentence."""
    made = drive("replay:everything-qualifies")
    base = f"/api/drives/{made.id}/report"
    german = client.get(base, headers=GERMAN).text
    assert '<html lang="de">' in german
    assert "Worauf dies beruht" in german
    assert "Motordrehzahl" in german
    assert client.get(f"{base}?language=de").text == german
    english = client.get(f"{base}?language=en", headers=GERMAN).text
    assert '<html lang="en">' in english
    assert "What this rests on" in english
    assert client.get(f"{base}?language=xx").status_code == 404
    text = re.sub(r"<(style|script|svg).*?</\1>|<[^>]+>", " ", german, flags=re.DOTALL)
    for title in titles:
        text = text.replace(title, "")
    assert set(ENGLISH.findall(text)) == set()


def test_one_screen_asks_in_two_languages(client, drive):
    """A drive that is kept between two questions is told to each in its own words."""
    made = drive("replay:everything-qualifies")
    ask = f"/api/drives/{made.id}/health"
    german, english = (client.get(ask, headers=h).json for h in (GERMAN, {"Accept-Language": "en"}))
    names = [{s["name"] for s in one["signals"]} for one in (german, english)]
    assert "Motordrehzahl" in names[0]
    assert "Engine speed" in names[1]


def test_the_stored_verdict_is_english_whoever_asks_first(client, drive):
    """What is kept, and goes into a bundle, is the same whoever asked first."""
    made = drive("replay:wrong-gear")
    ask = f"/api/drives/{made.id}/attempts"
    german = client.get(ask, headers=GERMAN).json
    english = client.get(ask, headers={"Accept-Language": "en"}).json
    assert german != english
    assert client.get(ask, headers=GERMAN).json == german
