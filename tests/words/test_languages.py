"""Every language that is there is complete, keeps what English says, and speaks numbers by its own rules."""

from __future__ import annotations

import re
import string
from itertools import pairwise

import pytest

from coach.catalogue import default_catalogue
from coach.words import Words, best_language, languages, load_words, own_words, words_table

OTHERS = [one for one in languages() if one != "en"]
OWN = ("signals.", "numbers.", "names_inside")
"""What a language has for itself alone: signals have their English names in the catalogue, numbers are put together
its way, and names inside a sentence keep their capital or not."""
SAME = {
    "bar", "CSV", "Android", "Diesel", "Ethanol", "Gas", "iPad", "iPhone", "Linux", "Log capture coach", "Mac", "MB",
    "Name", "Revision", "Signal", "Simulator", "Start", "Hz", "TOML", "VIN", "GB", "in", "kB", "km", "km/h bar",
    "km/h kPa", "kPa", "kW", "min", "mm", "mph psi", "p s i", "s", "rpm", "Nm",
}  # fmt: skip
"""Words that are the same in English and German, names and units."""
ENGLISH = re.compile(
    r"\b(the|and|of|is|with|from|for|are|this|that|your|you|it|or|its|has|have|were|does|than|only|more|less|left|"
    r"speed|gear|drive|engine|never|there|nothing|here|which|what|who)\b",
    re.IGNORECASE,
)
"""Frequent English words that are no German ones."""
TOML_KEYS = re.compile(r"(coach [a-z -]+|log-capture-coach|\w+\.(json|toml|csv|html|bin)|--\w+|speed_\w+|road_\w+)")


def leaves(table, path=""):
    """Every sentence with its dotted key; those in lists by their places."""
    if isinstance(table, dict):
        for key, value in table.items():
            yield from leaves(value, f"{path}.{key}" if path else key)
    elif isinstance(table, list):
        for place, value in enumerate(table):
            yield from leaves(value, f"{path}.{place}")
    else:
        yield path, table


def sentences(language):
    return {key: text for key, text in leaves(own_words(language)) if not key.startswith(OWN)}


def places(text):
    """The places in a sentence that are filled in, with how they are written."""
    return sorted((field, spec) for _, field, spec, _ in string.Formatter().parse(text) if field)


def bare(text):
    """A sentence without its places and signs."""
    return re.sub(r"\{[^}]*\}", "", text).strip(" \n.,:;–…+-()%°CF×²/=*\"'")


@pytest.mark.parametrize("language", OTHERS)
def test_a_language_has_every_key_of_english_and_no_other(language):
    """What would be said in English is named here: nothing may be; lists are as long."""
    english, other = sentences("en"), sentences(language)
    assert sorted(set(english) - set(other)) == [], "missing"
    assert sorted(set(other) - set(english)) == [], "too many"


@pytest.mark.parametrize("language", OTHERS)
def test_a_sentence_has_the_places_that_it_has_in_english(language):
    """None is lost and none is never filled; what shows a recipe's own braces has none."""
    english, other = sentences("en"), sentences(language)
    both = [key for key in english if key in other and not key.startswith("check.")]
    assert [(key, other[key]) for key in both if places(english[key]) != places(other[key])] == []


@pytest.mark.parametrize("language", OTHERS)
def test_nothing_was_left_in_english(language):
    """A sentence that reads as in English is made of names, units and words that both have."""
    english, other = sentences("en"), sentences(language)
    same = {key: text for key, text in other.items() if english.get(key) == text and bare(text)}
    assert {key: text for key, text in same.items() if bare(text) not in SAME} == {}


def test_no_german_sentence_has_english_words_in_it():
    found = {}
    for key, text in sentences("de").items():
        plain = TOML_KEYS.sub("", re.sub(r"\{[^}]*\}", "", text))
        words = set(ENGLISH.findall(plain))
        if words and bare(text) not in SAME and not key.startswith("check."):
            found[key] = words
    assert found == {}


@pytest.mark.parametrize("language", OTHERS)
def test_marks_at_the_ends_stay(language):
    """A blank or a sign that joins pieces of a sentence is there in each language."""
    english, other = sentences("en"), sentences(language)
    for key in set(english) & set(other):
        for cut in (str.lstrip, str.rstrip):
            assert (cut(english[key]) == english[key]) == (cut(other[key]) == other[key]), key


