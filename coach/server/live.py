"""The live stream: server-sent events with ids that survive a lost connection. Each listener has its own place."""

from __future__ import annotations

import json
from collections.abc import Iterator
from threading import BoundedSemaphore

from flask import Response

from coach.drive.ring import Message
from coach.errors import CoachError
from coach.server.services import MOST_STREAMS, Services

HEARTBEAT_S = 2.0


class TooMany(CoachError):
    """More pages listen than there is room for."""

    code = "too_many"


def live(services: Services, last: str | None) -> Response:
    """The stream from after event `last`, or from a snapshot.

    Raises:
        TooMany: there are `MOST_STREAMS` already.
    """
    places = services.streams
    if not places.acquire(blocking=False):
        raise TooMany(f"{MOST_STREAMS} pages are watching already; close one of them")
    stream = _Stream(services, last, places)
    answer = Response(stream, mimetype="text/event-stream", direct_passthrough=True)
    answer.headers["Cache-Control"] = "no-store"
    return answer


class _Stream:
    """The body of one response; gives its place back when it ends, also when it was never begun."""

    def __init__(self, services: Services, last: str | None, places: BoundedSemaphore) -> None:
        self._events = events(services, last)
        self._places: BoundedSemaphore | None = places

    def __iter__(self) -> Iterator[bytes]:
        return self

    def __next__(self) -> bytes:
        return next(self._events)

    def close(self) -> None:
        """Called by the server when the client has gone or the stream is over."""
        places, self._places = self._places, None
        if places is not None:
            places.release()


def events(services: Services, last: str | None) -> Iterator[bytes]:
    """Events in the format of server-sent events, until the ring is closed.

    A listener whose `last` is known is told how many messages it missed (`resumed`), and gets them. One who was away
    too long is told so by a `gap`, and gets a `state`. One who knew an earlier start of the server is told so too, and
    then gets everything since this start, as far as it is kept: nothing of it was seen before.
    """
    ring, boot = services.ring, services.boot
    yield b"retry: 1000\n\n"
    known = _place(last, boot)
    missed = None if known is None else ring.since(known)
    at = 0 if known is None else known
    if missed is None:
        restarted = last is not None and known is None
        missed = ring.since(0) if restarted else None
        at = ring.last if missed is None else 0
        if last is not None:
            yield _event("gap", json.dumps({"after": last, "restarted": restarted}), f"{boot}-{at}")
        yield _event("state", json.dumps(services.state(), separators=(",", ":")), f"{boot}-{at}")
    if missed is not None:
        # Without an id of its own: whoever is cut off right here is no farther than before.
        yield f"event: resumed\ndata: {json.dumps({'messages': len(missed)})}\n\n".encode()
    while not ring.closed:
        messages = ring.wait(at, HEARTBEAT_S)
        if messages is None:
            # This listener read so slowly that messages are gone: it is told, and goes on with the newest state.
            before, at = at, ring.last
            yield _event("gap", json.dumps({"after": f"{boot}-{before}", "restarted": False}), f"{boot}-{at}")
            yield _event("state", json.dumps(services.state(), separators=(",", ":")), f"{boot}-{at}")
        elif messages:
            at = messages[-1].sequence
            yield b"".join(_message(boot, m) for m in messages)
        elif not ring.closed:
            yield b"event: ping\ndata: {}\n\n"


def _place(last: str | None, boot: str) -> int | None:
    """The number in an id of this boot, else None."""
    if last is None:
        return None
    name, _, number = last.rpartition("-")
    return int(number) if name == boot and number.isascii() and number.isdigit() and len(number) < 16 else None


def _message(boot: str, message: Message) -> bytes:
    return _event(message.kind, message.text(), f"{boot}-{message.sequence}")


def _event(kind: str, data: str, number: str) -> bytes:
    # JSON has no raw line breaks, so the data is one line.
    return f"id: {number}\nevent: {kind}\ndata: {data}\n\n".encode()
