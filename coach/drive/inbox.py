"""The bounded queue before the loop: a source waits when it is full; commands go past it."""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable
from concurrent.futures import Future
from typing import Any

from coach.sources.base import SourceEvent

Command = tuple[Callable[[], Any], "Future[Any]"]
CAPACITY = 512
"""Events of the source; three seconds of a fast link, and little enough that a stop is soon heard."""


class Closed(Exception):
    """The loop has ended and takes nothing more."""


class Inbox:
    """Events of one source and commands of many threads, for one reader."""

    def __init__(self, capacity: int = CAPACITY) -> None:
        self._capacity = capacity
        self._events: deque[SourceEvent] = deque()
        self._commands: deque[Command] = deque()
        self._change = threading.Condition()
        self._reading = False
        self._closed = False

    def put(self, event: SourceEvent) -> None:
        """Adds an event; blocks while there is no room. Raises Closed."""
        with self._change:
            while len(self._events) >= self._capacity and not self._closed:
                self._change.wait()
            if self._closed:
                raise Closed
            self._events.append(event)
            if self._reading:
                self._change.notify_all()

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
        """All commands and events there are; waits up to `seconds` (of the system's clock) for the first."""
        with self._change:
            if not self._events and not self._commands:
                self._reading = True
                self._change.wait(seconds)
                self._reading = False
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