@pytest.mark.parametrize("language", OTHERS)
def test_every_signal_has_its_names(language):
    """Title, short name and states of each signal of the catalogue, the short one fit for a row."""
    words = load_words(language)
    catalogue = default_catalogue()
    for signal in catalogue:
        assert isinstance(words.get(f"signals.{signal.name}.title"), str), signal.name
        assert len(words.short(signal)) <= max(12, len(signal.short)), signal.name
        states = {str(value) for value, _ in signal.states}
        assert set(words.get(f"signals.{signal.name}.states") or {}) == states, signal.name
    assert set(own_words(language)["signals"]) == {signal.name for signal in catalogue}


def test_what_a_language_lacks_is_said_in_english(monkeypatch):
    """Also below the top, and in lists as a whole."""
    words_table.cache_clear()
    monkeypatch.setattr(
        "coach.words.own_words",
        lambda language: {"en": {"a": {"b": "B", "c": "C"}, "l": ["x", "y"]}, "qq": {"a": {"b": "Q"}}}[language],
    )
    assert words_table("qq") == {"a": {"b": "Q", "c": "C"}, "l": ["x", "y"]}
    words_table.cache_clear()


def test_a_browser_that_prefers_german_gets_it():
    """By its header, whatever the country."""
    assert best_language("de-AT,de;q=0.9,en;q=0.8") == "de"
    assert best_language("en-IE,en;q=0.9,de;q=0.8") == "en"


def test_names_inside_a_german_sentence_keep_their_capital():
    """Nouns do; English names lose theirs."""
    assert load_words("de").inside("Kühlmittel") == "Kühlmittel"
    assert load_words("en").inside("Coolant") == "coolant"


# --- numbers

GERMAN = {
    "null": 0, "eins": 1, "zwei": 2, "drei": 3, "vier": 4, "fünf": 5, "sechs": 6, "sieben": 7, "acht": 8, "neun": 9,
    "zehn": 10, "elf": 11, "zwölf": 12, "dreizehn": 13, "vierzehn": 14, "fünfzehn": 15, "sechzehn": 16, "siebzehn": 17,
    "achtzehn": 18, "neunzehn": 19,
}  # fmt: skip
TENS = {
    "zwanzig": 20, "dreißig": 30, "vierzig": 40, "fünfzig": 50, "sechzig": 60, "siebzig": 70, "achtzig": 80,
    "neunzig": 90,
}  # fmt: skip


def heard(text):
    """A German numeral below a thousand as a number, by the rules of the language (from memory).

    Hundreds first, then ones, `und`, tens, all one word; 1 is `ein` before another word and `eins` at the end.
    """
    hundreds, mark, rest = text.partition("hundert")
    if not mark:
        hundreds, rest = "", text
    value = 100 * before(hundreds) if mark else 0
    if mark and not rest:
        return value
    ones, und, tens = rest.rpartition("und")
    if und:
        return value + before(ones) + TENS[tens]
    return value + (TENS[rest] if rest in TENS else GERMAN[rest])


def before(word):
    """A digit that something follows in the same word."""
    assert word != "eins"
    return 1 if word == "ein" else {w: n for w, n in GERMAN.items() if 2 <= n <= 9}[word]


def test_german_numbers_are_heard_as_what_they_are():
    """0 to 999, each understood by the rules of the language, each another word."""
    words = load_words("de")
    said = [words.spelled(n) for n in range(1000)]
    assert [heard(text) for text in said] == list(range(1000))
    assert len(set(said)) == 1000


@pytest.mark.parametrize(
    ("number", "text"),
    [(1, "eins"), (16, "sechzehn"), (17, "siebzehn"), (21, "einundzwanzig"), (30, "dreißig"), (72, "zweiundsiebzig"),
     (100, "einhundert"), (101, "einhunderteins"), (211, "zweihundertelf"), (1001, "eintausendeins"),
     (1100, "eintausendeinhundert"), (2450, "zweitausendvierhundertfünfzig"), (21_000, "einundzwanzigtausend"),
     (101_000, "einhunderteintausend"), (-5, "minus fünf"), (-2_000_000, "-2000000")],
)  # fmt: skip
def test_german_numerals(number, text):
    assert load_words("de").spelled(number) == text


