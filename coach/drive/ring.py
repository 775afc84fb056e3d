"""The last messages to listeners, numbered. A listener that falls behind loses nothing but its own place."""

from __future__ import annotations

import json
import threading
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

CAPACITY = 2048
"""About three minutes of states at 10 Hz; who was away longer gets a snapshot instead."""


@dataclass(slots=True)
class Message:
    """One message: its number (from 1), what it is (`state`, `judge`, `saved`, `drive`), and JSON-able data."""

    sequence: int
    kind: str
    data: dict[str, Any]
    _text: str | None = None

    def text(self) -> str:
        """The data as JSON on one line, made once for all listeners, and not in the loop's own thread."""
        if self._text is None:
            self._text = json.dumps(self.data, separators=(",", ":"), ensure_ascii=False, allow_nan=False)
        return self._text


class Ring:
    """A bounded list of messages that any thread may add to and any number may wait on."""

    def __init__(self, capacity: int = CAPACITY) -> None:
        self._messages: deque[Message] = deque(maxlen=capacity)
        self._change = threading.Condition()
        self._last = 0
        self._state: Message | None = None
        self._closed = False

    @property
    def last(self) -> int:
        """Number of the newest message; 0 before the first."""
        return self._last

    @property
    def closed(self) -> bool:
        """Whether `close` was called."""
        return self._closed

    @property
    def state(self) -> dict[str, Any] | None:
        """The newest `state`, or None."""
        return None if self._state is None else self._state.data

    def publish(self, kind: str, data: dict[str, Any]) -> int:
        """Adds a message and wakes all listeners; gives its number."""
        with self._change:
            self._last += 1
            message = Message(self._last, kind, data)
            self._messages.append(message)
            if kind == "state":
                self._state = message
            self._change.notify_all()
            return self._last

    def amend(self, change: Callable[[dict[str, Any]], dict[str, Any] | None]) -> None:
        """Publishes the newest state as `change` makes it; nothing where there is none, or where it gives None."""
        with self._change:
            changed = None if self.state is None else change(self.state)
            if changed is not None:
                self.publish("state", changed)

    def since(self, sequence: int) -> list[Message] | None:
        """Messages after number `sequence`, oldest first; None when some of them are gone or it is from elsewhere."""
        with self._change:
            return self._since(sequence)

    def wait(self, sequence: int, seconds: float) -> list[Message] | None:
        """Like `since`, but waits up to `seconds` (of the system's clock) for a message to come, or for `close`."""
        with self._change:
            self._change.wait_for(lambda: self._last != sequence or self._closed, timeout=seconds)
            return self._since(sequence)

    def close(self) -> None:
        """Ends all waiting, for good."""
        with self._change:
            self._closed = True
            self._change.notify_all()

    def _since(self, sequence: int) -> list[Message] | None:
        if sequence > self._last:
            return None
        missing = self._last - sequence
        if missing == 0:
            return []
        if missing > len(self._messages):
            return None
        return [self._messages[i] for i in range(len(self._messages) - missing, len(self._messages))]
