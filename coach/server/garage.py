"""What can be driven with: bundled recorded drives, tables named when the server was started, the simulator, a car.

Tables are read in a child process, once, and kept; a simulated drive is made as it goes.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from threading import Lock
from typing import Any, Literal

from coach.errors import CoachError, NotFound
from coach.recording import Recording
from coach.server.carlink import CarLink, signals_of
from coach.server.catalogues import of_car
from coach.signals import Catalogue
from coach.sources.base import Source
from coach.sources.link.decode import as_read
from coach.sources.link.discover import Found
from coach.sources.replay import Replay
from coach.sources.simulator.scenarios import SCENARIOS, Scenario
from coach.vehicle import Vehicle

REPLAY = "replay:"
TABLE = "table:"
SIMULATOR = "simulator:"
LINK = "link:"
KEPT = 4
"""Recordings kept in memory."""

ReadTable = Callable[[Path, Catalogue], Recording]


@dataclass(frozen=True)
class Entry:
    """One source in the list. `vehicle` is the car that it was recorded with, as the bytes of a vehicle file."""

    id: str
    title: str
    kind: Literal["replay", "simulator", "link"]
    text: str
    path: Path | None = None
    scenario: Scenario | None = None
    link: CarLink | None = None
    vehicle: bytes | None = None

    def json(self) -> dict[str, Any]:
        """For the list."""
        return {"id": self.id, "title": self.title, "kind": self.kind, "text": self.text}


class Garage:
    """The sources of one server.

    Args:
        traces: the folder with the bundled drives.
        tables: more tables, by path.
        vehicle: a vehicle file that goes with the tables, or None.
        read_table: reads a table; the server's runs in a child process.
        links: cars behind adapters, each with its vehicle file or None.
    """

    def __init__(
        self, catalogue: Catalogue, traces: Path, tables: Iterable[Path], vehicle: bytes | None, read_table: ReadTable,
        links: Iterable[tuple[CarLink, bytes | None]] = (),
    ) -> None:  # fmt: skip
        self._catalogue = catalogue
        self._read_table = read_table
        self._lock = Lock()
        self._reading: dict[str, Future[Recording]] = {}
        self._readers = ThreadPoolExecutor(1, thread_name_prefix="table-reader")
        self._entries: dict[str, Entry] = {}
        car_file = traces / "demo-vehicle.toml"
        car = car_file.read_bytes() if car_file.is_file() else None
        for n, (link, own) in enumerate(links):
            self._add(Entry(f"{LINK}{n}", "The car", "link", link.url, link=link, vehicle=own or vehicle))
        for n, path in enumerate(tables):
            self._add(Entry(f"{TABLE}{n}", path.name, "replay", str(path.parent), path=path, vehicle=vehicle))
        for scenario in SCENARIOS:
            trace = _trace(traces, scenario.name)
            title = scenario.name.replace("-", " ").capitalize()
            if trace is not None:
                self._add(Entry(REPLAY + scenario.name, title, "replay", scenario.tells, path=trace, vehicle=car))
        first = SCENARIOS[0]
        text = f"A simulated car drives as you watch. {first.tells}"
        self._add(Entry(SIMULATOR + first.name, "Simulated car", "simulator", text, scenario=first, vehicle=car))

    def _add(self, entry: Entry) -> None:
        self._entries[entry.id] = entry

    def list(self) -> list[Entry]:
        """All sources."""
        return list(self._entries.values())

    def entry(self, source: str) -> Entry:
        """One source. Raises NotFound."""
        if source not in self._entries:
            raise NotFound("there is no such source", where=source)
        return self._entries[source]

    def look(self, source: str) -> Future[Recording]:
        """Starts reading a source's table, or gives the reading that was started. Raises NotFound."""
        entry = self.entry(source)
        with self._lock:
            found = self._reading.pop(source, None)
            if found is None:
                found = self._readers.submit(self._read, entry)
            self._reading[source] = found
            while len(self._reading) > KEPT:
                self._reading.pop(next(iter(self._reading)))
        return found

    def catalogue(self, source: str, vehicle: Vehicle | None) -> Catalogue:
        """The signals of a drive with a source and a vehicle: what a link gives is as the car was found to give it.

        A link looks for the vehicle's own signals from now on. Raises NotFound.
        """
        link = self.entry(source).link
        found = None
        if link is not None:
            link.use(of_car(self._catalogue, vehicle, None))
            link.look().exception()
            found = link.car
        return of_car(self._catalogue, vehicle, found)

    def seen(self, source: str, vehicle: Vehicle | None) -> Catalogue:
        """As `catalogue`, by what is known now: nothing is waited for. Raises NotFound."""
        link = self.entry(source).link
        if link is not None:
            link.use(of_car(self._catalogue, vehicle, None))
        return of_car(self._catalogue, vehicle, None if link is None else link.car)

    def as_found(self, source: str, vehicle: Vehicle | None) -> Catalogue:
        """As `seen`, for a plan with any vehicle: the link goes on looking for what it looks for. Raises NotFound."""
        made, link = of_car(self._catalogue, vehicle, None), self.entry(source).link
        car = None if link is None else link.car
        return made if car is None else as_read(made, {n: w for n, w in car.signals.items() if n in made})

    def widest(self) -> Catalogue:
        """All signals that a recipe may name here, each as far as one of the cars that were found can show it."""
        made = self._catalogue
        for entry in self._entries.values():
            if entry.link is not None:
                for signal in entry.link.catalogue:
                    if signal.name not in made or signal.high_end > made[signal.name].high_end:
                        made = made.with_signals([signal])
        return made

    def _told(self, source: str, reading: Future[Recording]) -> None:
        """Forgets a reading that failed, once somebody was told: the file may be mended."""
        with self._lock:
            if self._reading.get(source) is reading:
                del self._reading[source]

    def _read(self, entry: Entry) -> Recording:
        if entry.path is None:
            assert entry.scenario is not None
            return entry.scenario.recording()
        return self._read_table(entry.path, self._catalogue)

    def open(self, source: str, speed: float | None) -> Source:
        """A source for one drive.

        Raises:
            NotFound: no such source.
            TableError: its table cannot be read.
            Failure: the car cannot be reached.
        """
        entry = self.entry(source)
        if entry.link is not None:
            return entry.link.source()
        if entry.scenario is not None:
            return entry.scenario.source(speed)
        reading = self.look(source)
        try:
            return Replay(reading.result(), speed, name=entry.title)
        except CoachError:
            self._told(source, reading)
            raise

    def signals(self, source: str) -> Mapping[str, float] | CoachError | None:
        """Mean rate in hertz of each signal that a source has; None while that is looked for; or why it is not known.

        Raises:
            NotFound: there is no such source.
        """
        entry = self.entry(source)
        if entry.link is not None:
            car = entry.link.found()
            return signals_of(car) if isinstance(car, Found) else car
        if entry.scenario is not None:
            return {name: batch.rate_hz for batch in entry.scenario.batches for name in batch.signals}
        reading = self.look(source)
        if not reading.done():
            return None
        error = reading.exception()
        if isinstance(error, CoachError):
            self._told(source, reading)
            return error
        return rates(reading.result())

    def first_value(self, source: str, signal: str) -> float | None:
        """The first value of a signal, where the source has been read and has one."""
        entry = self.entry(source)
        if entry.link is not None:
            car = entry.link.found()
            return car.first_values.get(signal) if isinstance(car, Found) else None
        if entry.scenario is not None:
            return entry.scenario.car.coolant_c if signal == "coolant_temp" else None
        reading = self.look(source)
        if not reading.done() or reading.exception() is not None:
            return None
        series = reading.result().series.get(signal)
        return float(series.value[0]) if series is not None and len(series) else None

    def close(self) -> None:
        """Reads nothing more."""
        for entry in self._entries.values():
            if entry.link is not None:
                entry.link.close()
        self._readers.shutdown(wait=False, cancel_futures=True)


def _trace(folder: Path, name: str) -> Path | None:
    """The table of a bundled drive, packed or not."""
    return next((p for p in (folder / f"{name}.csv", folder / f"{name}.csv.gz") if p.is_file()), None)


def rates(recording: Recording) -> dict[str, float]:
    """Mean rate of each signal, in hertz, over the whole drive."""
    seconds = max(recording.duration_us / 1e6, 1e-6)
    return {name: max(0, len(s) - 1) / seconds for name, s in recording.series.items() if len(s)}
