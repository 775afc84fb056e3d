"""The link as a source: polls the car for one drive, says why when it cannot, and always tries again."""

from __future__ import annotations

import threading
from bisect import bisect_right
from collections import deque
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import partial
from typing import Any, Literal

from coach.catalogue import default_catalogue
from coach.clock import US, Clock
from coach.plan.rates import expect
from coach.plan.schedule import VOLTAGE, Schedule, wants
from coach.signals import Catalogue, Identified
from coach.sources.base import Advance, Back, Ended, Instant, Lost, SourceEvent
from coach.sources.link.decode import Way
from coach.sources.link.discover import Found, discover
from coach.sources.link.port import BAUDS, Opener, check_url, open_serial
from coach.sources.link.quiet import START_AGAIN, TICK_S, Quiet
from coach.sources.link.rates import ADAPTER_VOLTAGE, model_of, pids_of
from coach.sources.link.session import Session
from coach.sources.link.talk import Reply
from coach.sources.link.trouble import Failure, Stopped, Trouble

Emit = Callable[[SourceEvent], None]

SILENT_MOST = 3
"""Requests in a row without a reply after which the connection is made anew."""
BAD_MOST = 3
"""Requests in a row without a usable answer after which the link counts as lost."""
CONFUSED_MOST = 8
"""Unusable answers in a row, of a kind that a new start may mend, after which the connection is made anew."""
FULL_MOST = 3
"""So many requests in a row overflow the adapter's memory, and from then on fewer signals are asked for at a time."""
LOST_US = 1 * US
"""The link counts as lost after so long without a sample."""
BACKOFF_S = (0.2, 2.0)
"""First and longest time from one attempt to connect to the next: looking costs little, and whoever puts the adapter
back wants data within three seconds, however long it was away."""
REST_S = 0.1
"""Pause after a failure while the link is lost."""
DEFAULT_HZ = 5.0
RATE_WINDOW_US = 5 * US
KEPT_TROUBLES = 200

# What a car says for reasons of its own: a new connection would not help.
_OF_THE_CAR = frozenset({
    "no_data", "negative", "pending", "foreign", "bus_error", "bus_busy", "unable_to_connect", "stopped",
    "other_tester",
})  # fmt: skip


