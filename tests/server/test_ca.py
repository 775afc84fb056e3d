"""Authority and certificate: what they may vouch for, held by verifiers of others; renewal; files that are private."""

import datetime as dt
import ipaddress
import shutil
import ssl
import subprocess

import pytest
from cryptography import x509
from cryptography.hazmat.primitives.asymmetric import ed25519
from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat
from cryptography.x509.verification import PolicyBuilder, Store, VerificationError

from coach.clock import US
from coach.errors import StoreError
from coach.server import ca

NOW = 1_790_000_000 * US
DAY = 86_400 * US
NAME = "coach-k7d2.local"


@pytest.fixture(scope="module")
def authority():
    return ca.make_authority("Log capture coach, laptop", NOW)


def verify(authority, leaf, subject, now_us=NOW):
    """Whether the verifier of `cryptography` takes the certificate for `subject`."""
    builder = (
        PolicyBuilder().store(Store([authority.certificate])).time(dt.datetime.fromtimestamp(now_us // US, dt.UTC))
    )
    try:
        builder.build_server_verifier(subject).verify(leaf.certificate, [])
    except VerificationError:
        return False
    return True


def openssl(tmp_path, authority, leaf, *more):
    """Whether OpenSSL takes the certificate."""
    if shutil.which("openssl") is None:
        pytest.skip("openssl is not on this machine")
    for name, one in (("ca", authority), ("leaf", leaf)):
        (tmp_path / f"{name}.pem").write_bytes(one.certificate.public_bytes(Encoding.PEM))
    command = ["openssl", "verify", "-x509_strict", "-purpose", "sslserver", "-attime", str(NOW // US), *more]
    done = subprocess.run([*command, "-CAfile", "ca.pem", "leaf.pem"], cwd=tmp_path, capture_output=True, check=False)
    return done.returncode == 0


GOOD = [([NAME], ["192.168.1.5"]), ([NAME, "laptop.lan"], ["10.1.2.3", "172.31.0.9", "169.254.7.7", "fd00::5"])]
BAD = [
    (["bank.example"], []),
    ([NAME, "bank.example"], []),
    (["local.example"], []),
    (["notlocal"], []),
    ([NAME], ["8.8.8.8"]),
    ([NAME], ["172.32.0.1"]),
    ([NAME], ["192.169.0.1"]),
    ([NAME], ["2001:db8::1"]),
]


@pytest.mark.parametrize(("names", "addresses"), GOOD)
def test_two_verifiers_take_what_the_authority_may_vouch_for(authority, tmp_path, names, addresses):
    """OpenSSL and cryptography (RFC 5280, 4.2.1.10 and 6) agree: private addresses, .local and .lan."""
    leaf = ca.make_leaf(authority, names, addresses, NOW)
    for name in names:
        assert verify(authority, leaf, x509.verification.DNSName(name))
        assert openssl(tmp_path, authority, leaf, "-verify_hostname", name)
    for address in addresses:
        assert verify(authority, leaf, x509.verification.IPAddress(ipaddress.ip_address(address)))
        assert openssl(tmp_path, authority, leaf, "-verify_ip", address)


@pytest.mark.parametrize(("names", "addresses"), BAD)
def test_two_verifiers_refuse_everything_else(authority, tmp_path, names, addresses):
    """Somebody who took the authority's key could still not pose as another site, nor as a public address."""
    leaf = ca.make_leaf(authority, names, addresses, NOW)
    assert not verify(authority, leaf, x509.verification.DNSName(names[0]))
    assert not openssl(tmp_path, authority, leaf)


def test_the_constraints_are_critical_and_the_authority_signs_no_other():
    """A verifier that does not know constraints must refuse; a certificate below it cannot sign one more."""
    made = ca.make_authority("x", NOW).certificate
    constraints = made.extensions.get_extension_for_class(x509.NameConstraints)
    assert constraints.critical
    assert {str(n.value) for n in constraints.value.permitted_subtrees} == {
        "local", "lan", "10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16", "169.254.0.0/16", "fc00::/7", "fe80::/10",
    }  # fmt: skip
    basic = made.extensions.get_extension_for_class(x509.BasicConstraints)
    assert (basic.critical, basic.value.ca, basic.value.path_length) == (True, True, 0)


def test_the_certificate_is_one_that_phones_take(authority):
    """Below 398 days, subject alternative names, server authentication, no authority itself.

    From memory: the limits that browsers and phones hold to.
    """
    made = ca.make_leaf(authority, [NAME], ["192.168.1.5"], NOW).certificate
    assert (made.not_valid_after_utc - made.not_valid_before_utc).days < 398
    assert made.not_valid_before_utc < dt.datetime.fromtimestamp(NOW // US, dt.UTC) - dt.timedelta(hours=12)
    usage = made.extensions.get_extension_for_class(x509.ExtendedKeyUsage).value
    assert list(usage) == [x509.oid.ExtendedKeyUsageOID.SERVER_AUTH]
    names = made.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    assert names.get_values_for_type(x509.DNSName) == [NAME]
    assert not made.extensions.get_extension_for_class(x509.BasicConstraints).value.ca


def test_key_and_certificate_are_kept_for_the_owner_alone(tmp_path):
    """Modes 0600, also where somebody had opened them up."""
    made = ca.Certificates(tmp_path, "x", NOW)
    made.renew([NAME], [], NOW)
    for name in ("authority.pem", "laptop.pem"):
        assert (tmp_path / name).stat().st_mode & 0o777 == 0o600
        (tmp_path / name).chmod(0o644)
    ca.Certificates(tmp_path, "x", NOW).renew([NAME], [], NOW)
    assert {(tmp_path / n).stat().st_mode & 0o777 for n in ("authority.pem", "laptop.pem")} == {0o600}
    ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER).load_cert_chain(made.path)


def test_the_certificate_is_renewed_when_it_must_be_and_only_then(tmp_path):
    """With a month to spare, for a new address or name, when the clock was set, when the file is damaged."""
    kept = ca.Certificates(tmp_path, "x", NOW)
    assert kept.renew([NAME], ["192.168.1.5"], NOW)
    assert not kept.renew([NAME], ["192.168.1.5"], NOW)
    assert not ca.Certificates(tmp_path, "x", NOW).renew([NAME], [], NOW + DAY)
    assert not kept.renew([NAME], [], NOW + (ca.LEAF_DAYS - ca.RENEW_DAYS) * DAY - US)
    assert kept.renew([NAME], [], NOW + (ca.LEAF_DAYS - ca.RENEW_DAYS) * DAY)
    assert kept.renew([NAME], ["10.0.0.7"], NOW + DAY * ca.LEAF_DAYS)
    assert kept.renew([NAME, "other.local"], [], NOW + DAY * ca.LEAF_DAYS)
    assert kept.renew([NAME], [], NOW)  # the clock was set back: not valid yet
    for damaged in (
        b"",
        b"x",
        kept.path.read_bytes()[:300],
        kept.authority.pem(),
        kept.path.read_bytes().replace(b"A", b"B"),
    ):
        kept.path.write_bytes(damaged)
        assert kept.renew([NAME], [], NOW)
        assert not kept.renew([NAME], [], NOW)


def test_a_certificate_of_another_authority_is_not_kept(tmp_path, authority):
    """After the authority was made anew, the old certificate goes too."""
    kept = ca.Certificates(tmp_path, "x", NOW)
    kept.path.write_bytes(ca.make_leaf(authority, [NAME], [], NOW).pem())
    assert kept.renew([NAME], [], NOW)


def test_the_authority_stays_the_same_until_it_runs_out(tmp_path):
    """Phones trusted this one: it is made anew only when a certificate could outlive it."""
    first = ca.Certificates(tmp_path, "x", NOW).authority
    assert ca.Certificates(tmp_path, "y", NOW + 365 * DAY).authority.fingerprint == first.fingerprint
    end = NOW + (ca.AUTHORITY_DAYS - ca.LEAF_DAYS) * DAY
    assert ca.Certificates(tmp_path, "x", end + DAY).authority.fingerprint != first.fingerprint


def test_a_damaged_authority_is_said_and_left_alone(tmp_path, authority):
    """It is never replaced behind somebody's back: every phone would have to trust it anew."""
    path = tmp_path / "authority.pem"
    ca.Certificates(tmp_path, "x", NOW)
    mixed = (
        authority.pem()[: authority.pem().index(b"-----BEGIN CERT")]
        + path.read_bytes()[path.read_bytes().index(b"-----BEGIN CERT") :]
    )
    other_kind = ed25519.Ed25519PrivateKey.generate()
    other = other_kind.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())
    for damaged in (
        b"",
        b"rubbish",
        path.read_bytes()[:200],
        mixed,
        other + path.read_bytes()[path.read_bytes().index(b"-----BEGIN CERT") :],
    ):
        path.write_bytes(damaged)
        with pytest.raises(StoreError, match="trust anew"):
            ca.Certificates(tmp_path, "x", NOW)
        assert path.read_bytes() == damaged


def test_a_folder_that_cannot_be_read_is_a_sentence(tmp_path):
    (tmp_path / "authority.pem").mkdir()
    with pytest.raises(StoreError, match="cannot be used"):
        ca.Certificates(tmp_path, "x", NOW)


def test_the_fingerprint_is_as_phones_show_it(authority, tmp_path):
    """SHA-256 over the DER, as OpenSSL prints it."""
    if shutil.which("openssl") is None:
        pytest.skip("openssl is not on this machine")
    (tmp_path / "ca.der").write_bytes(authority.der)
    done = subprocess.run(
        ["openssl", "x509", "-inform", "DER", "-in", "ca.der", "-noout", "-fingerprint", "-sha256"], cwd=tmp_path,
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert done.stdout.strip().partition("=")[2] == authority.fingerprint
