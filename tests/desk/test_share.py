"""A recipe in a link: byte for byte the same, bounded, and readable by others."""

from __future__ import annotations

import base64
import hashlib
import zlib
from contextlib import suppress

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.desk.share import FORM, MOST_MODULES, ROUTE, code, link, pack, unpack
from coach.errors import BadInput
from coach.recipe.shape import MAX_BYTES
from tests.recipe.making import EXAMPLE

TEXT = EXAMPLE.encode()


@given(st.binary(max_size=3000))
def test_what_is_packed_comes_back(data):
    """Any bytes, and only characters that a fragment takes as they are (RFC 3986: unreserved)."""
    text = pack(data)
    assert unpack(text) == data
    assert all(c.isascii() and (c.isalnum() or c in "-._~") for c in text)


def test_others_can_read_it():
    """Raw deflate in URL-safe Base64: read here with the standard library's one-call forms."""
    body = pack(TEXT).removeprefix(FORM)
    assert zlib.decompress(base64.urlsafe_b64decode(body + "=" * (-len(body) % 4)), wbits=-15) == TEXT


def test_a_link_is_the_page_and_the_fragment():
    """Nothing of the recipe stands before the #."""
    url = link(TEXT, "http://localhost:8765")
    before, _, _ = url.partition("#")
    assert before == "http://localhost:8765/"
    assert unpack(url) == TEXT
    assert unpack(f"  {url}\n") == TEXT


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("", "carries no recipe"),
        ("2.abc", "carries no recipe"),
        ("https://example.invalid/#/drive", "carries no recipe"),
        (FORM, "cut off"),
        (FORM + "!!!", "damaged"),
        (FORM + "A", "damaged"),
        (FORM + "____", "damaged"),
        (pack(TEXT)[:-40], "cut off"),
        (pack(TEXT) + "AAAA", "cut off"),
        (FORM + ROUTE, "carries no recipe"),
    ],
)
def test_a_bad_link_gets_one_sentence(text, sentence):
    """Never a traceback, whatever was pasted."""
    with pytest.raises(BadInput, match=sentence):
        unpack(text)


def test_a_bomb_is_refused():
    """Ten megabytes of zeros squeeze into little; no more than a recipe's size is ever unpacked."""
    with pytest.raises(BadInput, match="larger than 256 kB"):
        unpack(pack(bytes(10_000_000)))
    assert len(unpack(pack(bytes(MAX_BYTES)))) == MAX_BYTES


@given(st.text(alphabet=st.characters(codec="utf-8"), max_size=200))
def test_any_text_is_a_recipe_or_a_sentence(text):
    """Whatever stands behind the form."""
    with suppress(BadInput):
        assert len(unpack(FORM + text)) <= MAX_BYTES


def test_a_small_recipe_fits_a_code_and_a_large_one_says_why_not():
    """The example fits; forty captures do not."""
    made = code(link(TEXT, "http://localhost:8765/"))
    assert made.symbol_size(border=0)[0] <= MOST_MODULES
    noise = b"".join(hashlib.sha256(bytes([i])).digest() for i in range(200))
    for size in (1500, 6000):
        with pytest.raises(BadInput, match="send it as a link or as a file"):
            code(link(noise[:size], "http://localhost:8765/"))
