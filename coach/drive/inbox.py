"""The bounded queue before the loop: a source waits when it is full; commands go past it.

Where samples have to be judged at once, the source's own thread does it while nothing waits: a thread that has to be
woken first stands behind whatever else the interpreter does meanwhile.
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable
from concurrent.futures import Future
from typing import Any

from coach.sources.base import Instant, SourceEvent

Command = tuple[Callable[[], Any], "Future[Any]"]
CAPACITY = 512
"""Events of the source; three seconds of a fast link, and little enough that a stop is soon heard."""


class Closed(Exception):
    """The loop has ended and takes nothing more."""


class Inbox:
    """Events of one source and commands of many threads, for one reader.

    Args:
        capacity: how many events wait at most.
        at_once: takes an instant in the thread that puts it, while nothing waits and the reader is not at work; it
            raises nothing. Left out, everything goes to the reader.

    Attributes:
        prompt: whether `at_once` is used; the reader may change it.
    """

    def __init__(self, capacity: int = CAPACITY, at_once: Callable[[Instant], None] | None = None) -> None:
        self._capacity = capacity
        self._at_once = at_once
        self.prompt = True
        # Never both: what is put is judged by one thread at a time, in its order.
        self._source_works = self._source_worked = False
        self._reader_works = False
        self._reader_waits = False
        self._events: deque[SourceEvent] = deque()
        self._commands: deque[Command] = deque()
        self._change = threading.Condition()
        self._reading = False
        self._closed = False

    def put(self, event: SourceEvent) -> None:
        """Adds an event, or has it taken at once; blocks while there is no room. Raises Closed."""
        at_once = self._at_once
        with self._change:
            while len(self._events) >= self._capacity and not self._closed:
                self._change.wait()
            if self._closed:
                raise Closed
            if at_once is None or not isinstance(event, Instant) or not self._free():
                self._events.append(event)
                if self._reading:
                    self._change.notify_all()
                return
            self._source_works = True
        try:
            at_once(event)
        finally:
            with self._change:
                self._source_works, self._source_worked = False, True
                if self._reader_waits:
                    self._change.notify_all()

    def _free(self) -> bool:
        """Whether the source may work: nothing came before, and the reader neither works nor wants to."""
        at_work = self._reader_works or self._reader_waits
        return self.prompt and not at_work and not self._events and not self._commands

    def ask(self, work: Callable[[], Any]) -> Future[Any]:
        """Has the reader run `work` before it takes another event. Raises Closed."""
        result: Future[Any] = Future()
        with self._change:
            if self._closed:
                raise Closed
            self._commands.append((work, result))
            if self._reading:
                self._change.notify_all()
        return result

    def take(self, seconds: float) -> tuple[list[Command], list[SourceEvent]]:
        """All commands and events there are; waits up to `seconds` (of the system's clock) for the first.

        While instants are taken at once it waits on: whoever takes them looks at the time as well. Until the next call
        the reader is at work, and nothing is taken elsewhere.
        """
        with self._change:
            self._reader_works = False
            while not self._events and not self._commands:
                self._source_worked = False
                self._reading = True
                self._change.wait(seconds)
                self._reading = False
                if not self._source_worked:
                    break
            self._reader_waits = True
            while self._source_works:
                self._change.wait()
            self._reader_waits, self._reader_works = False, True
            commands, events = list(self._commands), list(self._events)
            self._commands.clear()
            self._events.clear()
            if len(events) >= self._capacity:
                self._change.notify_all()
            return commands, events

    def close(self) -> None:
        """Refuses everything from now on; what waits is told so."""
        with self._change:
            self._closed = True
            commands = list(self._commands)
            self._commands.clear()
            self._change.notify_all()
        for _, result in commands:
            result.cancel()
