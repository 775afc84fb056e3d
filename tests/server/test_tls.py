"""The https door on real sockets: silent clients, strangers' noise, a certificate changed under way."""

import http.client
import socket
import ssl
import threading

import pytest

from coach.clock import HandClock
from coach.server import tls
from coach.server.ca import make_authority, make_leaf
from coach.server.joining import listen_lan
from tests.server.doors import Https

NOW = HandClock().wall_us()
NAME = "coach-k7d2.local"


def hello(environ, start_response):
    start_response("200 OK", [("Content-Type", "text/plain")])
    return [environ["wsgi.url_scheme"].encode()]


@pytest.fixture(scope="module")
def authority():
    # From today on: this is about real handshakes, which look at the real time.
    from coach.clock import Clock

    return make_authority("x", Clock().wall_us())


@pytest.fixture(scope="module")
def one_door(tmp_path_factory, authority):
    """A server with few threads; its client."""
    from coach.clock import Clock

    path = tmp_path_factory.mktemp("tls") / "laptop.pem"
    path.write_bytes(make_leaf(authority, [NAME], [], Clock().wall_us()).pem())
    server = listen_lan("127.0.0.1", 0, 3)
    server.ssl_adapter = tls.LazyTls(path, "http://help.local:1/")
    server.wsgi_app = hello
    thread = threading.Thread(target=server.serve, daemon=True)
    thread.start()
    server.client = Https(server.bind_addr[1], NAME, authority.der)
    yield server
    server.shutdown_timeout = 0.2
    server.stop()
    thread.join(60)


@pytest.fixture
def door(one_door, wait_for):
    """The server with nobody at it."""
    wait_for(lambda: one_door._open.total() == 0)
    return one_door


def silent(door, said=b""):
    """A client that says `said` and then nothing."""
    made = socket.create_connection(("127.0.0.1", door.bind_addr[1]), timeout=60)
    if said:
        made.sendall(said)
    return made


def test_clients_that_never_say_a_word_hold_up_nobody(door):
    """Ten of them, at a server with three threads: the next is answered, because they hold no thread."""
    waiting = [silent(door) for _ in range(10)]
    for _ in range(3):
        assert door.client.ask("GET", "/")[::2] == (200, b"https")
    for one in waiting:
        one.close()


def test_two_clients_that_stop_in_the_middle_of_a_handshake_hold_up_nobody(door):
    """Each holds a thread until its time is up; the accept loop goes on, and the third thread answers."""
    waiting = [silent(door, b"\x16\x03\x01\x02\x00\x01\x00") for _ in range(2)]
    for _ in range(3):
        assert door.client.ask("GET", "/")[0] == 200
    for one in waiting:
        one.close()


def test_a_handshake_has_its_time(door, monkeypatch):
    """After that the client is left, without a word on the terminal, and its thread is free."""
    monkeypatch.setattr(tls, "HANDSHAKE_S", 0.05)
    monkeypatch.setattr(door, "timeout", 60)
    waiting = [silent(door, b"\x16\x03\x01\x02\x00\x01\x00") for _ in range(6)]
    assert [one.recv(100) for one in waiting] == [b""] * 6
    assert door.client.ask("GET", "/")[0] == 200
    for one in waiting:
        one.close()


def test_plain_http_is_shown_the_help_page(door):
    """Somebody typed the address without https."""
    connection = http.client.HTTPConnection("127.0.0.1", door.bind_addr[1], timeout=60)
    connection.request("GET", "/")
    answer = connection.getresponse()
    assert (answer.status, answer.getheader("Location")) == (303, "http://help.local:1/")
    connection.close()


def test_noise_and_clients_without_trust_are_no_news(door, capfd, caplog):
    """Neither on the terminal nor above the log's debugging level."""
    port = door.bind_addr[1]
    for noise in (b"\x00" * 50, b"\x16" + b"\xff" * 50, b"\x16\x03\x01\x00\x05hello"):
        one = silent(door, noise)
        while one.recv(1000):
            pass
        one.close()
    with socket.create_connection(("127.0.0.1", port), timeout=60) as raw, pytest.raises(ssl.SSLCertVerificationError):
        ssl.create_default_context().wrap_socket(raw, server_hostname=NAME)
    assert door.client.ask("GET", "/")[0] == 200
    assert capfd.readouterr() == ("", "")
    assert [r for r in caplog.records if r.levelname not in {"DEBUG", "INFO"}] == []


def test_a_fault_of_the_server_is_in_the_log(door, caplog):
    """Quiet about strangers is not blind to our own mistakes."""
    door.error_log("x", level=40)
    door.error_log("y", level=20)
    assert [r.message for r in caplog.records if r.name == "coach.server.lan" and r.levelno >= 40] == ["x"]


def test_old_versions_of_tls_are_refused(door, authority):
    """TLS 1.2 at least (RFC 8996 deprecates what came before)."""
    context = ssl.create_default_context(cadata=authority.der)
    with pytest.warns(DeprecationWarning, match="TLSv1"):
        context.minimum_version, context.maximum_version = ssl.TLSVersion.TLSv1, ssl.TLSVersion.TLSv1_1
    context.set_ciphers("DEFAULT:@SECLEVEL=0")
    with (
        socket.create_connection(("127.0.0.1", door.bind_addr[1]), timeout=60) as raw,
        pytest.raises((ssl.SSLError, OSError)),
    ):
        context.wrap_socket(raw, server_hostname=NAME)


def test_a_new_certificate_counts_from_the_next_connection_on(door, authority, tmp_path):
    """A connection that is open goes on with the old one."""
    from coach.clock import Clock

    def serial(connection):
        return connection.sock.getpeercert()["serialNumber"]

    first = door.client.connect()
    old = serial(first)
    path = tmp_path / "new.pem"
    path.write_bytes(make_leaf(authority, [NAME], ["10.0.0.1"], Clock().wall_us()).pem())
    door.ssl_adapter.load(path)
    second = door.client.connect()
    assert serial(second) != old
    for one in (first, second):
        one.request("GET", "/")
        assert one.getresponse().read() == b"https"
        one.close()


def test_one_address_has_a_bounded_number_of_connections(door, monkeypatch, wait_for):
    """One more is closed at once; when others go, there is room again."""
    monkeypatch.setattr(tls, "MOST_FROM_ONE", 4)
    waiting = [silent(door) for _ in range(4)]
    extra = silent(door)
    assert extra.recv(10) == b""
    for one in (*waiting, extra):
        one.close()
    wait_for(lambda: door._open.total() == 0)
    assert door.client.ask("GET", "/")[0] == 200
    wait_for(lambda: not door._open)


def test_whoever_comes_from_outside_is_not_heard(door, monkeypatch):
    """A laptop with a public address shows nothing to the world."""
    monkeypatch.setattr(tls, "is_private", lambda address: address != "127.0.0.1")
    one = silent(door, b"\x16")
    assert one.recv(10) == b""
    one.close()


def test_a_silent_client_is_left_after_a_while(door, monkeypatch):
    """Idle connections are closed by the server itself."""
    monkeypatch.setattr(door, "timeout", 0.2)
    one = silent(door)
    one.settimeout(10)
    assert one.recv(10) == b""
    one.close()
