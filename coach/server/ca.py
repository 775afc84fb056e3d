"""The installation's own certificate authority and the certificate that it signs. Reads no clock, opens no port."""

from __future__ import annotations

import datetime as dt
import hashlib
import ipaddress
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

from cryptography import x509
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.serialization import (
    Encoding,
    NoEncryption,
    PrivateFormat,
    PublicFormat,
    load_pem_private_key,
)
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from coach.clock import US
from coach.errors import StoreError
from coach.server.network import PRIVATE
from coach.store.files import private_file, store_error, write_durable

AUTHORITY_DAYS = 3650
"""A new authority has to be trusted anew on every phone, so it lives long; its constraints keep that harmless."""
LEAF_DAYS = 180
"""Below the 398 days that browsers and phones accept at most (CA/Browser Forum requirements, 6.3.2; from memory)."""
RENEW_DAYS = 30
"""A certificate with less left than this is made anew."""
EARLY_DAYS = 1
"""Valid from a day ago: a phone's clock may be behind."""
ENDINGS = ("local", "lan")
"""The only names, besides private addresses, that the authority may vouch for."""


@dataclass(frozen=True)
class Signed:
    """A certificate with its private key."""

    certificate: x509.Certificate
    key: ec.EllipticCurvePrivateKey

    def pem(self) -> bytes:
        """Key and certificate in one file, so that the two never part."""
        key = self.key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())
        return key + self.certificate.public_bytes(Encoding.PEM)

    @cached_property
    def der(self) -> bytes:
        """The certificate alone, as phones take it."""
        return self.certificate.public_bytes(Encoding.DER)

    @property
    def title(self) -> str:
        """What phones list the certificate under."""
        return str(self.certificate.subject.get_attributes_for_oid(NameOID.COMMON_NAME)[0].value)

    @cached_property
    def fingerprint(self) -> str:
        """SHA-256 of the certificate, in pairs, as phones show it."""
        return hashlib.sha256(self.der).digest().hex(":").upper()


def read_signed(data: bytes) -> Signed:
    """Reads what `Signed.pem` wrote. Raises ValueError."""
    key = load_pem_private_key(data, None)
    certificate = x509.load_pem_x509_certificate(data)
    if not isinstance(key, ec.EllipticCurvePrivateKey):
        raise ValueError("the key is of another kind")  # noqa: TRY004 - what a file holds is a value
    spki = (Encoding.DER, PublicFormat.SubjectPublicKeyInfo)
    if key.public_key().public_bytes(*spki) != certificate.public_key().public_bytes(*spki):
        raise ValueError("key and certificate do not belong together")
    return Signed(certificate, key)


def make_authority(title: str, wall_us: int) -> Signed:
    """An authority that may vouch for private addresses and names under .local and .lan, and for nothing else.

    Args:
        title: what phones list it under.
        wall_us: now.
    """
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, title)])
    allowed: list[x509.GeneralName] = [x509.DNSName(ending) for ending in ENDINGS]
    allowed += [x509.IPAddress(net) for net in PRIVATE]
    made = (
        _certificate(name, name, key.public_key(), key.public_key(), wall_us, AUTHORITY_DAYS)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(_usage(sign=True), critical=True)
        .add_extension(x509.NameConstraints(allowed, None), critical=True)
    )
    return Signed(made.sign(key, hashes.SHA256()), key)


def make_leaf(authority: Signed, names: Iterable[str], addresses: Iterable[str], wall_us: int) -> Signed:
    """A server's certificate for `names` and `addresses`, signed by `authority`.

    Args:
        wall_us: now.
    """
    key = ec.generate_private_key(ec.SECP256R1())
    names = list(names)
    subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, names[0])])
    alternatives: list[x509.GeneralName] = [x509.DNSName(n) for n in names]
    alternatives += [x509.IPAddress(ipaddress.ip_address(a)) for a in addresses]
    issuer = authority.certificate
    made = (
        _certificate(subject, issuer.subject, key.public_key(), authority.key.public_key(), wall_us, LEAF_DAYS)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(_usage(sign=False), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(x509.SubjectAlternativeName(alternatives), critical=False)
    )
    return Signed(made.sign(authority.key, hashes.SHA256()), key)


def _certificate(
    subject: x509.Name, issuer: x509.Name, public: ec.EllipticCurvePublicKey, signer: ec.EllipticCurvePublicKey,
    wall_us: int, days: int,
) -> x509.CertificateBuilder:  # fmt: skip
    # Whole seconds: certificates have no finer time.
    now = dt.datetime.fromtimestamp(wall_us // US, dt.UTC)
    return (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(issuer)
        .public_key(public)
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - dt.timedelta(days=EARLY_DAYS))
        .not_valid_after(now + dt.timedelta(days=days))
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(public), critical=False)
        .add_extension(x509.AuthorityKeyIdentifier.from_issuer_public_key(signer), critical=False)
    )


