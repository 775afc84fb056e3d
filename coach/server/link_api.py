"""The endpoint of the link: asks again at once, when somebody says that it is quiet or that the adapter is there."""

from __future__ import annotations

from coach.errors import Conflict
from coach.server import models as m
from coach.server.endpoint import Call, Endpoint, Result


def retry(call: Call) -> Result:
    """Asks again at once."""
    entry = call.services.garage.entry(call.path["source"])
    if entry.link is None:
        raise Conflict("this source is no car: there is nothing to ask again", where=entry.id)
    return {"driving": entry.link.retry()}


LINK_ENDPOINTS: tuple[Endpoint, ...] = (
    Endpoint(
        "POST", "/api/links/{source}/retry",
        "Asks the car again at once: after another tester was unplugged, or to look for it anew.", retry, gives=m.Retried,
        errors=(404, 409),
    ),
)  # fmt: skip
