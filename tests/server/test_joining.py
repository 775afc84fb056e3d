"""The life of joining: its name, certificate and announcement, and its doors being opened and shut."""

import errno
import threading

import pytest

from coach.clock import US, HandClock
from coach.server import create_app
from coach.server.joining import through
from tests.server.doors import ADDRESS, Quiet, open_joining


@pytest.fixture
def clock(joining):
    """The one that the doors go by."""
    return joining.clock


def test_the_name_stays_the_same_for_as_long_as_the_folder_lives(tmp_path):
    """A phone keeps what it has by the page's address: a new one would lose it."""
    first = open_joining(tmp_path)
    name, print_ = first.name, first.certificates.authority.fingerprint
    first.close()
    again = open_joining(tmp_path)
    assert (again.name, again.certificates.authority.fingerprint) == (name, print_)
    assert name.startswith("coach-")
    again.close()
    other = open_joining(tmp_path / "other")
    assert other.name != name
    other.close()


def serial(joining):
    from cryptography import x509

    return x509.load_pem_x509_certificate(joining.certificates.path.read_bytes()).serial_number


def test_a_server_that_runs_for_months_renews_its_certificate(joining, clock):
    """Ten seconds apart it looks; five months on there is a new one, and the door has it."""
    first, context = serial(joining), joining.tls.context
    clock.now_us += 5 * US
    joining.tick()
    clock.now_us += 140 * 86_400 * US
    joining.tick()
    assert (serial(joining), joining.tls.context) == (first, context)
    clock.now_us += 10 * 86_400 * US
    joining.tick()
    assert serial(joining) != first
    assert joining.tls.context is not context


def test_a_new_address_gets_a_certificate_and_is_announced(tmp_path, clock, wait_for):
    """The old one is refused from then on; with no network for a moment, nothing changes."""
    found, quiet = [ADDRESS], Quiet()
    joining = open_joining(tmp_path, clock, addresses=lambda: list(found), announcer=quiet)
    joining.start(lambda *_: [], lambda *_: [])
    assert joining.wait_announced()
    first = serial(joining)
    for now, same in (([], True), (["10.0.0.9"], False), (["10.0.0.9"], False)):
        found[:] = now
        clock.now_us += 10 * US
        joining.tick()
        assert (serial(joining) == first) is same
    wait_for(lambda: len([t for t in quiet.told if t != "withdrawn"]) == 2)
    assert quiet.told[1] == (joining.name, ["10.0.0.9"], joining.port)
    assert joining.hosts() >= {"10.0.0.9", joining.name}
    assert ADDRESS not in joining.hosts()
    assert joining.address(number=True) == f"https://10.0.0.9:{joining.port}/"
    joining.close()
    assert quiet.told[-1] == "withdrawn"


def test_a_name_that_cannot_be_announced_is_said_and_a_number_used(tmp_path, services, wait_for):
    """The server goes on; the square and the command know the number."""
    joining = open_joining(tmp_path, announcer=Quiet("port 5353 is taken"))
    app = create_app(services, joining=joining)
    joining.start(app, app)
    assert joining.wait_announced()
    told = app.test_client().get("/api/joining").json
    assert (told["announced"], told["trouble"], told["nowhere"]) == (False, "port 5353 is taken", False)
    assert told["address"] == f"https://{ADDRESS}:{joining.port}/"
    assert app.test_client().post("/api/joining/square", json={}).json["url"].startswith(told["address"])
    wait_for(lambda: joining.devices.fact("address") == told["address"])
    joining.close()


def test_without_a_network_the_name_is_still_told(tmp_path):
    joining = open_joining(tmp_path, addresses=list, announcer=Quiet("this machine is in no private network"))
    joining.trouble = "x"
    assert joining.address() == f"https://{joining.name}:{joining.port}/"
    joining.close()


def test_a_server_that_ends_while_announcing_takes_it_back(tmp_path):
    """The announcement that was under way does not stay."""
    go = threading.Event()

    class Slow(Quiet):
        def announce(self, *given):
            assert go.wait(60)
            return super().announce(*given)

    slow = Slow()
    joining = open_joining(tmp_path, announcer=slow)
    joining.start(lambda *_: [], lambda *_: [])
    joining.shut()
    go.set()
    joining.close(5)
    assert slow.told[-1] == "withdrawn"
    assert not joining.announced


def test_a_port_in_use_is_said_before_anything_is_begun(tmp_path, joining):
    """And what was opened until then is closed again: no warning of a socket left behind."""
    from coach.errors import Conflict

    for taken in ({"port": joining.port, "help_port": 0}, {"port": 0, "help_port": joining.port}):
        from coach.server.joining import Joining, Lan

        with pytest.raises(Conflict, match="in use"):
            Joining.open(tmp_path / "x", HandClock(), Lan(bind="127.0.0.1", announcer=Quiet(), addresses=list, **taken))


def test_a_door_that_cannot_be_opened_after_all_is_said(monkeypatch):
    """The port was free a moment ago."""
    from coach.errors import Conflict
    from coach.server import joining as module

    def refuse(_self):
        raise OSError(errno.EADDRINUSE, "in use")

    monkeypatch.setattr(module.LanServer, "prepare", refuse)
    with pytest.raises(Conflict, match="in use"):
        module.listen_lan("127.0.0.1", 0, 1)


def test_a_door_that_is_opened_too_early_says_so(tmp_path):
    """Bound before everything is begun, it answers with a sentence until then."""
    joining = open_joining(tmp_path)
    said = []
    assert b"starting" in b"".join(joining.https.wsgi_app({}, lambda status, _: said.append(status)))
    assert said == ["503 Service Unavailable"]
    joining.close()


def test_the_door_is_written_by_the_server_only():
    """What a client sends becomes `HTTP_...`; the key of the door is set over whatever was there."""
    seen = []
    through(lambda environ, _: seen.append(environ["coach.door"]) or [])(
        {"coach.door": "x", "HTTP_COACH_DOOR": "y"}, None
    )
    assert seen == ["lan"]
