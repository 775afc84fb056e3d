"""Who may do what: one table over all endpoints. An address that is not in it is for the laptop itself only."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import IntEnum

from coach.errors import CoachError


class Access(IntEnum):
    """Each may do what those before it may."""

    ANYONE = 0
    """A stranger on the network."""
    ONLOOKER = 1
    """A paired device that watches only."""
    OPERATOR = 2
    """A paired device that starts, stops and chooses."""
    LAPTOP = 3
    """The page on this machine itself: it pairs and removes devices."""


@dataclass(frozen=True)
class Caller:
    """Who asks.

    Attributes:
        device: id of a paired device; None on this machine, and for strangers.
        name: what people know it by.
    """

    access: Access
    device: str | None = None
    name: str = ""


LAPTOP = Caller(Access.LAPTOP, None, "laptop")
STRANGER = Caller(Access.ANYONE)

_WATCH = (
    "GET /api/about",
    "GET /api/words",
    "GET /api/openapi.json",
    "GET /api/me",
    "GET /api/recipes",
    "GET /api/recipes/{sha}",
    "GET /api/sources",
    "GET /api/cars/{source}",
    "GET /api/ready",
    "GET /api/plan",
    "POST /api/plan",
    "GET /api/plan.svg",
    "GET /api/drives",
    "GET /api/drives/{id}",
    "GET /api/drives/{id}/attempts",
    "GET /api/drives/{id}/lane",
    "GET /api/drives/{id}/windows/{capture}/{number}",
    "GET /api/drives/{id}/windows/{capture}/{number}.csv",
    "GET /api/log",
    "GET /api/compare",
    "GET /api/drives/{id}/review",
    "GET /api/drives/{id}/summary/{capture}/{number}",
    "GET /api/drives/{id}/traces",
    "GET /api/drives/{id}/over/{capture}/{number}",
    "GET /api/drives/{id}/coverage",
    "GET /api/drives/{id}/health",
    "GET /api/drives/{id}/power/{capture}/{number}",
    "GET /api/drives/{id}/report",
    "GET /api/drives/{id}/label",
    "GET /api/state",
    "GET /api/live",
    "POST /api/leave",
)
_ACT = (
    "POST /api/recipes",
    "POST /api/recipes/look",
    "POST /api/drives",
    "POST /api/drives/{id}/label",
    "POST /api/links/{source}/retry",
    "POST /api/cars/{source}/facts",
    "POST /api/cars/{source}/pedal",
    "POST /api/cars/{source}/pedal/step",
    "POST /api/bundles",
    "GET /api/bundles/{id}.zip",
    "POST /api/bundles/check",
    *(
        f"POST /api/drives/current/{what}"
        for what in (
            "stop",
            "carry-on",
            "finish",
            "pause",
            "resume",
            "arm",
            "disarm",
            "skip",
            "unskip",
            "confirm",
            "role",
            "seen",
            "dial",
            "read-as",
            "retry",
        )
    ),
)
_OWN = (
    "GET /api/desk/starts",
    "POST /api/desk/new",
    "POST /api/desk/edit",
    "POST /api/desk/preview",
    "POST /api/desk/prove",
    "POST /api/desk/changes",
    "POST /api/desk/share",
    "GET /api/desk/customers",
    "GET /api/desk/customer",
    "POST /api/desk/asked",
    "POST /api/desk/received",
    "GET /api/desk/received/{sha}.zip",
    "POST /api/desk/received/{sha}/assign",
    "POST /api/desk/received/{sha}/open",
    "DELETE /api/desk/received/{sha}",
    "POST /api/desk/again",
    "GET /api/desk/again",
    "POST /api/desk/again/stop",
    "POST /api/keys",
    "GET /api/data",
    "DELETE /api/drives/{id}",
    "GET /api/joining",
    "POST /api/joining/square",
    "GET /api/devices",
    "POST /api/devices/{id}/remove",
    "POST /api/devices/{id}/name",
)

TABLE: Mapping[str, Access] = {
    "POST /api/pair": Access.ANYONE,
    **dict.fromkeys(_WATCH, Access.ONLOOKER),
    **dict.fromkeys(_ACT, Access.OPERATOR),
    **dict.fromkeys(_OWN, Access.LAPTOP),
}
"""Method and address, as the description of the API writes them, to who may at least be asking."""


class NotJoined(CoachError):
    """A stranger asks for what only paired devices get."""

    code = "not_joined"
    status = 401


class NotAllowed(CoachError):
    """A paired device asks for what its role does not cover."""

    code = "not_allowed"
    status = 403


def check_access(caller: Caller, method: str, path: str) -> None:
    """Refuses what `caller` may not ask for.

    Args:
        path: as the description of the API writes it, e.g. `/api/drives/{id}`.

    Raises:
        NotJoined: no paired device asks.
        NotAllowed: its role does not cover it.
    """
    needed = TABLE.get(f"{method} {path}", Access.LAPTOP)
    if caller.access >= needed:
        return
    if caller.access == Access.ANYONE:
        raise NotJoined("this device is not joined to the laptop; scan the square that it shows")
    if needed == Access.LAPTOP:
        raise NotAllowed("this is done on the laptop itself")
    raise NotAllowed("this device watches only; an operator's device, or the laptop, does this")
