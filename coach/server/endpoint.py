"""One list of endpoints, from which both the routes and the OpenAPI description are made."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from flask import Response

from coach.server.answers import Answer
from coach.server.models import Asked
from coach.server.roles import LAPTOP, Caller
from coach.server.services import Services

Result = Answer | dict[str, Any] | list[Any] | str | Response
"""A model or JSON-able data, JSON text that is ready, or a whole response."""
JSON = "application/json"


@dataclass(frozen=True)
class Call:
    """One request, checked.

    Attributes:
        path: the parts of the address, by name.
        query, body: models as the endpoint declares them; None where it declares none.
        raw: bytes of the body where the endpoint takes other things than JSON.
        header: a header's value by name, or None.
        caller: who asks.
        joining: how the network is joined (a `Joining`); None where only this machine is listened to.
        address: where it is asked from.
    """

    services: Services
    path: Mapping[str, str]
    query: Any
    body: Any
    raw: bytes
    header: Callable[[str], str | None]
    caller: Caller = LAPTOP
    joining: Any = None
    address: str = "127.0.0.1"

    def number(self, name: str = "number") -> int:
        """A part of the address that is a whole number."""
        return int(self.path[name])


@dataclass(frozen=True)
class Endpoint:
    """One method at one address.

    Attributes:
        path: as OpenAPI writes it, e.g. `/api/drives/{id}`; a part named `number` is a whole number.
        takes: model of a JSON body, or None.
        takes_text: media types of a body that is not JSON; empty where there is none.
        gives: model of the answer; None where it is not JSON.
        media: media type of the answer.
        most_bytes: a larger body is refused.
        errors: statuses that it may answer with besides those that every endpoint may.
        streamed: its work reads the body by itself, a piece at a time.
    """

    method: str
    path: str
    summary: str
    work: Callable[[Call], Result]
    query: type[Asked] | None = None
    takes: type[Asked] | None = None
    takes_text: tuple[str, ...] = ()
    gives: type[Answer] | None = None
    media: str = JSON
    status: int = 200
    most_bytes: int = 64_000
    errors: tuple[int, ...] = ()
    streamed: bool = False

    @property
    def name(self) -> str:
        """A name for the route, e.g. `get_api_drives_id`."""
        return f"{self.method} {self.path}".lower().translate(str.maketrans(" /.-", "____", "{}"))
