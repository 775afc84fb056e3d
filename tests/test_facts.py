"""Facts that a person declares: what each may be, and how they stand among a drive's marks."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.errors import BadInput
from coach.facts import FACTS, check_fact, check_facts, confirmed_revision, fact_marks, facts_of
from coach.recording import Mark
from coach.words import languages, load_words

GOOD = {
    "fuel": "petrol", "octane": "98", "ethanol": "5", "plug_age": "30000", "plug_gap": "0.7",
    "tyre_size": "225/45 R17", "tyre_pressure": "240", "parts_changed": "charge pipe, none else", "people_aboard": "2",
    "fuel_level": "75", "same_road": "yes",
}  # fmt: skip


def test_every_fact_can_be_said():
    assert check_facts(dict(reversed(GOOD.items()))) == GOOD
    assert list(check_facts(dict(reversed(GOOD.items())))) == [fact.name for fact in FACTS]


@pytest.mark.parametrize(
    ("name", "value", "says"),
    [
        ("octane", "12", "80 to 120 RON"), ("octane", "98,5", "a number"), ("octane", "1e2", "a number"),
        ("octane", "nan", "a number"), ("plug_gap", "7", "0.2 to 2 mm"), ("people_aboard", "0", "1 to 9"),
        ("fuel", "coal", "petrol, diesel"), ("tyre_size", "big", "225/45R17"), ("parts_changed", " ", "one line"),
        ("parts_changed", "a\nb", "one line"), ("parts_changed", "x" * 201, "one line"),
        ("colour", "red", "fuel, octane"),
    ],
)  # fmt: skip
def test_what_cannot_be_gets_one_sentence(name, value, says):
    """With where it is, and what would be right."""
    with pytest.raises(BadInput, match=says) as caught:
        check_fact(name, value)
    assert caught.value.where == f"facts.{name}"


@given(st.dictionaries(st.sampled_from(sorted(GOOD)), st.just(""), max_size=11), st.integers(0, 99))
def test_marks_carry_them_there_and_back(chosen, revision):
    """Whatever was declared, with the revision that it was confirmed for."""
    facts = {name: GOOD[name] for name in chosen}
    marks = fact_marks(facts, revision)
    assert facts_of(marks) == facts
    assert confirmed_revision(marks) == revision
    assert confirmed_revision(fact_marks(facts, None)) is None


def test_a_later_word_stands():
    """And marks of other kinds, and facts of a later version, are not looked at."""
    marks = [
        Mark(0, "fact", None, "octane=95"), Mark(5, "fact", None, "octane=98"), Mark(6, "role", None, "octane=91"),
        Mark(7, "fact", None, "moon=full"), Mark(8, "fact", None, "parts_changed=a=b"),
    ]  # fmt: skip
    assert facts_of(marks) == {"octane": "98", "parts_changed": "a=b"}
    assert facts_of(None) == {}
    assert confirmed_revision([Mark(0, "fact", None, "confirmed=two")]) is None


@pytest.mark.parametrize("language", languages())
def test_every_fact_has_its_words(language):
    """A name and what exactly is meant; each choice too."""
    words = load_words(language)
    for fact in FACTS:
        parts = ["name", "ask", *fact.choices]
        assert [p for p in parts if f"facts.{fact.name}.{p}" not in words] == []
