"""The key of this installation, and the keys that a person has pinned. Ed25519; files for their owner alone."""

from __future__ import annotations

import contextlib
import json
import os
from collections.abc import Iterable
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from typing import Any

from coach.errors import BadInput, NotFound, StoreError
from coach.store.files import FILE_MODE, make_folder, store_error, write_durable

KEY = "key.pem"
PINS = "pinned.json"
PREFIX = b"log capture bundle, format 1\n"
"""Stands before what is signed, so that a signature made for something else never fits a bundle."""
MOST_NAME = 80
MOST_FILE = 10_000


@dataclass(frozen=True, slots=True)
class Signature:
    """A signature over a manifest.

    Attributes:
        public_key: 32 bytes in hexadecimal.
        signature: 64 bytes in hexadecimal.
        good: whether it fits the manifest.
    """

    public_key: str
    signature: str
    good: bool

    @property
    def fingerprint(self) -> str:
        """The key as people compare it."""
        return fingerprint(self.public_key)


@dataclass(frozen=True, slots=True)
class Pin:
    """A key that a person trusts, and whose it is."""

    name: str
    public_key: str

    @property
    def fingerprint(self) -> str:
        """The key as people compare it."""
        return fingerprint(self.public_key)


def fingerprint(public_key: str) -> str:
    """Twenty digits of the key's SHA-256, in fours: `3f2a 91bc 77d0 4e1c 0a55`."""
    digits = sha256(bytes.fromhex(public_key)).hexdigest()[:20]
    return " ".join(digits[i : i + 4] for i in range(0, 20, 4))


def own_public_key(folder: Path) -> str:
    """The public key of this installation in hexadecimal; the key is made where there is none. Raises StoreError."""
    return _public(_private(folder))


def sign(folder: Path, manifest: bytes, prefix: bytes = PREFIX) -> dict[str, Any]:
    """What `signature.json` says of a manifest. The same key and manifest give the same. Raises StoreError."""
    key = _private(folder)
    return {
        "format": 1, "algorithm": "Ed25519", "public_key": _public(key), "signature": key.sign(prefix + manifest).hex(),
    }  # fmt: skip


def verify(manifest: bytes, public_key: str, signature: str, prefix: bytes = PREFIX) -> Signature:
    """The signature, looked at. Both in hexadecimal; what is none of the right length is not good."""
    from cryptography.exceptions import InvalidSignature
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

    good = False
    with contextlib.suppress(InvalidSignature, ValueError):
        Ed25519PublicKey.from_public_bytes(bytes.fromhex(public_key)).verify(
            bytes.fromhex(signature), prefix + manifest
        )
        good = True
    return Signature(public_key, signature, good)


def _private(folder: Path) -> Any:
    from cryptography.hazmat.primitives import serialization as s
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    path = folder / KEY
    try:
        if not path.exists():
            make_folder(folder)
            pem = Ed25519PrivateKey.generate().private_bytes(
                s.Encoding.PEM, s.PrivateFormat.PKCS8, s.NoEncryption()
            )  # fmt: skip
            _put_new(path, pem)
        key = s.load_pem_private_key(path.read_bytes(), None)
    except OSError as error:
        if isinstance(error, StoreError):
            raise
        raise store_error(error, path) from error
    except (ValueError, TypeError) as error:
        raise StoreError("the key file is damaged; move it away and a new key is made", where=str(path)) from error
    if not isinstance(key, Ed25519PrivateKey):
        raise StoreError(
            "the key in the key file is of another kind; move it away and a new one is made", where=str(path)
        )
    return key


def _put_new(path: Path, pem: bytes) -> None:
    """Writes the key, whole or not at all; of two processes that come at once the first one's stays."""
    own = path.with_name(f"{path.name}.{os.getpid()}.part")
    handle = os.open(own, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, FILE_MODE)
    with os.fdopen(handle, "wb") as file:
        file.write(pem)
        file.flush()
        os.fsync(file.fileno())
    try:
        os.link(own, path)
    except FileExistsError:
        return
    except OSError:  # a file system without links
        if not path.exists():
            own.replace(path)
    finally:
        with contextlib.suppress(OSError):
            own.unlink()


