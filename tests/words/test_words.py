"""The catalogue of words: every key is there, every line is short."""

from __future__ import annotations

import re
import string
from pathlib import Path

import pytest

from coach.catalogue import default_catalogue
from coach.core.events import Code, Event, Outcome
from coach.errors import NotFound
from coach.shown import Units, show
from coach.words import Words, best_language, inside, languages, load_words, words_table

LONGEST_NAMES = sorted({inside(s.short) for s in default_catalogue()}, key=lambda n: -len(n.split()))
GEARS = 9


def filled(text, name):
    fields = {field for _, field, _, _ in string.Formatter().parse(text) if field}
    values = {field: name if field in ("name", "Name") else "88" for field in fields}
    return text.format(**values)


def lines():
    """Every line of the big text, with where it stands."""
    for language in languages():
        face = words_table(language)["face"]
        for code, entry in face.items():
            texts = entry if code == "missed" else {"line": entry.get("line")}
            for key, text in texts.items():
                if text and not key.startswith(("caption", "aim", "speech")):
                    yield language, f"{code}.{key}", text


@pytest.mark.parametrize(("language", "key", "text"), list(lines()))
def test_lines_are_at_most_six_words(language, key, text):
    """With every signal's name filled in, in each language; and a line has no figures."""
    for name in LONGEST_NAMES:
        line = filled(text, name)
        assert len(line.split()) <= 6, line
    assert not re.search(r"\d", re.sub(r"\{\w+\}", "", text))


def test_every_reason_has_its_words():
    """A sentence, a short form and a remedy for each code."""
    words = load_words()
    for code in Code:
        for part in ("text", "short", "remedy"):
            assert f"reason.{code.value}.{part}" in words, (code, part)


def test_every_outcome_and_event_has_its_words():
    words = load_words()
    for outcome in Outcome:
        assert f"outcome.{outcome.value}" in words
    for event in Event.__args__:
        name = re.sub(r"(?<!^)(?=[A-Z])", "_", event.__name__).lower()
        assert f"event.{name}" in words, name


def test_codes_used_in_the_source_have_words():
    """Every face that the adviser can make is in the catalogue."""
    words = load_words()
    used = set()
    for path in (Path(__file__).parents[2] / "coach/advice").glob("*.py"):
        used |= set(re.findall(r'(?:make|amount)\(\s*"(\w+)"', path.read_text("utf-8")))
    assert len(used) > 20
    assert [code for code in used if f"face.{code}.line" not in words] == []


@pytest.mark.parametrize(
    ("number", "text"),
    [(0, "zero"), (7, "seven"), (19, "nineteen"), (20, "twenty"), (72, "seventy-two"), (100, "one hundred"),
     (118, "one hundred eighteen"), (1200, "one thousand two hundred"), (4600, "four thousand six hundred"),
     (-5, "minus five"), (12_000, "twelve thousand"), (1_000_000, "1000000")],
)  # fmt: skip
def test_numbers_in_words(number, text):
    assert load_words().spelled(number) == text


def test_ordinals():
    words = load_words()
    assert [words.ordinal(n) for n in (0, 1, 5, 99)] == ["neutral", "first", "fifth", "99"]


def test_names_inside_a_sentence():
    """Lower case, but for what is written in capitals."""
    assert inside("Coolant") == "coolant"
    assert inside("AFR") == "AFR"
    assert inside("") == ""


def test_missing_keys_are_errors_of_ours():
    words = load_words()
    with pytest.raises(KeyError):
        words("no.such.key")
    with pytest.raises(KeyError):
        words.either("no.such", "nor.this")
    assert words.get("face.hold_speed.line.deeper") is None
    assert words.either("no.such", "outcome.missed") == "missed"
    assert words.counted("verdict.small", 1) == "One shorter attempt is only counted."
    assert words.counted("verdict.small", 3) == "3 shorter attempts are only counted."
    assert words.counted("outcome.missed", 1) == "missed"