def _usage(*, sign: bool) -> x509.KeyUsage:
    return x509.KeyUsage(
        digital_signature=not sign, content_commitment=False, key_encipherment=False, data_encipherment=False,
        key_agreement=False, key_cert_sign=sign, crl_sign=sign, encipher_only=False, decipher_only=False,
    )  # fmt: skip


def good_leaf(leaf: Signed, authority: Signed, names: Iterable[str], addresses: Iterable[str], wall_us: int) -> bool:
    """Whether `leaf` still serves: from this authority, in its time with `RENEW_DAYS` to spare, for all of these."""
    certificate = leaf.certificate
    try:
        certificate.verify_directly_issued_by(authority.certificate)
    except (ValueError, TypeError, _invalid()):
        return False
    now = dt.datetime.fromtimestamp(wall_us // US, dt.UTC)
    until = certificate.not_valid_after_utc - dt.timedelta(days=RENEW_DAYS)
    if not certificate.not_valid_before_utc <= now < until:
        return False
    held = certificate.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    has = {*held.get_values_for_type(x509.DNSName), *map(str, held.get_values_for_type(x509.IPAddress))}
    return has >= {*names, *addresses}


def _invalid() -> type[Exception]:
    from cryptography.exceptions import InvalidSignature

    return InvalidSignature


class Certificates:
    """Authority and certificate in a folder, each with its key in one file that only its owner reads.

    Args:
        folder: where `authority.pem` and `laptop.pem` are kept.
        title: what phones list a new authority under.
        wall_us: now, for an authority that is missing.

    Raises:
        StoreError: the folder cannot be used, or the authority in it is damaged.
    """

    def __init__(self, folder: Path, title: str, wall_us: int) -> None:
        self.path = folder / "laptop.pem"
        self._authority_path = folder / "authority.pem"
        self.authority = self._authority(title, wall_us)

    def _authority(self, title: str, wall_us: int) -> Signed:
        kept = _read(self._authority_path)
        if kept is not None:
            try:
                found = read_signed(kept)
            except ValueError as error:
                raise StoreError(
                    f"the certificate authority of this laptop is damaged ({error}); remove this file to have a new one"
                    " made, which every phone then has to trust anew",
                    where=str(self._authority_path),
                ) from None
            now = dt.datetime.fromtimestamp(wall_us // US, dt.UTC)
            if now + dt.timedelta(days=LEAF_DAYS) < found.certificate.not_valid_after_utc:
                return found
        return _keep(self._authority_path, make_authority(title, wall_us))

    def renew(self, names: Iterable[str], addresses: Iterable[str], wall_us: int) -> bool:
        """Makes a new certificate where the one in `path` will not do; says whether it did. Raises StoreError."""
        names, addresses = list(names), list(addresses)
        kept = _read(self.path)
        if kept is not None and self._does(kept, names, addresses, wall_us):
            return False
        _keep(self.path, make_leaf(self.authority, names, addresses, wall_us))
        return True

    def _does(self, kept: bytes, names: list[str], addresses: list[str], wall_us: int) -> bool:
        try:
            return good_leaf(read_signed(kept), self.authority, names, addresses, wall_us)
        except (ValueError, x509.ExtensionNotFound):
            return False  # a damaged one is no loss: the next is made at once


def _read(path: Path) -> bytes | None:
    if not path.exists():
        return None
    try:
        private_file(path)
        return path.read_bytes()
    except OSError as error:
        raise store_error(error, path) from error


def _keep(path: Path, signed: Signed) -> Signed:
    data = signed.pem()

    def write(file: Any) -> None:
        file.write(data)

    write_durable(path, write)
    return signed
