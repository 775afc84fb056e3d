"""A recipe's signature: it covers every byte, it is one line, and what is wrong with it shows."""

from __future__ import annotations

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey
from hypothesis import given
from hypothesis import strategies as st

from coach.bundle.keys import own_public_key, pin
from coach.desk.signing import PREFIX, known_as, signature_of, signed, unsigned
from coach.errors import BadInput
from coach.recipe import parse_recipe
from tests.recipe.making import EXAMPLE

TEXT = EXAMPLE.encode()


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("desk")


def test_a_signed_recipe_is_a_recipe(folder):
    """The same request, with the signature as a comment; signed again it is the same file."""
    made = signed(TEXT, folder)
    assert parse_recipe(made.decode()).captures == parse_recipe(EXAMPLE).captures
    assert made.startswith(TEXT)
    assert made.count(b"\n") == TEXT.count(b"\n") + 1
    assert signed(made, folder) == made
    assert unsigned(made) == TEXT


def test_the_signature_is_plain_ed25519(folder):
    """RFC 8032 by an independent call: over the prefix and every byte before the line."""
    line = signed(TEXT, folder).decode().splitlines()[-1].split()
    assert line[:3] == ["#", "signed", "Ed25519"]
    assert line[3] == own_public_key(folder)
    Ed25519PublicKey.from_public_bytes(bytes.fromhex(line[3])).verify(bytes.fromhex(line[4]), PREFIX + TEXT)


def test_a_known_key_is_named_and_another_is_not(folder, tmp_path):
    """Pinned under a name, the key is known; of another folder it is not."""
    found = signature_of(signed(TEXT, folder))
    assert found is not None
    assert found.good
    assert known_as(found, tmp_path) is None
    pin(tmp_path, "Workshop", own_public_key(folder))
    known = known_as(found, tmp_path)
    assert known is not None
    assert known.name == "Workshop"


@given(st.data())
def test_a_changed_byte_shows(folder, data):
    """Any byte of the request changed: the signature is not good, or there is none."""
    made = bytearray(signed(TEXT, folder))
    at = data.draw(st.integers(0, len(made) - 2))
    made[at] ^= data.draw(st.integers(1, 255))
    found = signature_of(bytes(made))
    assert found is None or not found.good or unsigned(bytes(made)) == TEXT


def test_a_line_that_is_no_signature_is_not_good(folder, tmp_path):
    """Cut off, it is there and not good; nobody's key."""
    found = signature_of(signed(TEXT, folder)[:-20])
    assert found is not None
    assert not found.good
    assert known_as(found, tmp_path) is None


def test_what_is_not_signed_has_no_signature(folder):
    """Nor has a comment elsewhere."""
    assert signature_of(TEXT) is None
    assert signature_of(b"") is None
    assert signature_of(signed(TEXT, folder) + b"[capture.keep]\n") is None


def test_a_last_line_without_its_end_is_given_one(folder):
    """So that the comment stands on a line of its own."""
    assert unsigned(signed(b'format = 1\ntitle = "t"', folder)) == b'format = 1\ntitle = "t"\n'


def test_json_has_no_place_for_it(folder):
    """One sentence."""
    with pytest.raises(BadInput, match="save it as TOML"):
        signed(b'{"format": 1}', folder)
