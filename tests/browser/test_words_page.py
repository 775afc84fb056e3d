"""The page's texts: in one place, none missing, short where read in the car, exact where they are about safety."""

from __future__ import annotations

import re

import pytest

from coach.assets import web_root
from coach.server.shell import WORDS
from coach.words import Words, languages, words_table

SECTIONS = [Words(words_table()).get(section) for section in WORDS]
PAGE = {key: table for section in SECTIONS for key, table in section.items()}
SCRIPTS = sorted((web_root() / "js").rglob("*.js"))
CALL = re.compile(r"""(?<![\w.])(?:t|has)\(\s*["']([\w.]+)["']""")
CHOICE = re.compile(
    r"""\b(?:t|button|link|stopButton)\((?:[^()"'`]|\([^()]*\))*\?\s*["']([\w]+\.[\w]+)["']\s*:\s*["']([\w]+\.[\w]+)["']"""
)
LINES = ("lost.line", "lost.stop", "locked.line")
COPY = """A driver who is moving never holds this phone.
The law sets the speed. If the road or the traffic does not allow it, do not do it.
Full pedal: closed course or dyno. Never on a public road. We ask again before it starts.
Idle in the open air. Exhaust gas kills, also in a garage with the door open. Indoors only with extraction.
Warning lamp, smell or noise: stop. Stop where it is safe. Ask a licensed mechanic.
The driver only drives. Listen, never look. Stop ends it at any time.
Local law comes first. Where it forbids this, do not do it. This page does not replace a licensed professional.
Let the engine settle. If a warning lamp is on, stop where it is safe.
The car is moving Locked. Give the phone to a passenger. You will hear what to do."""
"""The safety notes, to the letter."""


def look_up(key):
    """The text under a dotted key, or None."""
    found = PAGE
    for part in key.split("."):
        found = found.get(part) if isinstance(found, dict) else None
    return found


@pytest.mark.parametrize("script", SCRIPTS, ids=lambda path: path.name)
def test_every_text_that_a_script_asks_for_is_there(script):
    """No key that stands in a script is missing from the catalogue."""
    text = script.read_text("utf-8")
    keys = set(CALL.findall(text)) | {key for pair in CHOICE.findall(text) for key in pair}
    assert sorted(key for key in keys if not isinstance(look_up(key), str)) == []


@pytest.mark.parametrize("script", SCRIPTS, ids=lambda path: path.name)
def test_no_script_holds_a_sentence(script):
    """Sentences stand in the catalogue, so that they can be translated: no script has one in quotes."""
    code = re.sub(r"//[^\n]*|/\*.*?\*/", "", script.read_text("utf-8"), flags=re.DOTALL)
    assert re.findall(r"""["'`][A-Z][a-z]+(?: [a-z]+)+[.!?]?["'`]""", code) == []


def test_what_drive_needs_is_in_its_half():
    """Drive loads only the texts of `car`: no part that it draws asks for another, and the halves share no key."""
    halves = words_table()["page"]
    assert not set(halves["car"]) & set(halves["parked"])
    names = ("bar", "instruction", "lane", "rows", "sheet", "strip", "trail", "whole")
    scripts = [web_root() / f"js/parts/{name}.js" for name in names] + [
        web_root() / "js/screens/drive.js",
        web_root() / "js/live.js",
    ]
    asked = {key.split(".")[0] for script in scripts for key in CALL.findall(script.read_text("utf-8"))}
    # A device that only watches has loaded one more section before Drive is drawn.
    assert asked <= set(halves["car"]) | {"watching"}


@pytest.mark.parametrize("language", languages())
def test_lines_read_in_the_car_have_six_words_at_most(language):
    """The page's own instructions are as short as the server's, in each language."""
    car = Words(words_table(language))
    assert [key for key in LINES if len(car(f"page.car.{key}").split()) > 6] == []


def test_safety_notes_are_to_the_letter():
    """Each safety note is word for word what was agreed on."""
    notes = PAGE["notes"]
    shown = [PAGE["who"]["text"]]
    shown += [
        f"{notes[code]} {notes[f'{code}_text']}"
        for code in ("law", "closed_course", "open_air", "warning_lamp", "driver_drives")
    ]
    shown += [notes["law_first"], PAGE["alarm"]["then"], f"{PAGE['locked']['line']} {PAGE['locked']['text']}"]
    assert shown == COPY.splitlines()
