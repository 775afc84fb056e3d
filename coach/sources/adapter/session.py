"""One client at the adapter: lines out of bytes, the answer in its time, and what goes wrong with bytes on the way."""

from __future__ import annotations

import threading
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from random import Random

from coach.clock import Clock
from coach.sources.adapter.faults import Fault, Faults
from coach.sources.adapter.ports import Connection
from coach.sources.adapter.speaking import STOPPED, Adapter, Said

KLINE_S = 0.15
"""What a request takes longer on a K-line: its waits and its 10,400 baud (about; from memory)."""

_LONGEST_LINE = 256
_PROMPT = b">"


@dataclass(frozen=True)
class Timing:
    """How long an answer takes: `latency_s`, more or less by up to `jitter_s`, and `each_s` for each parameter."""

    latency_s: float
    jitter_s: float
    random: Random
    each_s: float = 0.0

    def next_s(self, parameters: int) -> float:
        """The time of the next answer, never below zero."""
        asked_s = self.each_s * parameters
        return max(0.0, self.latency_s + self.jitter_s * (2 * self.random.random() - 1)) + asked_s


class Session:
    """Serves one connection until it ends.

    Args:
        adapter: what answers.
        connection: the client.
        faults: of the wire.
        timing: of the answers.
        clock: times and waits.
        since_us: time since the adapter's start.
    """

    def __init__(
        self,
        adapter: Adapter,
        connection: Connection,
        faults: Faults,
        timing: Timing,
        clock: Clock,
        since_us: Callable[[], int],
    ) -> None:
        self._adapter, self._connection, self._faults = adapter, connection, faults
        self._timing, self._clock, self._since_us = timing, clock, since_us
        self._lock = threading.Lock()
        self._heard = bytearray()
        self._arrived = threading.Event()
        self._gone = threading.Event()

    def run(self) -> None:
        """Serves until the client goes, a fault ends it or `end` is called."""
        reader = threading.Thread(target=self._read, daemon=True, name="adapter-reader")
        reader.start()
        try:
            with suppress(OSError):  # the client went away while it was spoken to
                while (line := self._next_line()) is not None and self._serve(line):
                    pass
        finally:
            self.end()
            reader.join()
            self._connection.release()

    def end(self) -> None:
        """Hangs up. Any thread may call it while `run` has not returned."""
        self._gone.set()
        self._arrived.set()
        self._connection.hang_up()

    def _read(self) -> None:
        while data := self._connection.read():
            with self._lock:
                # A line feed does not count: one behind a carriage return must not stop what that has just asked.
                self._heard += data.replace(b"\n", b"")
                if self._heard:
                    self._arrived.set()
        self._gone.set()
        self._arrived.set()

    def _next_line(self) -> bytes | None:
        """Waits for a line; None when the client has gone."""
        while True:
            with self._lock:
                line, end, rest = bytes(self._heard).partition(b"\r")
                if end or len(line) > _LONGEST_LINE:
                    self._heard[:] = rest
                if not self._heard or not end:
                    self._arrived.clear()
                if end or len(line) > _LONGEST_LINE:
                    return line
            if self._gone.is_set():
                return None
            self._arrived.wait()

    def _serve(self, line: bytes) -> bool:
        """Answers one line; False when the connection shall end."""
        fault = self._faults.take(("wire",), self._since_us())
        kind = fault.kind if fault else ""
        if kind == "disconnect":
            return False
        settings = self._adapter.settings
        end = b"\r\n" if settings.linefeeds else b"\r"
        echo = line.replace(b"\0", b"").replace(b"\n", b"") + end if settings.echo else b""
        said = self._adapter.hear(line.decode("ascii", "replace"), self._since_us())
        if kind == "silence":
            return True
        if kind == "reset":
            said = Said([(0.0, self._adapter.restart())], blank=True)
        if fault is not None:
            return self._send_faulty(fault, echo, said, end)
        self._connection.write(echo)
        for after_s, data in self._pieces(said, end):
            if not self._wait(after_s, stopped_by_bytes=said.request):
                return not self._gone.is_set()
            self._connection.write(data)
        return True

    def _pieces(self, said: Said, end: bytes) -> list[tuple[float, bytes]]:
        """The answer with its times; what comes at once is one piece."""
        slow = KLINE_S if said.request and not self._adapter.can else 0.0
        pieces = [(self._timing.next_s(said.parameters) + slow, end if said.blank else b"")]
        lines = [(after_s, line.encode("ascii") + end) for after_s, line in said.lines]
        for after_s, line in [*lines, (0.0, end + _PROMPT)]:
            if after_s > 0:
                pieces.append((after_s, line))
            else:
                pieces[-1] = (pieces[-1][0], pieces[-1][1] + line)
        return pieces

    def _wait(self, seconds: float, *, stopped_by_bytes: bool) -> bool:
        """Waits its time. Bytes that come while the car is asked stop it, as on a real adapter; they are dropped."""
        if not stopped_by_bytes:
            self._clock.wait(self._gone, seconds)
            return not self._gone.is_set()
        if seconds > 0:
            self._clock.wait(self._arrived, seconds)
        if self._gone.is_set():
            return False
        with self._lock:
            stopped = bool(self._heard)
            self._heard.clear()
        if stopped:
            end = b"\r\n" if self._adapter.settings.linefeeds else b"\r"
            self._connection.write(STOPPED.encode("ascii") + end + end + _PROMPT)
        return not stopped

    def _send_faulty(self, fault: Fault, echo: bytes, said: Said, end: bytes) -> bool:
        """Sends an answer that the wire spoils. It cannot be stopped: it is on its way already."""
        pieces = self._pieces(said, end)
        whole = b"".join(data for _, data in pieces)
        wait_s = sum(after_s for after_s, _ in pieces) + (fault.seconds if fault.kind == "late" else 0.0)
        self._connection.write(echo)
        if self._clock.wait(self._gone, wait_s):
            return False
        for data in spoiled_bytes(fault.kind, whole, self._timing.random):
            self._connection.write(data)
            if fault.kind == "split" and self._clock.wait(self._gone, fault.seconds):
                return False
        return True


def spoiled_bytes(kind: str, whole: bytes, random: Random) -> list[bytes]:
    """An answer as the wire brings it with a fault, in the pieces in which it comes."""
    body = whole.removesuffix(_PROMPT)
    if kind == "noise":
        return [random.randbytes(random.randint(4, 40)) + _PROMPT]
    if kind == "dropped":
        lost = {random.randrange(len(body)), *(at for at in range(len(body)) if random.random() < 0.1)}
        return [bytes(byte for at, byte in enumerate(body) if at not in lost) + _PROMPT]
    if kind == "split":
        return [bytes([byte]) for byte in whole]
    return [body] if kind == "no-prompt" else [whole]
