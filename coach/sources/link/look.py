"""Connects once, looks at everything, and gives the port back."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import replace

from coach.clock import Clock
from coach.signals import Catalogue
from coach.sources.link.discover import Found, discover
from coach.sources.link.port import BAUDS, Opener, check_url, open_serial
from coach.sources.link.session import Session
from coach.sources.link.trouble import Failure

# What another speed of the serial port may mend.
_SPEED = frozenset({"silent", "garbage", "no_prompt", "not_understood", "broken_frame"})


def look(
    url: str, catalogue: Catalogue, clock: Clock, stop: threading.Event, *, opener: Opener = open_serial,
    tell: Callable[[str], None] = lambda _: None,
) -> Found:  # fmt: skip
    """What adapter and car say about themselves. Serial adapters are tried at each of the usual speeds.

    Args:
        url: the adapter's address.
        catalogue: the signals that are looked for.
        clock: for deadlines.
        stop: ends it.
        opener: opens the port.
        tell: is told what is being looked for, in a word.

    Raises:
        BadInput: no address of an adapter.
        Failure: there is no adapter or no car, and why.
        Stopped: somebody wants to stop.
    """
    check_url(url)
    bauds = BAUDS[:1] if "://" in url else BAUDS
    first: Failure | None = None
    for baud in bauds:
        tell("adapter")
        try:
            session = Session.open(url, baud, clock, stop, opener=opener)
        except Failure as failure:
            if failure.code not in _SPEED:
                raise
            first = first or failure
            continue
        try:
            return replace(discover(session, catalogue, tell), baud=baud)
        finally:
            session.close()
    assert first is not None
    raise first
