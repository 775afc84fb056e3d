"""Announcing the name: what is registered, what happens when it cannot be, and once for real between two responders."""

import socket
import threading

import pytest

from coach.server.announce import WITHDRAW_S, Announcer

NAME = "coach-k7d2.local"


class Responder:
    """Keeps what is registered; fails when told to."""

    def __init__(self, error=None):
        self.error = error
        self.infos = []
        self.closed = threading.Event()

    def register_service(self, info, *, allow_name_change):
        assert allow_name_change, "two laptops of one name must not stop each other"
        if self.error is not None:
            raise self.error
        self.infos.append(info)

    def close(self):
        self.closed.set()


def test_the_name_and_the_addresses_are_announced():
    """As a host name under .local with its port (RFC 6762, RFC 6763); a change withdraws the old one."""
    made = []
    announcer = Announcer(
        "Log capture coach", lambda addresses: made.append((list(addresses), Responder())) or made[-1][1]
    )
    assert announcer.announce(NAME, ["192.168.1.5", "10.0.0.2"], 8766) is None
    (info,) = made[0][1].infos
    assert (info.server, info.port, info.type) == ("coach-k7d2.local.", 8766, "_https._tcp.local.")
    assert info.addresses == [socket.inet_aton("192.168.1.5"), socket.inet_aton("10.0.0.2")]
    assert announcer.announce(NAME, ["10.0.0.3"], 8766) is None
    assert made[0][1].closed.is_set()
    announcer.withdraw()
    assert made[1][1].closed.is_set()
    announcer.withdraw()


def errors():
    import zeroconf

    return [
        OSError(98, "Address already in use"), OSError("No such device"), RuntimeError("x"),
        zeroconf.NonUniqueNameException(), zeroconf.NotRunningException("not running"),
    ]  # fmt: skip


@pytest.mark.parametrize("error", errors(), ids=repr)
def test_a_responder_that_cannot_work_is_said_and_closed(error):
    """Half a sentence comes back, never an error: the server goes on without the name."""
    responder = Responder(error)
    why = Announcer("x", lambda _: responder).announce(NAME, ["192.168.1.5"], 8766)
    assert why
    assert "\n" not in why
    assert responder.closed.is_set()


def test_a_port_that_cannot_be_had_is_said():
    """The responder itself cannot be made: port 5353 is taken, or multicast is shut."""

    def refuse(_):
        raise OSError(98, "Address already in use")

    announcer = Announcer("x", refuse)
    assert "in use" in announcer.announce(NAME, ["192.168.1.5"], 8766)
    announcer.withdraw()


def test_without_an_address_there_is_nothing_to_announce():
    assert "no private network" in Announcer("x", lambda _: Responder()).announce(NAME, [], 8766)


def test_saying_goodbye_holds_up_nobody():
    """A responder that hangs at the end is left behind."""
    hang = threading.Event()

    class Stuck(Responder):
        def close(self):
            hang.wait(60)

    announcer = Announcer("x", lambda _: Stuck())
    announcer.announce(NAME, ["192.168.1.5"], 8766)
    announcer.withdraw()
    hang.set()
    assert WITHDRAW_S < 1


def test_a_phone_finds_the_name(caplog):
    """For real, over the loopback interface: another responder resolves the name to the address."""
    import zeroconf

    announcer = Announcer("Log capture coach, test")
    why = announcer.announce(NAME, ["127.0.0.1"], 8766)
    if why is not None:
        pytest.skip(f"no multicast on this machine: {why}")
    try:
        with zeroconf.Zeroconf(interfaces=["127.0.0.1"], ip_version=zeroconf.IPVersion.V4Only) as other:
            found = zeroconf.AddressResolverIPv4(f"{NAME}.")
            assert found.request(other, 3000)
            assert found.parsed_addresses() == ["127.0.0.1"]
    finally:
        announcer.withdraw()