@pytest.mark.parametrize("language", ["xx", "../en", "page_en"])
def test_unknown_language_is_one_sentence(language):
    with pytest.raises(NotFound, match=r"there are: .*\ben\b"):
        load_words(language)


def test_parts_stand_under_their_own_names():
    """The plan's and the page's words are parts of the one catalogue."""
    table = words_table("en")
    assert {"face", "row", "reason", "verdict", "page"} <= set(table)
    assert isinstance(Words(table)("face.hold_speed.line"), str)


# --- languages


@pytest.mark.parametrize(
    ("accepted", "best"),
    [
        (None, "en"), ("", "en"), ("en-GB,en;q=0.9", "en"), ("xx", "en"), ("xx;q=1, en;q=0.1", "en"), ("en;q=0", "en"),
        (";;;q=x,,", "en"), ("*", "en"),
    ],
)  # fmt: skip
def test_the_language_that_is_liked_best_and_there(accepted, best):
    """As the header says it (RFC 9110, 12.5.4); English where there is none."""
    assert best_language(accepted) == best


def test_of_two_languages_the_heavier_is_taken(monkeypatch):
    monkeypatch.setattr("coach.words.languages", lambda: ["en", "qq"])
    assert best_language("en;q=0.5, qq-QQ;q=0.8") == "qq"
    assert best_language("en, qq") == "en"
    assert best_language("qq;q=0, en;q=0.1") == "en"


def test_a_signal_has_its_name_in_a_language():
    """Where the language has one; else as in the catalogue."""
    words = Words({"signals": {"road_speed": {"short": "Tempo", "states": {"1": "an"}}}}, "qq")
    assert words.of_signal("road_speed", "short", "Speed") == "Tempo"
    assert words.of_signal("road_speed", "title", "Road speed") == "Road speed"
    assert words.of_signal("gear", "short", "Gear") == "Gear"
    assert words.of_signal("road_speed", "states.1", "on") == "an"


@pytest.mark.parametrize(
    ("text", "written"),
    [
        ("0.95", "0,95"), ("-3.5", "-3,5"), ("±0.2", "±0,2"), ("13.8 V", "13,8 V"), ("24.8°", "24,8°"),
        ("0.5 %", "0,5 %"), ("12.1:1", "12,1:1"), ("88 km/h", "88 km/h"), ("14:32", "14:32"), ("0.1.0", "0.1.0"),
        ("2026.11.25", "2026.11.25"),
        ("2.0 TDI", "2.0 TDI"), ("Map 2.5", "Map 2.5"), ("v1.5", "v1.5"), ("drive-1.5.csv", "drive-1.5.csv"), ("", ""),
    ],
)  # fmt: skip
def test_a_number_is_written_as_its_language_writes_it(text, written):
    """A comma in German, alone or with its unit; names, versions, dates and files stay; in English nothing changes."""
    assert load_words("de").number(text) == written
    assert load_words().number(text) == text


def test_sentences_are_filled_with_numbers_of_their_language():
    """Text, float, or a number for a screen; whole numbers as they are."""
    german = Words({"decimal": ",", "a": "{x} gegen {y}"}, "de")
    assert german("a", x="0.95", y=1.5) == "0,95 gegen 1,5"
    assert german("a", x=show(2.5, "kPa", Units(pressure="bar"), decimals=3), y=3) == "0,025 bar gegen 3"
    assert Words({"a": "{x} against {y}"})("a", x="0.95", y=1.5) == "0.95 against 1.5"


def test_no_word_of_german_has_a_point_in_a_number():
    """What stands in the catalogue itself is written that way too."""
    text = [t for t in every(words_table("de")) if re.search(r"(?<![\d.])\d+\.\d+(?![\d.])", t) and "TLS" not in t]
    assert text == []


def every(table):
    """Every text of a catalogue."""
    if isinstance(table, str):
        yield table
    elif isinstance(table, dict | list):
        for one in table.values() if isinstance(table, dict) else table:
            yield from every(one)
