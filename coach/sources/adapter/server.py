"""The virtual adapter as something to plug into: a TCP port or a pty, one client at a time, the newest one."""

from __future__ import annotations

import tempfile
import threading
from pathlib import Path
from random import Random
from types import TracebackType
from typing import Self

from coach.clock import Clock
from coach.errors import BadInput
from coach.sources.adapter.car import Car
from coach.sources.adapter.faults import Faults
from coach.sources.adapter.ports import Port, PtyPort, TcpPort
from coach.sources.adapter.services import MOST_PARAMETERS
from coach.sources.adapter.session import Session, Timing
from coach.sources.adapter.speaking import Adapter

PROTOCOL_OF = {("can", 11): 6, ("can", 29): 7, ("k-line", 11): 5, ("k-line", 29): 5}


class AdapterServer:
    """A virtual adapter with a car behind it.

    Args:
        car: the car.
        faults: what goes wrong; tests keep it to add more while it runs.
        latency_s: from a command to its answer.
        jitter_s: how much more or less, evenly spread.
        each_s: how much longer for each parameter of a request.
        batch: the most parameters that the car takes in one request, 1 to 6.
        seed: of jitter and of what is random about faults.
        ecus: control units that answer, 1 or 2.
        bits: of the headers on CAN, 11 or 29.
        bus: `can`, or `k-line` for one slow parameter a request.
        pad: the byte that fills CAN frames up to eight, None for short frames.
        port: TCP port on this machine; 0 takes a free one, and keeps it when it is plugged in again.
        pty: a pseudo terminal in place of the port.
        clock: waits and times.

    Raises:
        BadInput: a port that is taken, a number that makes no sense.
    """

    def __init__(
        self,
        car: Car,
        *,
        faults: Faults | None = None,
        latency_s: float = 0.0,
        jitter_s: float = 0.0,
        each_s: float = 0.0,
        batch: int = MOST_PARAMETERS,
        seed: int = 0,
        ecus: int = 1,
        bits: int = 11,
        bus: str = "can",
        pad: int | None = 0xAA,
        port: int = 0,
        pty: bool = False,
        clock: Clock | None = None,
    ) -> None:
        if ecus not in {1, 2} or (bus, bits) not in PROTOCOL_OF:
            raise BadInput("a car here has 1 or 2 control units, on can with headers of 11 or 29 bits or on a k-line")
        if not all(0 <= time_s <= 60 for time_s in (latency_s, jitter_s, each_s)):
            raise BadInput("latency, jitter and the time of each parameter are from 0 to 60 s", where="latency")
        if not 1 <= batch <= MOST_PARAMETERS:
            raise BadInput(f"a car takes from 1 to {MOST_PARAMETERS} parameters in a request", where="batch")
        self.car = car
        self.faults = faults if faults is not None else Faults()
        self._clock = clock if clock is not None else Clock()
        random = Random(seed)
        self.adapter = Adapter(
            car,
            ecus=ecus,
            protocol=PROTOCOL_OF[bus, bits],
            faults=self.faults,
            random=random,
            pad=pad,
            batch=batch,
        )
        self._timing = Timing(latency_s, jitter_s, random, each_s)
        self._tcp, self._folder = port, tempfile.TemporaryDirectory(prefix="coach-adapter-") if pty else None
        self._port: Port | None = None
        self._thread: threading.Thread | None = None
        self._serving: tuple[Session, threading.Thread] | None = None
        self._start_us: int | None = None

    @property
    def url(self) -> str:
        """What a client opens: `socket://127.0.0.1:35001`, or a path. Only while it is plugged in."""
        assert self._port is not None, "the adapter is not plugged in"
        return self._port.url

    @property
    def plugged_in(self) -> bool:
        """Whether it can be opened."""
        return self._port is not None

    def start(self) -> str:
        """Takes clients from now on; gives the URL. The time of scheduled faults counts from the first start.

        Raises:
            BadInput: the port cannot be had.
        """
        if self._port is None:
            if self._folder is not None:
                self._port = PtyPort(Path(self._folder.name))
            else:
                tcp = TcpPort(self._tcp)
                self._port, self._tcp = tcp, tcp.port
            if self._start_us is None:
                self._start_us = self._clock.steady_us()
            self._thread = threading.Thread(target=self._accept, args=(self._port,), daemon=True, name="adapter")
            self._thread.start()
        return self.url

    def unplug(self) -> None:
        """Ends the connection and takes no more, until `start`. The adapter loses its settings with its supply."""
        port, self._port = self._port, None
        if port is not None and self._thread is not None:
            port.close()
            self._end_session()
            self._thread.join()
            self._end_session()
            self.adapter.restart()

    def stop(self) -> None:
        """As `unplug`, for good."""
        self.unplug()
        if self._folder is not None:
            self._folder.cleanup()

    def since_us(self) -> int:
        """Time since the first start."""
        return self._clock.steady_us() - (self._start_us or 0)

    def __enter__(self) -> Self:
        self.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.stop()

    def _accept(self, port: Port) -> None:
        while (connection := port.accept()) is not None:
            self._end_session()
            if self.faults.take_again("disconnect") or self._port is not port:
                connection.hang_up()
                connection.release()
                continue
            session = Session(self.adapter, connection, self.faults, self._timing, self._clock, self.since_us)
            thread = threading.Thread(target=session.run, daemon=True, name="adapter-session")
            thread.start()
            self._serving = session, thread

    def _end_session(self) -> None:
        serving, self._serving = self._serving, None
        if serving is not None:
            session, thread = serving
            session.end()
            thread.join()
