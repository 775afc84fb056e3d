"""Private addresses and own names."""

import ifaddr
import pytest

from coach.server.network import is_private, own_names, private_addresses


@pytest.mark.parametrize(
    ("address", "private"),
    [
        ("10.0.0.1", True), ("172.16.0.1", True), ("172.31.255.255", True), ("172.32.0.1", False),
        ("192.168.0.1", True), ("169.254.3.4", True), ("127.0.0.1", True),
        ("8.8.8.8", False), ("100.64.0.1", False), ("192.0.2.1", False),
        ("fd00::1", True), ("fe80::1%eth0", True), ("2001:db8::1", False), ("::ffff:192.168.1.1", True),
        ("::ffff:8.8.8.8", False), ("", False), ("x", False),
    ],
)  # fmt: skip
def test_private_is_what_no_router_passes_on(address, private):
    """RFC 1918, RFC 3927, RFC 4193, RFC 4291; addresses for documentation and shared ones are not."""
    assert is_private(address) is private


class Adapter:
    def __init__(self, *ips):
        self.ips = [type("Ip", (), {"ip": ip, "is_IPv4": isinstance(ip, str)})() for ip in ips]


def test_only_private_addresses_are_told_and_self_given_ones_last(monkeypatch):
    found = [
        Adapter("127.0.0.1"),
        Adapter("169.254.1.1", ("fe80::1", 0, 1)),
        Adapter("8.8.8.8", "192.168.1.7"),
        Adapter("10.0.0.2"),
    ]
    monkeypatch.setattr(ifaddr, "get_adapters", lambda: found)
    assert private_addresses() == ["192.168.1.7", "10.0.0.2", "169.254.1.1"]


def test_the_machine_itself_can_be_asked():
    """Whatever it has, nothing public and no loopback comes out."""
    assert all(is_private(ip) and not ip.startswith("127.") for ip in private_addresses())


@pytest.mark.parametrize(
    ("host", "more"),
    [
        ("Laptop", ["laptop.local", "laptop.lan"]), ("my-pc.example.org", ["my-pc.local", "my-pc.lan"]),
        ("localhost", []), ("", []), ("a b", []), ("-x", []), ("x" * 64, []), ("bücher", []),
    ],
)  # fmt: skip
def test_own_names_are_those_under_local_and_lan(host, more):
    """A system's name that is none in the domain system, or means any machine, is left out."""
    assert own_names("coach-ab12.local", host) == ["coach-ab12.local", *more]