def _public(key: Any) -> str:
    from cryptography.hazmat.primitives import serialization as s

    raw: bytes = key.public_key().public_bytes(s.Encoding.Raw, s.PublicFormat.Raw)
    return raw.hex()


# --- what is handed to others and pinned


def export_text(public_key: str) -> str:
    """A public key as a file that others may pin: PEM, with its fingerprint before it."""
    from cryptography.hazmat.primitives import serialization as s
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

    key = Ed25519PublicKey.from_public_bytes(bytes.fromhex(public_key))
    pem = key.public_bytes(s.Encoding.PEM, s.PublicFormat.SubjectPublicKeyInfo).decode()
    return f"Public key of a log capture coach, fingerprint {fingerprint(public_key)}\n{pem}"


def read_public_key(raw: bytes, where: str) -> str:
    """The key in a file that `export_text` made, or in 64 hexadecimal digits. Raises BadInput."""
    from cryptography.hazmat.primitives import serialization as s
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

    text = raw[:MOST_FILE].decode("ascii", "replace").strip()
    if len(text) == 64:
        with contextlib.suppress(ValueError):
            return bytes.fromhex(text).hex()
    begin = text.find("-----BEGIN")
    try:
        key = s.load_pem_public_key(text[max(0, begin) :].encode("ascii", "replace"))
    except (ValueError, TypeError) as error:
        raise BadInput("there is no public key in it; `coach key export` makes such a file", where=where) from error
    if not isinstance(key, Ed25519PublicKey):
        raise BadInput("the key in it is of another kind; an Ed25519 key is wanted", where=where)
    return key.public_bytes(s.Encoding.Raw, s.PublicFormat.Raw).hex()


def pins(folder: Path) -> tuple[Pin, ...]:
    """The pinned keys, by name. Raises StoreError when their file is damaged."""
    path = folder / PINS
    try:
        data = json.loads(path.read_text("utf-8"))
        return tuple(Pin(str(one["name"]), bytes.fromhex(one["public_key"]).hex()) for one in data["keys"])
    except FileNotFoundError:
        return ()
    except OSError as error:
        raise store_error(error, path) from error
    except (ValueError, KeyError, TypeError) as error:
        raise StoreError(
            "the list of pinned keys is damaged; move it away and pin them again", where=str(path)
        ) from error


def pin(folder: Path, name: str, public_key: str) -> Pin:
    """Pins a key under a name.

    Raises:
        BadInput: no fit name, or another key is pinned under it.
        StoreError: it could not be kept.
    """
    name = " ".join(name.split())
    if not name or len(name) > MOST_NAME or not name.isprintable():
        raise BadInput(f"a name is 1 to {MOST_NAME} characters", where="--name")
    known = pins(folder)
    if any(p.name.casefold() == name.casefold() and p.public_key != public_key for p in known):
        raise BadInput(
            "another key is pinned under this name; if the owner has a new key, unpin the old one first", where=name
        )
    made = Pin(name, public_key)
    _keep(folder, [*(p for p in known if p.public_key != public_key), made])
    return made


def unpin(folder: Path, name: str) -> Pin:
    """Forgets a pinned key. Raises NotFound, StoreError."""
    known = pins(folder)
    gone = next((p for p in known if p.name.casefold() == name.casefold()), None)
    if gone is None:
        raise NotFound("no key is pinned under this name", where=name)
    _keep(folder, [p for p in known if p != gone])
    return gone


def _keep(folder: Path, keys: Iterable[Pin]) -> None:
    ordered = sorted(keys, key=lambda p: p.name.casefold())
    text = json.dumps({"format": 1, "keys": [{"name": p.name, "public_key": p.public_key} for p in ordered]}, indent=1)

    def write(file: Any) -> None:
        file.write(text.encode() + b"\n")

    write_durable(folder / PINS, write)
