"""The page in German: it follows the phone, every line of Drive fits in each size, and nothing of it is English."""

from __future__ import annotations

import re
from typing import Any

import pytest

from coach.catalogue import default_catalogue
from coach.words import load_words, own_words
from tests.browser.conftest import shoot
from tests.browser.faces import FACES, PAGES, WHOLE, copy
from tests.browser.test_screens import CUT, FITS, IN_VIEW, SCREENS, open_screen
from tests.words.test_languages import ENGLISH, bare, leaves

GERMAN = {"locale": "de-DE"}
TIGHTEST = ((390, 844), (390, 664), (320, 568), (844, 390), (740, 360), (195, 422))
"""The phone, short, small, in a holder (twice), and text at 200 %."""
MEASURED = """([selector, texts]) => {
  const box = document.querySelector(selector), old = box.textContent, broken = new Set(), rows = {};
  const word = document.createElement('span');
  word.style.setProperty('white-space', 'nowrap');
  const range = document.createRange();
  for (const text of texts) {
    box.textContent = text;
    range.selectNodeContents(box);
    rows[text] = new Set([...range.getClientRects()].map((r) => Math.round(r.top))).size;
    for (const one of text.split(' ')) {
      word.textContent = one;
      box.replaceChildren(word);
      if (word.getBoundingClientRect().width > box.clientWidth + 0.5) broken.add(one);
    }
  }
  box.textContent = old;
  return {rows, broken: [...broken]};
}"""
"""On how many lines each text stands, and which words are wider than a line."""
OF_NO_CATALOGUE = {
    "to go. Next, full pedal: head for the closed course.": "offen. Dann Vollgas: nur gesperrte Strecke.",
    "short. 91 km/h against 88. Settle near 80.": "fehlten. 91 km/h statt 88. Nahe 80 einpendeln.",
    "The disk is full. What was stored stays.": "",
}
"""Captions of canned faces that are put together of several sentences, or are a server's own."""
SMALL = ((320, 568), (740, 360), (195, 422))
LOOKED_AT = [name for name in FACES if name not in {*PAGES, "approach", "nudge", "steer-low", "paused", "not-kept"}]
"""Every face but those that are laid out like another one."""
ALARMS = ("limit_pedal", "limit_temperature", "limit_speed", "limit_other")


def lines(language):
    """Every line that Drive can show outside an alarm, with the longest signal name that it may carry."""
    longest = max((load_words(language).short(s) for s in default_catalogue()), key=len)
    made = []
    for code, entry in own_words(language)["face"].items():
        parts = entry if code == "missed" else {"line": entry.get("line")}
        for key, text in parts.items():
            if text and code not in ALARMS and not key.startswith(("caption", "aim", "speech")):
                made.append(text.format(name=longest))
    return [*made, own_words(language)["page"]["car"]["lost"]["line"]]


def pattern(text):
    """What a sentence of the catalogue looks like once it is filled in."""
    parts = re.split(r"\{(\w+)\}", text)
    names: dict[str, int] = {}
    made = ""
    for place, part in enumerate(parts):
        if place % 2 == 0:
            made += re.escape(part)
        else:
            made += f"(?P={part})" if part in names else rf"(?P<{part}>(?:(?!\. ).)+?)"
            names[part] = place
    return re.compile(made)


class Translated:
    """Canned English states as a German phone is sent them: each text is found in one catalogue, said by the other."""

    def __init__(self) -> None:
        english, german = own_words("en"), own_words("de")
        both = [(k, text, dict(leaves(german[part])).get(k)) for part in ("face", "row", "outcome", "reason")
                for k, text in leaves(english[part])]  # fmt: skip
        self.known = dict(zip(english["ordinals"], german["ordinals"], strict=True))
        self.known |= {s.short: load_words("de").short(s) for s in default_catalogue()}
        self.known |= dict(zip(english["numbers"]["small"], german["numbers"]["small"], strict=True))
        found = [(text, other) for _, text, other in both if other and re.search(r"[a-z]", bare(text))]
        self.patterns = [(pattern(text), other) for text, other in sorted(found, key=lambda p: -len(bare(p[0])))]

    def text(self, text: str) -> str:
        """One text in German; itself where the catalogue has none."""
        plain = text[:1].upper() + text[1:]
        for one in (text, plain):
            if one in self.known:
                return self.known[one]
        for looks, other in self.patterns:
            if found := looks.fullmatch(text):
                return other.format(**{k: self.text(v) for k, v in found.groupdict().items()})
        halves = [half.strip() for half in re.findall(r"[^.]+\.", text)]
        if len(halves) > 1:
            return " ".join(self.text(half) for half in halves)
        return text

    def state(self, made: Any) -> Any:
        """A whole state."""
        if isinstance(made, dict):
            kept = ("id", "code", "kind", "signal", "ground", "mark", "rank", "number_kind", "place", "phase", "title",
                    "status", "swept", "source", "recipe", "gate", "outcome")  # fmt: skip
            return {k: v if k in kept else self.state(v) for k, v in made.items()}
        if isinstance(made, list):
            return [self.state(one) for one in made]
        return self.text(made) if isinstance(made, str) and re.search(r"[a-z]{2}", made) else made


