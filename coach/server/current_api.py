"""The endpoints of the drive that runs: stopping it, and all that people say while it does."""

from __future__ import annotations

from typing import Any

from coach.drive.drive import Drive
from coach.server import answers as a
from coach.server import models as m
from coach.server.endpoint import Call, Endpoint, Result


def stop(call: Call) -> Result:
    """Ends the drive in ten seconds."""
    current = call.services.running()
    current.stop()
    return _done(current)


def carry_on(call: Call) -> Result:
    """Takes a stop back."""
    current = call.services.running()
    current.carry_on()
    return _done(current)


def finish(call: Call) -> Result:
    """Ends the drive at once."""
    current = call.services.running()
    current.finish()
    return _done(current)


def pause(call: Call) -> Result:
    """Nothing counts until resumed."""
    current = call.services.in_hand()
    current.pause()
    return _done(current)


def resume(call: Call) -> Result:
    """Ends a pause."""
    current = call.services.in_hand()
    current.resume()
    return _done(current)


def arm(call: Call) -> Result:
    """Arms a capture."""
    call.services.check_hand(call.body.capture)
    return _mark(call, "arm")


def disarm(call: Call) -> Result:
    """Takes arming back."""
    return _mark(call, "disarm")


def skip(call: Call) -> Result:
    """Leaves a capture out."""
    return _mark(call, "skip")


def unskip(call: Call) -> Result:
    """Takes a capture up again."""
    call.services.check_hand(call.body.capture)
    return _mark(call, "unskip")


def confirm(call: Call) -> Result:
    """Confirms what nobody measures."""
    return _mark(call, "confirm", call.body.item)


def role(call: Call) -> Result:
    """Says who holds the phone."""
    return _done(call.services.set_role(call.body.role))


def seen(call: Call) -> Result:
    """Closes the alarm."""
    current = call.services.in_hand()
    current.seen()
    return _done(current)


def _mark(call: Call, kind: str, text: str = "") -> Result:
    current = call.services.in_hand()
    current.mark(kind, call.services.capture_of(current, call.body.capture), text)
    return _done(current)


def _done(drive: Drive) -> dict[str, Any]:
    return {"id": drive.id, "phase": drive.phase}


def _current(name: str, summary: str, work: Any, takes: type[m.Asked] = m.Nothing) -> Endpoint:
    path = f"/api/drives/current/{name}"
    return Endpoint("POST", path, summary, work, takes=takes, gives=a.Done, errors=(400, 404, 409))


CURRENT_ENDPOINTS: tuple[Endpoint, ...] = (
    _current("stop", "Ends the drive in ten seconds; recording and judging go on until then.", stop),
    _current("carry-on", "Takes a stop back.", carry_on),
    _current("finish", "Ends the drive at once.", finish),
    _current("pause", "Nothing counts until `resume`; recording goes on.", pause),
    _current("resume", "Ends a pause.", resume),
    _current("arm", "Arms a closed-course or parked capture; at standstill only.", arm, m.OfCapture),
    _current("disarm", "Takes arming back.", disarm, m.OfCapture),
    _current("skip", "Leaves a capture out for now.", skip, m.OfCapture),
    _current("unskip", "Takes a skipped capture up again.", unskip, m.OfCapture),
    _current("confirm", "Confirms a state that nobody measures.", confirm, m.Confirm),
    _current("role", "Says who holds the phone.", role, m.SetRole),
    _current("seen", "Closes the alarm.", seen, m.MaybeOfCapture),
)
