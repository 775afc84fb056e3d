"""The endpoint of the link: asks again at once, when somebody says that it is quiet or that the adapter is there."""

from __future__ import annotations

from coach.errors import Conflict
from coach.server import answers as a
from coach.server.endpoint import Call, Endpoint, Result
from coach.sources.link.source import LinkSource


def retry_current(call: Call) -> Result:
    """Asks the car of the running drive again."""
    drive = call.services.in_hand()
    if not isinstance(drive.source, LinkSource):
        raise Conflict("this drive has no car: there is nothing to ask again", where=drive.id)
    drive.source.retry()
    return {"id": drive.id, "phase": drive.phase}


def retry(call: Call) -> Result:
    """Asks again at once."""
    entry = call.services.garage.entry(call.path["source"])
    if entry.link is None:
        raise Conflict("this source is no car: there is nothing to ask again", where=entry.id)
    return {"driving": entry.link.retry()}


LINK_ENDPOINTS: tuple[Endpoint, ...] = (
    Endpoint(
        "POST", "/api/drives/current/retry", "Asks the car again at once, after another tester was unplugged.",
        retry_current, gives=a.Done, errors=(409,),
    ),
    Endpoint(
        "POST", "/api/links/{source}/retry",
        "Asks the car again at once: after another tester was unplugged, or to look for it anew.", retry,
        gives=a.Retried, errors=(404, 409),
    ),
)  # fmt: skip