@pytest.fixture(scope="module")
def translated():
    return Translated()


@pytest.fixture
def german(face, translated, monkeypatch):
    """Opens Drive on a German phone with a face of `faces.py` in German."""

    def open_german(name):
        made = copy(name)
        made["face"]["caption"] = OF_NO_CATALOGUE.get(made["face"]["caption"], made["face"]["caption"])
        made = translated.state(made)
        if made.get("trouble"):
            made["trouble"]["text"] = ""
        monkeypatch.setitem(FACES, name, made)
        return face(name, **GERMAN)

    return open_german


def test_every_german_line_fits(face):
    """On the two lines that there are, no word cut in two; where English takes a third one, German may too."""
    page = face("hold", **GERMAN).page
    assert page.evaluate("() => document.documentElement.lang") == "de"
    for width, height in TIGHTEST:
        page.set_viewport_size({"width": width, "height": height})
        measured = page.evaluate(MEASURED, [".words", lines("de")])
        assert measured["broken"] == [], (width, height)
        most = 3 if width > 195 else max(2, *page.evaluate(MEASURED, [".words", lines("en")])["rows"].values())
        bare = 2 if width not in {740, 195} else most
        long = {text for text in lines("de") if ":" in text}
        assert [t for t, rows in measured["rows"].items() if rows > (most if t in long else bare)] == [], (
            width,
            height,
        )


def test_every_german_alarm_fits(german):
    """The whole screen says it in three lines at most, unbroken, and the way out stays in view."""
    page = german("limit").page
    texts = [own_words("de")["face"][code]["line"] for code in ALARMS]
    for width, height in TIGHTEST:
        page.set_viewport_size({"width": width, "height": height})
        measured = page.evaluate(MEASURED, [".alarm .words", texts])
        assert measured["broken"] == [], (width, height)
        assert max(measured["rows"].values()) <= 3, (width, height)
        for text in texts:
            page.locator(".alarm .words").evaluate("(box, text) => { box.textContent = text; }", text)
            assert page.evaluate(IN_VIEW, ".acts button"), (text, width, height)


@pytest.mark.parametrize("name", LOOKED_AT)
def test_a_german_face_stands(german, name):
    """Each face of Drive is German and fits 320 px, a holder and text at 200 %; Stop is in view."""
    opened = german(name)
    page = opened.page
    shown = re.sub("|".join(map(re.escape, ("Steady part load", "Full pedal in fourth", "Warm idle"))), "",
                   page.inner_text("body"))  # fmt: skip
    assert set(ENGLISH.findall(shown)) == set(), shown
    shoot(page, f"de-drive-{name}")
    for width, height in SMALL:
        page.set_viewport_size({"width": width, "height": height})
        shoot(page, f"de-drive-{name}-{width}x{height}")
        assert page.evaluate(FITS), f"it scrolls sideways at {width}x{height}"
        assert page.evaluate(CUT) == [], f"{width}x{height}"
        assert page.evaluate(IN_VIEW, ".acts button" if name in WHOLE else ".bar button"), f"{width}x{height}"
    assert opened.complaints == []


@pytest.mark.parametrize("name", ["notes", "who", "sound"])
def test_a_german_parked_screen_stands(server, opening, name):
    """Parked screens whose words are long fit too."""
    opened = open_screen(server, opening, name, **GERMAN)
    for width, height in SMALL:
        opened.page.set_viewport_size({"width": width, "height": height})
        assert opened.page.evaluate(FITS), f"it scrolls sideways at {width}x{height}"
        assert opened.page.evaluate(CUT) == [], f"{width}x{height}"
    assert name in SCREENS
    assert opened.complaints == []


def test_the_voice_is_german_and_of_the_phone(face):
    """Of all voices the phone's own German one speaks; one from the network never does."""
    page = face("hold", **GERMAN).page
    chosen = page.evaluate(
        """async () => {
          const voices = [['en-GB', true, true], ['de-DE', false, true], ['de-AT', true, false]]
            .map(([lang, localService, standard]) => ({lang, localService, default: standard, name: lang}));
          Object.defineProperty(globalThis, 'speechSynthesis', {configurable: true,
            value: {getVoices: () => voices, addEventListener() {}, speak() {}, cancel() {}}});
          const { Voice } = await import('/js/speech.js');
          return new Voice(() => {}, () => {}).voice?.lang;
        }"""
    )
    assert chosen == "de-AT"


def test_a_language_that_was_chosen_goes_before_the_phones_own(opening):
    """German chosen on an English phone is kept, and the other way round."""
    for locale, chosen in (("en-IE", "de"), ("de-DE", "en")):
        page = opening("#/", locale=locale).page
        assert page.evaluate("() => document.documentElement.lang") == locale[:2]
        page.evaluate("(chosen) => localStorage.setItem('language', chosen)", chosen)
        page.reload()
        page.wait_for_function("(chosen) => document.documentElement.lang === chosen", arg=chosen)
