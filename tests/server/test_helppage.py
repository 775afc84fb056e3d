"""The help page: over plain http nothing else, each phone's own steps, the certificate as phones take it."""

import functools
import plistlib

import pytest
from cryptography import x509

from coach.server.help_app import create_help_app
from coach.server.helppage import PAGES, device_name, platform
from tests.server.doors import ADDRESS, Quiet, open_joining

IPHONE = "Mozilla/5.0 (iPhone; CPU iPhone OS 18_5 like Mac OS X) AppleWebKit/605.1.15 Version/18.5 Mobile Safari/604.1"
ANDROID = "Mozilla/5.0 (Linux; Android 15; K) AppleWebKit/537.36 Chrome/141.0.0.0 Mobile Safari/537.36"


@pytest.fixture(scope="module")
def joining(tmp_path_factory):
    made = open_joining(tmp_path_factory.mktemp("data"))
    yield made
    made.close()


@pytest.fixture
def plain(joining):
    """A client of the plain door."""
    client = create_help_app(joining).test_client()
    client.open = functools.partial(client.open, base_url=f"http://{ADDRESS}:8767")
    return client


def test_the_plain_door_has_the_help_page_and_nothing_else(plain):
    """No API, no page, no script that could join: whatever the method."""
    for path in ("/", "/join", "/trust", "/css/join.css", "/js/light.js"):
        assert plain.get(path).status_code == 200, path
    for path in (
        "/api/state",
        "/api/pair",
        "/js/main.js",
        "/index.html",
        "/api/openapi.json",
        "/../coach.db",
        "/nothing",
    ):
        assert plain.get(path).status_code == 404, path
    for method in ("POST", "PUT", "DELETE", "OPTIONS"):
        for path in ("/", "/api/pair", "/api/drives"):
            assert plain.open(path, method=method).status_code == 405
    assert "joining.js" not in plain.get("/").text
    assert "Set-Cookie" not in plain.get("/").headers


def test_the_plain_door_answers_to_the_laptops_names_only(plain, joining):
    assert plain.get("/", headers={"Host": joining.name}).status_code == 200
    answer = plain.get("/", headers={"Host": "evil.example"})
    assert (answer.status_code, answer.mimetype) == (403, "text/plain")


def test_the_plain_page_leads_to_the_https_address_without_a_secret(plain, joining):
    """Going on without trust is the browser's own warning; the square is scanned after it."""
    text = plain.get("/").text
    assert f'href="{joining.address()}"' in text
    assert "#s=" not in text


def test_its_answers_carry_the_headers_that_shut_doors(plain):
    headers = plain.get("/").headers
    assert "'unsafe" not in headers["Content-Security-Policy"]
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert headers["Cache-Control"] == "no-store"
    assert "Strict-Transport-Security" not in headers, "it would shut the plain door of the same name"


@pytest.mark.parametrize(
    ("agent", "first", "file"),
    [(IPHONE, "iPhone and iPad", "mobileconfig"), (ANDROID, "Android", "crt"), ("x", "Another device", "crt")],
)
def test_a_phones_own_steps_come_first_and_are_open(plain, agent, first, file):
    """The others are there to be opened."""
    text = plain.get("/trust", headers={"User-Agent": agent}).text
    assert text.index("<details open>") < text.index("<details>")
    assert text[text.index("<details open>") :].startswith(f"<details open><summary>{first}")
    assert text.count("<details") == 3
    assert f'class="act main wide" href="/trust/log-capture-coach.{file}"' in text


def test_the_steps_name_what_phones_call_it(plain):
    """From memory, not tried on a phone: the places in the settings of iOS and Android."""
    text = plain.get("/trust").text
    for words in (
        "Certificate Trust Settings",
        "Profile Downloaded",
        "Install a certificate, CA certificate",
        "Install anyway",
    ):
        assert words in text


def test_the_page_shows_the_fingerprint_to_compare(plain, joining):
    assert joining.certificates.authority.fingerprint in plain.get("/trust").text


def test_the_certificate_comes_as_der(plain, joining):
    answer = plain.get("/trust/log-capture-coach.crt")
    assert answer.mimetype == "application/x-x509-ca-cert"
    assert x509.load_der_x509_certificate(answer.data) == joining.certificates.authority.certificate


def test_the_profile_holds_the_certificate_and_is_the_same_each_time(plain, joining):
    """A configuration profile with one root certificate; no key in it."""
    answer = plain.get("/trust/log-capture-coach.mobileconfig")
    assert answer.mimetype == "application/x-apple-aspen-config"
    profile = plistlib.loads(answer.data)
    (inner,) = profile["PayloadContent"]
    assert (inner["PayloadType"], inner["PayloadContent"]) == (
        "com.apple.security.root",
        joining.certificates.authority.der,
    )
    assert profile["PayloadDisplayName"].startswith("Log capture coach")
    assert answer.data == plain.get("/trust/log-capture-coach.mobileconfig").data


def test_no_answer_holds_a_private_key(plain, joining):
    for path in ("/", *PAGES):
        assert b"PRIVATE KEY" not in plain.get(path).data
    assert b"PRIVATE KEY" in joining.certificates.path.read_bytes()


def test_what_a_request_says_is_never_part_of_the_page(plain):
    """Language, browser and name are looked up, not written."""
    bad = '"><script>alert(1)</script>'
    for path in ("/", "/trust"):
        text = plain.get(f"{path}?lang={bad}", headers={"User-Agent": bad, "Accept-Language": bad}).text
        assert "alert(1)" not in text


def test_a_name_that_is_not_announced_is_not_led_to(tmp_path):
    joining = open_joining(tmp_path, announcer=Quiet("x"))
    joining.trouble = "x"
    client = create_help_app(joining).test_client()
    assert f'href="https://{ADDRESS}:' in client.get("/", base_url=f"http://{ADDRESS}").text
    joining.close()


def test_platforms_and_names():
    assert [platform(a) for a in (IPHONE, ANDROID, "iPad", "")] == ["ios", "android", "ios", "other"]
    assert device_name(IPHONE, []) == "iPhone"
    assert device_name(ANDROID, ["Android phone", "Android phone 2"]) == "Android phone 3"
    assert device_name("Mozilla/5.0 (Macintosh)", []) == "Mac"
