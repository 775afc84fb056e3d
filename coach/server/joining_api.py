"""Endpoints of joining: who asks, pairing, the square, devices. Without `--lan` they say that nobody can join."""

from __future__ import annotations

from typing import TYPE_CHECKING

from flask import Response, json

from coach.errors import Conflict
from coach.server import joining_models as m
from coach.server.endpoint import JSON, Call, Endpoint, Result
from coach.server.guard import set_cookie
from coach.server.models import Nothing
from coach.server.roles import Access

if TYPE_CHECKING:
    from coach.server.joining import Joining

PAGE = "page"
"""Maker of the squares that the page shows."""


def _joining(call: Call) -> Joining:
    if call.joining is None:
        raise Conflict("phones cannot join: start the server with `coach serve --lan`")
    joining: Joining = call.joining
    return joining


def me(call: Call) -> Result:
    """Who asks."""
    caller = call.caller
    return {
        "role": "operator" if caller.access >= Access.OPERATOR else "onlooker",
        "laptop": caller.access == Access.LAPTOP, "lan": call.joining is not None, "id": caller.device,
        "name": caller.name,
    }  # fmt: skip


def pair(call: Call) -> Result:
    """Pairs the device that asks; it gets its token as a cookie that no script can read."""
    from coach.server.helppage import device_name

    joining = _joining(call)
    if call.caller.access == Access.LAPTOP:
        raise Conflict("this is the laptop itself: it needs no joining")
    known = next((d for d in joining.devices.list() if d.id == call.caller.device), None)
    taken = [d.name for d in joining.devices.list()]
    name = call.body.name or (known.name if known else device_name(call.header("User-Agent") or "", taken))
    device, token = joining.pair(call.body.secret, name, call.address, known)
    answer = Response(json.dumps({"id": device.id, "name": device.name, "role": device.role}), mimetype=JSON)
    set_cookie(answer, token)
    return answer


def leave(call: Call) -> Result:
    """Ends the pairing of the device that asks."""
    joining = _joining(call)
    if call.caller.device is None:
        raise Conflict("this is the laptop itself: it is not paired")
    joining.devices.remove(call.caller.device)
    answer = Response(json.dumps({"id": call.caller.device}), mimetype=JSON)
    set_cookie(answer, "")
    return answer


def joining(call: Call) -> Result:
    """How phones reach this laptop."""
    joining = _joining(call)
    return {
        "name": joining.name, "address": joining.address(), "help": joining.help_address(number=True),
        "fingerprint": joining.certificates.authority.fingerprint, "announced": joining.announced,
        "trouble": joining.trouble, "nowhere": not joining.addresses, "shut_s": joining.attempts.shut_s(),
        "open": [role for role in ("operator", "onlooker") if joining.devices.invited(role, PAGE)],
    }  # fmt: skip


def square(call: Call) -> Result:
    """A new square; the one before it, for the same role, ends."""
    url, seconds = _joining(call).square(call.body.role, PAGE, number=call.body.number)
    return {"url": url, "rows": rows_of(url), "seconds": seconds}


def rows_of(text: str) -> list[str]:
    """A QR code's rows (ISO/IEC 18004), 1 for dark, without the margin."""
    import segno

    return ["".join(map(str, row)) for row in segno.make_qr(text, error="m").matrix]


def devices(call: Call) -> Result:
    """Paired devices."""
    return {"devices": [device.as_dict() for device in _joining(call).devices.list()]}


def remove_device(call: Call) -> Result:
    """Cuts a device off; its open stream ends too."""
    _joining(call).devices.remove(call.path["id"])
    return {"id": call.path["id"]}


def name_device(call: Call) -> Result:
    """Gives a device another name."""
    _joining(call).devices.rename(call.path["id"], call.body.name)
    return {"id": call.path["id"]}


JOINING_ENDPOINTS: tuple[Endpoint, ...] = (
    Endpoint("GET", "/api/me", "Who asks, and what it may do.", me, gives=m.Me),
    Endpoint(
        "POST", "/api/pair", "Pairs the device that asks; its token comes as a cookie. For the network only.", pair,
        takes=m.Pair, gives=m.Joined, errors=(400, 409, 429),
    ),
    Endpoint(
        "POST", "/api/leave", "Ends the pairing of the device that asks.", leave, takes=Nothing, gives=m.Gone,
        errors=(400, 404, 409),
    ),
    Endpoint("GET", "/api/joining", "How phones reach this laptop.", joining, gives=m.JoiningView, errors=(409,)),
    Endpoint(
        "POST", "/api/joining/square", "A new square (QR code) with a secret that joins one device, once.", square,
        takes=m.Square, gives=m.SquareView, errors=(400, 409),
    ),
    Endpoint("GET", "/api/devices", "Paired devices.", devices, gives=m.DeviceList, errors=(409,)),
    Endpoint(
        "POST", "/api/devices/{id}/remove", "Ends a pairing: the device is cut off at once.", remove_device,
        takes=Nothing, gives=m.Gone, errors=(400, 404, 409),
    ),
    Endpoint(
        "POST", "/api/devices/{id}/name", "Gives a device another name.", name_device, takes=m.NewName, gives=m.Gone,
        errors=(400, 404, 409),
    ),
)  # fmt: skip
