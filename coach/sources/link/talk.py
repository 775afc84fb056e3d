"""One request, one reply, one deadline; after silence the adapter is brought back in step, and that is proved."""

from __future__ import annotations

import threading
from dataclasses import dataclass

from coach.clock import US, Clock
from coach.sources.link.trouble import Failure, Stopped
from coach.sources.link.wire import Wire

DEADLINE_S = 0.5
"""How long a request may take; finding the car's protocol and waking the adapter may take longer."""
LOOK_S = 0.05
"""How often a wait looks whether somebody wants to stop."""
QUIET_S = 0.06
"""After a resync so long a silence says that nothing more comes."""
MOST = 20_000
"""More characters than any answer has: the adapter babbles."""


@dataclass(frozen=True, slots=True)
class Reply:
    """The lines of a reply and when, on the steady clock, it was asked for, began and was complete."""

    lines: tuple[str, ...]
    sent_us: int
    first_us: int
    done_us: int

    @property
    def sample_us(self) -> int:
        """When the car sampled: halfway between request and first byte."""
        return (self.sent_us + self.first_us) // 2

    @property
    def uncertainty_us(self) -> int:
        """How far off `sample_us` may be, either way."""
        return (self.first_us - self.sent_us + 1) // 2


class Talk:
    """Requests and replies over one wire; it belongs to one thread.

    Attributes:
        silent: requests in a row that brought no reply in time.
        late: how often something came that nobody waited for any more.
        in_step: whether the adapter showed its prompt after the last silence.
        echoes: whether the adapter may still repeat what it is sent; if it does later, it has started anew.
        name: what the adapter says to ATI, once that is known.
        astray: whether what comes next may be the answer to an earlier request: the adapter was late once, and answers
            to the same parameters look alike. Then nothing is asked for before it has answered something else.
    """

    def __init__(self, wire: Wire, clock: Clock, stop: threading.Event) -> None:
        self._wire, self._clock, self._stop = wire, clock, stop
        self.silent = 0
        self.late = 0
        self.in_step = False
        self.echoes = True
        self.name = ""
        self.astray = False

    def ask(self, command: str, deadline_s: float = DEADLINE_S) -> Reply:
        """Sends `command` and waits for the adapter's prompt.

        Raises:
            Failure: `silent` or `no_prompt` at the deadline (the adapter is then back in step, or silent), `garbage`,
                `adapter_reset`, `disconnected`.
            Stopped: somebody wants to stop.
        """
        if left := self._wire.read(0):
            self.late += 1  # it belongs to nothing that is still waited for
            self.astray |= bool(left.strip(b"\0 \r\n"))
        if self.astray and self.name:
            self._find_step()
        sent_us = self._clock.steady_us()
        self._wire.send(command)
        first_us, data = None, bytearray()
        while b">" not in data:
            now_us = self._clock.steady_us()
            left_s = deadline_s - (now_us - sent_us) / US
            if left_s <= 0 or len(data) > MOST:
                self.silent += 1
                self.astray = True
                self.resync()
                raise Failure("no_prompt" if data else "silent")
            chunk = self._look(left_s)
            if chunk and first_us is None:
                first_us = self._clock.steady_us()
            data += chunk
        self.silent = 0
        assert first_us is not None
        lines = _lines(bytes(data))
        if lines[:1] == (command,):
            if not self.echoes:
                raise Failure("adapter_reset")
            lines = lines[1:]
        return Reply(lines, sent_us, first_us, self._clock.steady_us())

    def _find_step(self) -> None:
        """Asks the adapter who it is and waits for that very answer: what was still to come came before it.

        Should it be the answer to an earlier such question, the one to this is no data either, and is noticed.

        Raises:
            Failure: it does not come; `silent`, or `garbage` or `no_prompt` where something else did.
            Stopped: somebody wants to stop.
        """
        start_us, data, name = self._clock.steady_us(), b"", self.name.encode()
        self._wire.send("ATI")
        while self._clock.steady_us() - start_us < DEADLINE_S * US and len(data) <= MOST:
            data += self._look(LOOK_S)
            if name in data[: data.rfind(b">") + 1]:
                self.astray = False
                return
        self.silent += 1
        raise Failure("garbage" if b">" in data else "no_prompt" if data else "silent")

    def resync(self) -> None:
        """A bare carriage return, then all up to a prompt and a short silence is thrown away. Raises as `ask`."""
        self._wire.nudge()
        start_us, prompt, self.in_step = self._clock.steady_us(), False, False
        while self._clock.steady_us() - start_us < DEADLINE_S * US:
            chunk = self._look(QUIET_S if prompt else LOOK_S)
            prompt = prompt or b">" in chunk
            self.in_step = prompt
            if prompt and not chunk:
                return

    def _look(self, most_s: float) -> bytes:
        if self._stop.is_set():
            raise Stopped
        return self._wire.read(min(most_s, LOOK_S))

    def now_us(self) -> int:
        """The clock that replies are stamped with."""
        return self._clock.steady_us()

    def overheard(self) -> bool:
        """Whether something came that nobody asked for; it is thrown away. Raises Failure when the port is gone."""
        return bool(self._wire.read(0))

    def close(self) -> None:
        """Gives up the port."""
        self._wire.close()


def _lines(data: bytes) -> tuple[str, ...]:
    """The lines before the prompt. Raises Failure for bytes that are no text."""
    body = data.partition(b">")[0].replace(b"\x00", b"").replace(b"\n", b"\r")
    if any(b >= 0x80 or (b < 0x20 and b != 0x0D) for b in body):
        raise Failure("garbage")
    return tuple(line for line in (part.strip() for part in body.decode("ascii").split("\r")) if line)