@dataclass
class LinkSource:
    """A car behind an adapter, for one drive.

    Args:
        url: the adapter's address, as pyserial takes it.
        found: what an earlier discovery found; else it is made at the first connection.
        asked_hz: signal to rate; where nothing is asked every signal comes at a middling rate.
        catalogue: the signals.
        opener: opens the port; tests hand in one of their own.
        backoff_s: first and longest pause between attempts to connect.
    """

    url: str
    found: Found | None = None
    asked_hz: Mapping[str, float] = field(default_factory=dict)
    catalogue: Catalogue = field(default_factory=default_catalogue)
    opener: Opener = open_serial
    backoff_s: tuple[float, float] = BACKOFF_S
    kind: Literal["link"] = field(default="link", init=False)
    people_recorded: bool = field(default=False, init=False)
    over: bool = field(default=False, init=False)
    """Whether the drive is over and the port given back."""
    troubles: deque[Trouble] = field(default_factory=lambda: deque(maxlen=KEPT_TROUBLES), init=False)

    def __post_init__(self) -> None:
        check_url(self.url)
        self._baud = 0
        self._batch = 0
        self._origin_us: int | None = None
        self._last_us = -1
        self._heard_us = 0
        self._bad = 0
        self._lost = False
        self._stamps: dict[str, deque[int]] = {}
        self._favoured: frozenset[str] = frozenset()
        self._by_key: dict[int, list[Way]] = {}
        self._quiet = Quiet()

    @property
    def occupied(self) -> bool:
        """Whether asking has stopped because somebody else talks to the car."""
        return self._quiet.occupied

    @property
    def name(self) -> str:
        """The adapter's address."""
        return self.url

    @property
    def signals(self) -> frozenset[str]:
        """What the car offers; nothing before it was asked."""
        return frozenset() if self.found is None else frozenset(pids_of(self.found))

    @property
    def meta(self) -> Mapping[str, Any]:
        """Who adapter and car are, and what was asked for."""
        identity = {} if self.found is None else self.found.identity()
        return {"url": self.url, **identity, "asked_hz": dict(self.asked_hz)}

    def rates_hz(self, now_us: int) -> dict[str, float]:
        """The rate that each signal had over the last seconds before `now_us` of the drive."""
        since = max(0, now_us - RATE_WINDOW_US)
        span_s = max(now_us - since, 1) / US
        # Copied first: the link's thread goes on adding to them.
        kept = {name: tuple(stamps) for name, stamps in dict(self._stamps).items()}
        return {name: (len(some) - bisect_right(some, since)) / span_s for name, some in kept.items()}

    def link_facts(self, now_us: int) -> Mapping[str, Any]:
        """For the page: how often each signal comes of what is asked, and whether asking has stopped."""
        comes = self.rates_hz(now_us)
        rates = [
            {"signal": n, "name": self.catalogue[n].short, "asked_hz": round(hz, 2), "hz": round(comes.get(n, 0.0), 2)}
            for n, hz in self.asked_hz.items()
        ]
        return {"occupied": self.occupied, "rates": rates}

    def retry(self) -> None:
        """Somebody says that the other tester is gone: asks at once instead of waiting for quiet. From any thread."""
        self._quiet.retry()

    def favour(self, signals: frozenset[str]) -> None:
        """Gives more of the link to the signals of the captures that run; none: all are equal. From any thread."""
        self._favoured = signals

    def run(self, emit: Emit, stop: threading.Event, clock: Clock) -> None:
        """Polls until told to stop; see `Source.run`. It never gives up by itself."""
        tries = quiet = 0
        wait = partial(self._wait, emit=emit, stop=stop, clock=clock)
        self._heard_us = clock.steady_us()
        try:
            while True:
                begin_us = clock.steady_us()
                try:
                    session = self._connect(clock, stop)
                    try:
                        tries = quiet = 0
                        self._poll(session, emit, stop, clock)
                    finally:
                        session.close()
                except Failure as failure:
                    self._baud += failure.code in {"silent", "garbage", "no_prompt"}
                    self._failed(failure, emit, clock, gone=True)
                    if failure.code == "occupied":
                        self._quiet.leave_alone(quiet, wait, clock)
                        quiet += 1
                    else:
                        self._pause(tries, begin_us, emit, stop, clock)
                        tries += 1
        except Stopped:
            emit(Ended("stopped"))
        finally:
            self.over = True

    def _connect(self, clock: Clock, stop: threading.Event) -> Session:
        if stop.is_set():
            raise Stopped
        known, baud = (None, None) if self.found is None else (self.found.protocol, self.found.baud)
        # An adapter that answered at one speed will do so again: trying others would keep it waiting when it is back.
        baud = baud or BAUDS[self._baud % len(BAUDS)]
        session = Session.open(self.url, baud, clock, stop, opener=self.opener, protocol=known)
        if self.found is None:
            try:
                self.found = discover(session, self.catalogue)
            except BaseException:
                session.close()
                raise
        session.home = self.found.home
        return session

    def _pause(self, tries: int, begin_us: int, emit: Emit, stop: threading.Event, clock: Clock) -> None:
        """Waits until it is time for the next attempt; what the last one took counts, but for the first pause."""
        first_s, longest_s = self.backoff_s
        whole_s = min(first_s * 2 ** min(tries, 10), longest_s)
        self._wait(max(first_s, whole_s - (clock.steady_us() - begin_us) / US), emit, stop, clock)

    def _wait(self, seconds: float, emit: Emit, stop: threading.Event, clock: Clock) -> None:
        """Waits and tells the time meanwhile. Raises Stopped."""
        until_us = clock.steady_us() + round(seconds * US)
        while (left_us := until_us - clock.steady_us()) > 0:
            if clock.wait(stop, min(left_us / US, TICK_S)):
                raise Stopped
            self._advance(emit, clock)

    # --- while connected

    def _poll(self, session: Session, emit: Emit, stop: threading.Event, clock: Clock) -> None:
        """Asks for what is due until the connection fails. Raises Failure, Stopped."""
        assert self.found is not None
        asked = self.asked_hz or dict.fromkeys(sorted(self.signals), DEFAULT_HZ)
        table = pids_of(self.found)
        batch = self._batch or self.found.batch
        schedule = Schedule(wants(asked, table, batch), batch, clock.steady_us())
        self._by_key = {}
        for way in self.found.signals.values():
            self._by_key.setdefault(way.key, []).append(way)
        # Where the link has time for all, nothing is gained by making anything wait.
        tight = not all(e.enough for e in expect(asked, model_of(self.found), table) if e.offered)
        favoured: frozenset[str] = frozenset()
        confused = full = 0
        while True:
            if stop.is_set():
                raise Stopped
            if tight and self._favoured != favoured:
                favoured = self._favoured
                schedule.favour(table[n] for n in favoured if n in table)
            # Every instant before a request's own time has been handed on, and its answer will be later than that.
            self._advance(emit, clock)
            now_us = clock.steady_us()
            pids = schedule.take(now_us)
            if not pids:
                due_us = schedule.next_us
                clock.wait(stop, TICK_S if due_us is None else min(TICK_S, (due_us - now_us) / US))
                continue
            try:
                values, reply = self._ask(session, pids)
            except Failure as failure:
                if failure.code == "occupied":
                    self._failed(failure, emit, clock, gone=True)
                    self._quiet.until_quiet(session, partial(self._wait, emit=emit, stop=stop, clock=clock), clock)
                    confused = 0
                    continue
                confused = 0 if failure.code in _OF_THE_CAR else confused + 1
                again = session.talk.silent >= SILENT_MOST or confused >= CONFUSED_MOST
                if failure.code in START_AGAIN or again:
                    raise
                self._failed(failure, emit, clock)
                full += failure.code == "buffer_full" and len(pids) > 1
                if full >= FULL_MOST:
                    full, batch = 0, min(2, batch - 1)
                    self._batch, favoured = batch, frozenset()
                    schedule = Schedule(wants(asked, table, batch), batch, clock.steady_us())
                if self._lost and clock.wait(stop, REST_S):
                    raise Stopped from None
            else:
                confused = 0
                full = full if len(pids) == 1 else 0
                self._heard(values, reply, emit, clock)

    def _ask(self, session: Session, pids: tuple[int, ...]) -> tuple[dict[str, float], Reply]:
        assert self.found is not None
        if pids == (VOLTAGE,):
            volts, reply = session.voltage()
            return {ADAPTER_VOLTAGE: volts}, reply
        reading = self._by_key[pids[0]][0].reading
        if isinstance(reading, Identified):
            part, reply = session.identified(reading)
            return {w.signal: w.value(part) for w in self._by_key[pids[0]]}, reply
        data, reply = session.read(pids, self.found.lengths)
        return {w.signal: w.value(part) for pid, part in data.items() for w in self._by_key[pid]}, reply

    def _heard(self, values: dict[str, float], reply: Reply, emit: Emit, clock: Clock) -> None:
        if self._origin_us is None:
            self._origin_us = reply.sample_us
        t_us = max(reply.sample_us - self._origin_us, self._last_us + 1)
        self._last_us = t_us
        # The adapter tells its own voltage also when the car is gone.
        if ADAPTER_VOLTAGE not in values:
            self._heard_us, self._bad = clock.steady_us(), 0
            if self._lost:
                self._lost = False
                emit(Back())
        for name in values:
            self._stamps.setdefault(name, deque(maxlen=1_000)).append(t_us)
        emit(Instant(t_us, values, reply.uncertainty_us))

    # --- when it fails

    def _failed(self, failure: Failure, emit: Emit, clock: Clock, *, gone: bool = False) -> None:
        """Notes a failure, and says that the link is lost once it is."""
        now_us = clock.steady_us()
        at_us = 0 if self._origin_us is None else max(0, now_us - self._origin_us)
        self.troubles.append(Trouble(at_us, failure.code, failure.message))
        self._bad += 1
        if not self._lost and (gone or self._bad >= BAD_MOST or now_us - self._heard_us >= LOST_US):
            self._lost = True
            emit(Lost(failure.message))

    def _advance(self, emit: Emit, clock: Clock) -> None:
        if self._origin_us is not None:
            t_us = clock.steady_us() - self._origin_us
            if t_us > self._last_us + 1:
                emit(Advance(t_us))
