"""The key of an installation and the pinned ones: made once, private, told apart; damaged files are said."""

from __future__ import annotations

import os
import stat

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey
from cryptography.hazmat.primitives.asymmetric.x25519 import X25519PrivateKey
from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat, PublicFormat

from coach.bundle import keys
from coach.errors import BadInput, NotFound, StoreError


def test_the_key_is_made_once_and_is_for_its_owner_alone(tmp_path):
    folder = tmp_path / "new" / "data"
    first = keys.own_public_key(folder)
    assert keys.own_public_key(folder) == first
    assert stat.S_IMODE((folder / keys.KEY).stat().st_mode) == 0o600
    assert stat.S_IMODE(folder.stat().st_mode) == 0o700
    assert sorted(p.name for p in folder.iterdir()) == [keys.KEY]
    assert keys.own_public_key(tmp_path / "other") != first


def test_of_two_that_come_at_once_the_first_stays(tmp_path):
    """Another process made a key between looking and writing."""
    own = keys.own_public_key(tmp_path)
    keys._put_new(tmp_path / keys.KEY, b"another")
    assert keys.own_public_key(tmp_path) == own
    assert len(list(tmp_path.iterdir())) == 1


def test_a_file_system_without_links(tmp_path, monkeypatch):
    def no_links(*_):
        raise OSError(95, "Operation not supported")

    monkeypatch.setattr(os, "link", no_links)
    assert keys.own_public_key(tmp_path) == keys.own_public_key(tmp_path)
    assert len(list(tmp_path.iterdir())) == 1


def test_a_signature_holds_for_its_text_and_key_only(tmp_path):
    """And it is one that any Ed25519 library takes: RFC 8032 over the prefix and the manifest."""
    signed = keys.sign(tmp_path, b"manifest")
    assert keys.sign(tmp_path, b"manifest") == signed
    key, made = signed["public_key"], signed["signature"]
    assert keys.verify(b"manifest", key, made).good
    Ed25519PublicKey.from_public_bytes(bytes.fromhex(key)).verify(bytes.fromhex(made), keys.PREFIX + b"manifest")
    assert not keys.verify(b"manifesT", key, made).good
    assert not keys.verify(b"manifest", keys.own_public_key(tmp_path / "other"), made).good
    assert not keys.verify(b"manifest", key, "00").good
    assert not keys.verify(b"manifest", "zz", made).good


def test_a_key_file_that_is_none(tmp_path):
    (tmp_path / keys.KEY).write_bytes(b"hello")
    with pytest.raises(StoreError, match="damaged"):
        keys.own_public_key(tmp_path)
    other = X25519PrivateKey.generate().private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())
    (tmp_path / keys.KEY).write_bytes(other)
    with pytest.raises(StoreError, match="another kind"):
        keys.own_public_key(tmp_path)
    (tmp_path / keys.KEY).unlink()
    (tmp_path / keys.KEY).mkdir()
    with pytest.raises(StoreError):
        keys.own_public_key(tmp_path)
    (tmp_path / "file").write_text("x")
    with pytest.raises(StoreError):
        keys.own_public_key(tmp_path / "file")


def test_a_key_is_handed_out_and_read_back(tmp_path):
    own = keys.own_public_key(tmp_path)
    text = keys.export_text(own)
    assert keys.fingerprint(own) in text
    assert "PRIVATE" not in text
    assert keys.read_public_key(text.encode(), "k") == own
    assert keys.read_public_key(own.encode(), "k") == own
    assert len(keys.fingerprint(own).replace(" ", "")) == 20
    for raw in (b"", b"z" * 64, b"\xff" * 100, (tmp_path / keys.KEY).read_bytes()):
        with pytest.raises(BadInput, match="no public key"):
            keys.read_public_key(raw, "k")
    other = X25519PrivateKey.generate().public_key().public_bytes(Encoding.PEM, PublicFormat.SubjectPublicKeyInfo)
    with pytest.raises(BadInput, match="another kind"):
        keys.read_public_key(other, "k")


def test_keys_are_pinned_and_forgotten(tmp_path):
    one, two = (keys.own_public_key(tmp_path / n) for n in "ab")
    assert keys.pins(tmp_path) == ()
    keys.pin(tmp_path, " Red  one ", one)
    keys.pin(tmp_path, "blue", two)
    assert [p.name for p in keys.pins(tmp_path)] == ["blue", "Red one"]
    assert keys.pins(tmp_path)[1].fingerprint == keys.fingerprint(one)
    assert stat.S_IMODE((tmp_path / keys.PINS).stat().st_mode) == 0o600
    with pytest.raises(BadInput, match="another key"):
        keys.pin(tmp_path, "RED ONE", two)
    keys.pin(tmp_path, "Red two", one)
    assert [p.name for p in keys.pins(tmp_path)] == ["blue", "Red two"]
    assert keys.unpin(tmp_path, "BLUE").public_key == two
    with pytest.raises(NotFound):
        keys.unpin(tmp_path, "blue")
    for name in ("", " ", "x" * 81, "a\x07b"):
        with pytest.raises(BadInput, match="a name is"):
            keys.pin(tmp_path, name, one)


@pytest.mark.parametrize("text", ["{", "[]", '{"keys": [{}]}', '{"keys": [{"name": "a", "public_key": "zz"}]}'])
def test_a_damaged_list_of_pins_is_said(tmp_path, text):
    (tmp_path / keys.PINS).write_text(text)
    with pytest.raises(StoreError, match="damaged"):
        keys.pins(tmp_path)


def test_a_list_of_pins_that_cannot_be_read(tmp_path):
    (tmp_path / keys.PINS).mkdir()
    with pytest.raises(StoreError):
        keys.pins(tmp_path)