def test_a_thousand_is_said_as_the_thousands_before_it_say():
    """Above a thousand: the same words as below, with `tausend` between; and no two numbers sound alike."""
    words = load_words("de")
    for number in range(1000, 1_000_000, 7919):
        many, rest = divmod(number, 1000)
        front, mark, back = words.spelled(number).partition("tausend")
        assert mark
        assert heard(re.sub(r"ein$", "eins", front)) == many
        assert (heard(back) if back else 0) == rest
    assert all(words.spelled(a) != words.spelled(b) for a, b in pairwise(range(990, 1010)))


def test_a_language_may_list_every_number_below_a_hundred():
    """Where tens are irregular nothing is put together; the table says so by its length."""
    table = {"numbers": {**own_words("en")["numbers"], "small": [f"n{n}" for n in range(100)]}}
    assert [Words(table, "qq").spelled(n) for n in (71, 99, 171)] == ["n71", "n99", "n1 hundred n71"]


def test_gears_fit_into_german_sentences():
    """A gear has one form that stands wherever a gear is named, so that no ending can be wrong."""
    words = load_words("de")
    assert [words.ordinal(n) for n in (0, 1, 5)] == ["Leerlauf", "Gang eins", "Gang fünf"]
    assert words("face.change_up.speech", asked=words.ordinal(5)) == "Hochschalten, auf Gang fünf."
    assert (
        words("reason.high.short_gear", Value=words.ordinal(4), bound=words.ordinal(5)) == "Gang vier, nicht Gang fünf."
    )


@pytest.mark.parametrize("language", OTHERS)
def test_every_unit_that_is_spoken_has_its_words(language):
    """The same units as in English."""
    assert set(own_words(language)["spoken_units"]) == set(own_words("en")["spoken_units"])
    assert len(own_words(language)["ordinals"]) == len(own_words("en")["ordinals"])


# --- safety

NOTES = """Wer gerade fährt, hält dieses Telefon niemals.
Das Gesetz bestimmt das Tempo. Lassen Straße oder Verkehr es nicht zu, tun Sie es nicht.
Vollgas: abgesperrte Strecke oder Prüfstand. Niemals auf einer öffentlichen Straße. \
Wir fragen noch einmal, bevor es beginnt.
Leerlauf im Freien. Abgas tötet, auch in einer Garage mit offenem Tor. In Räumen nur mit Absaugung.
Warnleuchte, Geruch oder Geräusch: anhalten. Halten Sie an, wo es sicher ist. Fragen Sie eine zugelassene Fachwerkstatt.
Der Fahrer fährt nur. Zuhören, niemals hinsehen. Stopp beendet es jederzeit.
Das örtliche Recht geht vor. Wo es dies verbietet, tun Sie es nicht. Diese Seite ersetzt keine zugelassene Fachkraft.
Lassen Sie den Motor sich erholen. Leuchtet eine Warnleuchte, halten Sie an, wo es sicher ist.
Das Auto fährt Gesperrt. Geben Sie das Telefon einem Mitfahrer. Sie hören, was zu tun ist."""
"""The safety notes in German, sentence for sentence what the English ones say."""


def test_german_safety_notes_are_to_the_letter():
    """Nobody changes one of them by the way; each has as many sentences as in English."""
    shown = {}
    for language in ("en", "de"):
        words = load_words(language)
        notes = [words("page.parked.who.text")]
        notes += [
            f"{words(f'page.parked.notes.{code}')} {words(f'page.parked.notes.{code}_text')}"
            for code in ("law", "closed_course", "open_air", "warning_lamp", "driver_drives")
        ]
        notes += [words("page.parked.notes.law_first"), words("page.car.alarm.then")]
        notes.append(f"{words('page.car.locked.line')} {words('page.car.locked.text')}")
        shown[language] = notes
    assert shown["de"] == NOTES.splitlines()
    assert [note.count(".") for note in shown["de"]] == [note.count(".") for note in shown["en"]]


@pytest.mark.parametrize(
    ("code", "line"),
    [("limit_pedal", "Fuß vom Gas"), ("limit_temperature", "Gas weg, abkühlen lassen"),
     ("limit_speed", "Jetzt langsamer"), ("limit_other", "Anhalten, wo es sicher ist"),
     ("limit_ahead", "Jetzt Gas wegnehmen"), ("full_pedal", "Vollgas, wenn alles frei")],
)  # fmt: skip
def test_german_lines_that_matter_most(code, line):
    """What is shown and what is said are the same words."""
    words = load_words("de")
    assert words(f"face.{code}.line") == line
    assert words(f"face.{code}.speech") == f"{line}."
