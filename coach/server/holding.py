"""Which device has a drive in hand. When another one takes over, the passenger's confirmation is asked for again."""

from __future__ import annotations

import threading

from coach.drive.drive import Drive
from coach.errors import Conflict
from coach.server.roles import Caller

FREE = frozenset({"stop", "finish", "seen"})
"""What anybody who operates may do at any time without taking over: stopping is never locked."""
ROLE = "role"
MARK = "device"
"""Kind of the mark that keeps, in the drive, which device took it in hand."""


NOBODY = ""
"""Instead of a device's id, when a drive is in no hand until somebody confirms."""


class Holding:
    """Follows who has the running drive in hand; any thread may ask."""

    def __init__(self) -> None:
        self._drive: str | None = None
        self._device: str | None = None
        self._lock = threading.Lock()

    def begun(self, drive: Drive, caller: Caller) -> None:
        """`caller` has started `drive` and has it in hand."""
        with self._lock:
            self._drive, self._device = drive.id, caller.device
        drive.mark(MARK, None, caller.name)

    def before(self, drive: Drive, caller: Caller, action: str, *, moving: bool) -> None:
        """To be called before `caller` does something to the running drive.

        Args:
            action: the last part of its address, e.g. `arm`.
            moving: whether the car moves, or may.

        Raises:
            Conflict: another device has it in hand and the car moves; confirming comes first.
        """
        if action in FREE:
            return
        with self._lock:
            known = self._drive == drive.id
            if known and self._device == caller.device:
                return
            # Refused below, nobody has it in hand: neither the new device nor the old one acts before one confirms.
            refused = known and moving and action != ROLE
            again = refused and self._device == NOBODY
            self._drive, self._device = drive.id, NOBODY if refused else caller.device
        if not again:
            drive.mark(MARK, None, caller.name)
            if known and action != ROLE:
                drive.mark(ROLE, None, "")
        if refused:
            raise Conflict(
                "another device has this drive in hand; confirm first that you are the passenger", where=action
            )
