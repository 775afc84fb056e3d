"""A car behind an adapter, as one of the sources: looked at before the drive, opened for the drive."""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass

from coach.clock import US, Clock
from coach.core.spec import JudgePlan
from coach.errors import CoachError, Conflict
from coach.plan.rates import Expected, advice, asked_hz, expect, least_shares
from coach.server.catalogues import asks_alike
from coach.shown import show
from coach.signals import Catalogue
from coach.sources.link.decode import as_read
from coach.sources.link.discover import Found
from coach.sources.link.look import look
from coach.sources.link.port import Opener, check_url, open_serial
from coach.sources.link.rates import model_of, pids_of
from coach.sources.link.source import LinkSource
from coach.words import Words

FRESH_US = 30 * US
"""What was found is looked at again after so long, as long as no drive uses the port: another car may be there."""


@dataclass(frozen=True)
class GivenLink:
    """An adapter named when the server was started.

    Attributes:
        url: its address, as pyserial takes it.
        vehicle: the car's vehicle file, or None.
        begin: called when a drive starts; a virtual car starts its own drive with it.
    """

    url: str
    vehicle: bytes | None = None
    begin: Callable[[], None] | None = None


class CarLink:
    """What is known of the car at one address.

    Args:
        given: the address.
        catalogue: the signals that are looked for.
        clock: for deadlines.
        opener: opens the port; tests hand in one of their own.

    Raises:
        BadInput: no address of an adapter.
    """

    def __init__(
        self, given: GivenLink, catalogue: Catalogue, clock: Clock, opener: Opener = open_serial
    ) -> None:  # fmt: skip
        self.url = check_url(given.url)
        self._begin = given.begin
        self.virtual = given.begin is not None
        """A car that is not there: nobody has to agree to anything before it drives."""
        self._catalogue, self._clock, self._opener = catalogue, clock, opener
        self._lock = threading.Lock()
        self._stop = threading.Event()
        self._looking: Future[Found] | None = None
        self._looked_us = 0
        self._kept: Found | None = None
        self._source: LinkSource | None = None
        self._workers = ThreadPoolExecutor(1, thread_name_prefix="link-look")

    def look(self) -> Future[Found]:
        """Starts looking for the car, or gives the look that was started and is still fresh."""
        with self._lock:
            if self._stop.is_set():
                return _closed(self.url)
            now_us = self._clock.steady_us()
            looking = self._looking
            if looking is not None and looking.done() and looking.exception() is None:
                self._kept = looking.result()
                driving = self._source is not None and not self._source.over
                if not driving and now_us - self._looked_us > FRESH_US:
                    looking = self._looking = None
            if looking is None:
                self._looked_us = now_us
                self._looking = self._workers.submit(
                    look, self.url, self._catalogue, self._clock, self._stop, opener=self._opener
                )
            assert self._looking is not None
            return self._looking

    def found(self) -> Found | CoachError | None:
        """The car; None while it is looked for; or why there is none, told once: the next one asking looks again.

        While it is looked at again, what was found before stands.
        """
        looking = self.look()
        if not looking.done():
            return self._kept
        error = looking.exception()
        if error is None:
            return looking.result()
        with self._lock:
            if self._looking is looking:
                self._looking = self._kept = None
        return error if isinstance(error, CoachError) else Conflict("the link was closed", where=self.url)

    @property
    def car(self) -> Found | None:
        """The car as it was found last; None where it was not. Nothing is looked for."""
        looking = self._looking
        if looking is not None and looking.done() and looking.exception() is None:
            return looking.result()
        return self._kept

    @property
    def catalogue(self) -> Catalogue:
        """The signals that are looked for, each as the car gives it once it is found."""
        car = self.car
        return self._catalogue if car is None else as_read(self._catalogue, car.signals)

    def use(self, catalogue: Catalogue) -> None:
        """Looks for these signals from now on; the car is asked again where they are asked for in another way."""
        with self._lock:
            if not asks_alike(self._catalogue, catalogue):
                self._looking = self._kept = None
            self._catalogue = catalogue

    def retry(self) -> bool:
        """Somebody says that the other tester is gone, or that the car is there now: asks at once.

        Returns:
            Whether a drive is going on with this car; else it is only looked for again.
        """
        source = self._source
        if source is not None and not source.over:
            source.retry()
            return True
        with self._lock:
            if self._looking is not None and self._looking.done():
                self._kept, self._looking = self.car, None
        return False

    def source(self) -> LinkSource:
        """The source for one drive. Waits for the car where it is still looked for.

        Raises:
            Failure, Conflict: there is none, and why.
        """
        self.look().exception()
        found = self.found()
        if not isinstance(found, Found):
            raise found or Conflict("the car is still looked for", where=self.url)
        if self._begin is not None:
            self._begin()
        self._source = LinkSource(self.url, found, catalogue=self._catalogue, opener=self._opener)
        return self._source

    def close(self) -> None:
        """Looks no more: what is looked at is left, and whoever asks is told so."""
        with self._lock:
            self._stop.set()
        self._workers.shutdown(wait=False)


def _closed(url: str) -> Future[Found]:
    over: Future[Found] = Future()
    over.set_exception(Conflict("the link was closed", where=url))
    return over


def signals_of(found: Found) -> dict[str, float]:
    """The signals that a car offers, each with the rate that it would have alone."""
    alone_hz = 1e6 / max(1, found.single_us)
    return dict.fromkeys(pids_of(found), alone_hz)


def expected(plan: JudgePlan, found: Found, catalogue: Catalogue) -> list[Expected]:
    """What the link will give of what a plan asks for."""
    return expect(asked_hz(plan, catalogue), model_of(found), pids_of(found), least_shares(plan))


def together(rates: list[Expected], found: Found) -> Mapping[str, float]:
    """Every signal on offer with its rate: with all that is asked for, or alone where nothing is asked of it."""
    return {**signals_of(found), **{e.signal: e.expected_hz for e in rates if e.offered}}


def connected(found: Found, words: Words) -> dict[str, str]:
    """What the sentence of the link's mark says."""
    volts = "" if found.voltage is None else f", {words.number(str(show(found.voltage, 'V')))}"
    codes = f" {words('server.ready.link_stored', codes=', '.join(found.stored))}" if found.stored else ""
    return {"adapter": found.adapter, "protocol": found.protocol_name, "volts": volts, "codes": codes}


__all__ = ["CarLink", "GivenLink", "advice", "connected", "expected", "signals_of", "together"]
