"""The link as a source, on a hand clock: what it emits, when, and how it comes back from every fault."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from itertools import pairwise

import pytest

from coach.clock import US
from coach.errors import BadInput
from coach.sources.adapter import KINDS, RecordingCar
from coach.sources.adapter.speaking import Said
from coach.sources.base import Advance, Back, Ended, Instant, Lost, SourceEvent
from coach.sources.link.discover import Found, discover
from coach.sources.link.source import LinkSource
from coach.sources.link.trouble import SENTENCES
from coach.sources.simulator.scenarios import scenario
from tests.link.wired import CATALOGUE, URL, Rig, RigPort, table_car

ASKED = {"engine_speed": 8.0, "road_speed": 4.0, "manifold_pressure": 8.0, "pedal": 8.0, "coolant_temp": 0.5,
         "barometric_pressure": 0.2, "adapter_voltage": 0.2}  # fmt: skip


@dataclass
class Heard:
    """Everything that a source emitted, with the hand's time; `at` acts when a time has come."""

    rig: Rig
    until_s: float
    at: dict[float, Callable[[], object]] = field(default_factory=dict)
    events: list[SourceEvent] = field(default_factory=list)
    times: list[int] = field(default_factory=list)
    stop: threading.Event = field(default_factory=threading.Event)
    start_us: int = -1

    def emit(self, event: SourceEvent) -> None:
        now_us = self.rig.clock.now_us
        if self.start_us < 0:
            self.start_us = now_us
        self.events.append(event)
        self.times.append(now_us)
        for time_s in [t for t in self.at if now_us - self.start_us >= t * US]:
            self.at.pop(time_s)()
        if now_us - self.start_us >= self.until_s * US:
            self.stop.set()

    def of(self, kind: type) -> list[SourceEvent]:
        return [e for e in self.events if isinstance(e, kind)]

    def instants(self) -> list[Instant]:
        return [e for e in self.events if isinstance(e, Instant)]


def car_of(rig: Rig) -> Found:
    return discover(rig.session(), CATALOGUE)


def drive(rig: Rig, until_s: float = 10.0, *, asked: dict[str, float] | None = None, found: Found | None = None,
          at: dict[float, Callable[[], object]] | None = None) -> tuple[LinkSource, Heard]:  # fmt: skip
    source = LinkSource(URL, found or car_of(rig), ASKED if asked is None else asked, CATALOGUE, rig.open)
    heard = Heard(rig, until_s, dict(at or {}))
    source.run(heard.emit, heard.stop, rig.clock)
    return source, heard


def in_order(events: list[SourceEvent]) -> None:
    """Stamps strictly increase, and no instant comes before what was promised."""
    promised = -1
    last = -1
    for event in events:
        if isinstance(event, Advance):
            promised = max(promised, event.t_us)
        elif isinstance(event, Instant):
            assert event.t_us > last
            assert event.t_us >= promised
            last = event.t_us
    assert isinstance(events[-1], Ended)


def test_signals_come_at_the_rates_asked_for() -> None:
    """Half-way between request and answer, half the round trip uncertain, as often as asked, the slow ones rarely."""
    source, heard = drive(Rig(table_car()), 20.0)
    in_order(heard.events)
    seen: dict[str, int] = {}
    for instant in heard.instants():
        assert instant.uncertainty_us == 20_000
        for name in instant.values:
            seen[name] = seen.get(name, 0) + 1
    for name, rate in ASKED.items():
        assert seen[name] == pytest.approx(rate * 20, abs=2), name
    assert heard.instants()[0].t_us == 0
    assert heard.instants()[0].values["engine_speed"] == 1726
    together = [i for i in heard.instants() if "engine_speed" in i.values]
    assert all({"manifold_pressure", "pedal"} <= set(i.values) for i in together)
    assert heard.of(Lost) == []
    assert heard.events[-1] == Ended("stopped")
    rates = source.rates_hz(round(20e6))
    assert rates["engine_speed"] == pytest.approx(8, abs=0.5)
    assert rates["coolant_temp"] == pytest.approx(0.5, abs=0.3)


def test_a_source_that_nobody_told_anything_finds_the_car_itself() -> None:
    rig = Rig(table_car())
    source = LinkSource(URL, catalogue=CATALOGUE, opener=rig.open)
    assert source.signals == frozenset()
    assert source.meta == {"url": URL, "asked_hz": {}}
    heard = Heard(rig, 3.0)
    source.run(heard.emit, heard.stop, rig.clock)
    assert {n for i in heard.instants() for n in i.values} == source.signals
    assert {"engine_speed", "adapter_voltage"} <= source.signals
    assert source.name == URL
    assert source.kind == "link"
    assert not source.people_recorded
    assert source.meta["codes"] == {"stored": [], "pending": []}
    assert source.meta["ecus"][0]["verifications"] == ["1791BC82"]


def test_an_address_that_cannot_be_one_is_refused() -> None:
    for url in ("", "socket://host", "http://host:80", "socket://h:70000", "COM5\r", "two words"):
        with pytest.raises(BadInput, match="adapter's address"):
            LinkSource(url)


def test_more_asked_than_there_is_is_shared_and_never_queued() -> None:
    """On a slow bus every signal still comes; ticks that were missed are not made up for."""
    rig = Rig(table_car(), bus="k-line", latency_s=0.2)
    _, heard = drive(rig, 20.0)
    seen = [n for i in heard.instants() for n in i.values]
    assert len(seen) == pytest.approx(100, abs=3)  # five requests a second
    assert min(seen.count(n) for n in ASKED) >= 3
    assert all(len(i.values) == 1 for i in heard.instants())


def test_a_running_capture_gets_more_of_the_link() -> None:
    rig = Rig(table_car(), bus="k-line", latency_s=0.1)
    asked = dict.fromkeys(("engine_speed", "road_speed", "manifold_pressure", "pedal"), 8.0)
    found = car_of(rig)
    source = LinkSource(URL, found, asked, CATALOGUE, rig.open)
    heard = Heard(rig, 20.0, {10.0: lambda: source.favour(frozenset({"engine_speed"}))})
    source.run(heard.emit, heard.stop, rig.clock)

    def count(name: str, since_s: float, until_s: float) -> int:
        return sum(name in i.values and since_s * US <= i.t_us < until_s * US for i in heard.instants())

    assert count("engine_speed", 1, 9) == pytest.approx(count("road_speed", 1, 9), abs=2)
    assert count("engine_speed", 11, 19) >= 1.4 * count("road_speed", 11, 19)


CODE_OF = {
    "no-data": "no_data", "can-error": "bus_error", "stopped": "stopped", "bus-init-error": "bus_error",
    "bus-busy": "bus_busy", "buffer-full": "buffer_full", "unable-to-connect": "unable_to_connect",
    "garbage": "garbage", "negative": "negative", "wrong-parameter": "wrong_parameter", "short-answer": "short",
    "short-frame": None, "foreign": "foreign", "other-tester": "other_tester", "noise": "garbage", "dropped": None,
    "split": None, "only-pending": "pending", "no-prompt": "no_prompt", "silence": "silent", "late": "silent",
    "disconnect": "disconnected", "reset": "adapter_reset", "pending": None,
}  # fmt: skip
"""Fault to the reason that is named; None: more than one is right, or nothing goes wrong."""


CROWD = {"stopped", "bus-busy", "wrong-parameter", "foreign", "other-tester"}
"""What somebody else in the socket or at the adapter makes: after it nothing is asked until it is quiet."""


def test_every_fault_that_the_adapter_knows_is_tried_here() -> None:
    assert set(CODE_OF) == set(KINDS)


@pytest.mark.parametrize("kind", KINDS)
def test_one_fault_costs_one_answer_and_names_its_reason(kind: str) -> None:
    """No wrong value, nothing lost for longer than three seconds, the reason noted."""
    rig = Rig(table_car())
    source, heard = drive(rig, 10.0, at={4.0: lambda: rig.faults.now(kind, 1)})
    in_order(heard.events)
    assert rig.faults.struck[kind] == 1
    assert rig.faults.waiting() == ()
    right(heard)
    stamps = [i.t_us for i in heard.instants()]
    assert max(b - a for a, b in pairwise(stamps)) < 3 * US
    assert stamps[-1] > 9 * US
    codes = {t.code for t in source.troubles}
    if CODE_OF[kind] is not None:
        assert CODE_OF[kind] in codes
    if kind in {"split", "pending"}:
        assert codes == set()
    assert all(t.text.startswith(SENTENCES[t.code][:20]) and t.t_us >= 3 * US for t in source.troubles)


def right(heard: Heard) -> None:
    """Not one value that the car does not have."""
    true = {"engine_speed": 1726.0, "road_speed": 80.0, "manifold_pressure": 96.0, "coolant_temp": 90.0,
            "barometric_pressure": 101.0, "adapter_voltage": 12.6}  # fmt: skip
    for instant in heard.instants():
        for name, value in true.items():
            assert instant.values.get(name, value) == value, (name, instant)


@pytest.mark.parametrize("kind", KINDS)
def test_a_fault_that_lasts_is_said_and_ends_when_the_adapter_is_back(kind: str) -> None:
    """Five seconds of it: lost with a reason, no value made up; then data flow again within three seconds."""
    rig = Rig(table_car())
    source, heard = drive(
        rig, 24.0, at={4.0: lambda: rig.faults.now(kind, None), 9.0: rig.faults.clear},
    )  # fmt: skip
    in_order(heard.events)
    right(heard)
    cleared_us = heard.start_us + 9 * US
    after = [t for t, e in zip(heard.times, heard.events, strict=True) if isinstance(e, Instant) and t >= cleared_us]
    assert after[0] - cleared_us < (12 if kind in CROWD else 3) * US
    lost = [e for e in heard.events if isinstance(e, Lost)]
    if kind in {"split", "pending"}:
        return
    if kind != "dropped":
        assert len(lost) == len(heard.of(Back)) == 1
    if kind in CROWD:
        assert {CODE_OF[kind], "occupied"} >= {t.code for t in source.troubles} >= {"occupied"}
        assert "Another tester or program" in lost[0].reason
    elif CODE_OF[kind] is not None:
        assert CODE_OF[kind] in {t.code for t in source.troubles}
        assert lost[0].reason.startswith(SENTENCES[CODE_OF[kind]].partition("{")[0][:25])


def test_an_adapter_that_is_pulled_out_and_put_back_is_found_again() -> None:
    """Time is told meanwhile, the connection is made anew, and data flow within three seconds of its return."""
    rig = Rig(table_car())

    def out() -> None:
        rig.plugged = False

    def back() -> None:
        rig.plugged = True

    source, heard = drive(rig, 40.0, at={5.0: out, 30.0: back})
    in_order(heard.events)
    lost, again = heard.events.index(heard.of(Lost)[0]), heard.events.index(heard.of(Back)[0])
    assert "connection to the adapter is gone" in heard.of(Lost)[0].reason
    assert heard.times[lost] - heard.start_us < 5.5 * US
    assert heard.times[again] - heard.start_us < 33 * US
    advances = [e.t_us for e in heard.events[lost:again] if isinstance(e, Advance)]
    assert max(b - a for a, b in pairwise(advances)) < US // 2
    assert rig.opened == 3  # once to find the car, once for the drive, once more
    assert "cannot_open" in {t.code for t in source.troubles}
    assert "ATSPA6" in rig.heard  # the protocol that was found is tried first


def test_an_adapter_that_is_away_for_long_is_looked_for_more_rarely() -> None:
    """Every two seconds, however long it takes: looking costs little."""
    rig = Rig(table_car())
    _, heard = drive(rig, 100.0, at={1.0: lambda: setattr(rig, "plugged", False)})
    assert 45 < len(rig.bauds) < 60
    in_order(heard.events)


def test_after_a_long_absence_data_flow_within_three_seconds() -> None:
    """Away for two minutes, and put back at any moment between two looks; and for ten."""
    for away_s in (*(120 + 0.7 * n for n in range(8)), 600.0):
        rig = Rig(table_car())

        def back(rig: Rig = rig) -> None:
            rig.plugged = True

        _, heard = drive(
            rig,
            away_s + 10,
            asked={"engine_speed": 5.0},
            at={1.0: lambda rig=rig: setattr(rig, "plugged", False), away_s: back},
        )
        again = next(t for t, e in zip(heard.times, heard.events, strict=True) if isinstance(e, Back))
        assert again - heard.start_us - away_s * US < 3 * US


def test_while_somebody_else_talks_nothing_is_asked_and_a_word_of_the_operator_ends_it() -> None:
    """Three signs, then silence for five seconds, one question, silence for ten; the retry asks at once."""
    rig = Rig(table_car())
    found = car_of(rig)
    source = LinkSource(URL, found, ASKED, CATALOGUE, rig.open)
    asked_at: list[float] = []
    real = rig.adapter.hear

    def hear(text: str, since_us: int) -> object:
        if heard.start_us >= 0:
            asked_at.append((rig.clock.now_us - heard.start_us) / US)
        return real(text, since_us)

    rig.adapter.hear = hear  # type: ignore[method-assign,assignment]
    states: list[bool] = []
    heard = Heard(rig, 30.0, {
        4.0: lambda: rig.faults.now("other-tester", None),
        12.0: lambda: states.append(source.occupied) or rig.faults.clear(),
        13.0: source.retry,
        20.0: lambda: states.append(source.occupied),
    })  # fmt: skip
    source.run(heard.emit, heard.stop, rig.clock)
    quiet = [t for t in asked_at if 4.5 < t < 13.0]
    assert len(quiet) == 1
    assert quiet[0] == pytest.approx(9.4, abs=0.3)
    again = [t for t in asked_at if t >= 13.0]
    assert again[0] < 13.2
    first = next(t for t, e in zip(heard.times, heard.events, strict=True)
                 if isinstance(e, Instant) and t > heard.start_us + 13 * US)  # fmt: skip
    assert first - heard.start_us < 15 * US
    assert states == [True, False]
    assert "Another tester or program" in heard.of(Lost)[0].reason
    right(heard)


def test_the_longer_somebody_else_stays_the_more_rarely_is_asked() -> None:
    """One question after 5 s, after 10 more, after 20, and then every 30."""
    rig = Rig(table_car())
    source = LinkSource(URL, car_of(rig), ASKED, CATALOGUE, rig.open)
    asked_at: list[float] = []
    real = rig.adapter.hear
    heard = Heard(rig, 110.0, {4.0: lambda: rig.faults.now("other-tester", None)})

    def hear(text: str, since_us: int) -> object:
        asked_at.append((rig.clock.now_us - heard.start_us) / US)
        return real(text, since_us)

    rig.adapter.hear = hear  # type: ignore[method-assign,assignment]
    source.run(heard.emit, heard.stop, rig.clock)
    assert [t for t in asked_at if t > 5] == pytest.approx([9.4, 19.5, 39.6, 69.7, 99.8], abs=0.6)


def test_a_car_that_somebody_else_talks_to_from_the_start_is_left_alone() -> None:
    """Three first answers with a stranger's beside them: no connection for five seconds, then ten; a word ends it."""
    rig = Rig(table_car())
    found = car_of(rig)
    opened = rig.opened
    rig.faults.now("other-tester", None)
    source = LinkSource(URL, found, ASKED, CATALOGUE, rig.open)
    events: list[SourceEvent] = []
    stop = threading.Event()
    wait, at = rig.clock.wait, {14.0: source.retry, 14.2: rig.faults.clear, 20.0: source.retry}
    seen: list[tuple[float, bool, int]] = []

    def waits(event: threading.Event, seconds: float) -> bool:
        now_s = rig.clock.now_us / US - begin_s
        for time_s in [t for t in at if now_s >= t]:
            at.pop(time_s)()
        seen.append((now_s, source.occupied, rig.opened - opened))
        if now_s > 26:
            stop.set()
        return wait(event, seconds)

    rig.clock.wait = waits  # type: ignore[method-assign]
    begin_s = rig.clock.now_us / US
    source.run(events.append, stop, rig.clock)

    def tried(until_s: float) -> int:
        return max(n for t, _, n in seen if t < until_s)

    assert [tried(t) for t in (4.0, 9.0, 13.9, 16.0)] == [1, 2, 2, 3]
    assert all(occupied for t, occupied, _ in seen if 1.0 < t < 4.0)
    assert [type(e) for e in events if not isinstance(e, Advance | Instant)] == [Lost, Back, Ended]
    assert "Another tester or program" in events[0].reason  # type: ignore[union-attr]


def test_what_is_overheard_makes_the_silence_longer() -> None:
    """Somebody else's lines at the same adapter: as long as they come it is not quiet."""
    rig = Rig(table_car())
    source = LinkSource(URL, car_of(rig), ASKED, CATALOGUE, rig.open)
    ports: list[RigPort] = []

    def opener(url: str, baud: int) -> RigPort:
        ports.append(rig.open(url, baud))
        return ports[-1]

    source.opener = opener
    heard = Heard(rig, 40.0, {4.0: lambda: rig.faults.now("stopped", None), 5.0: rig.faults.clear})
    for at_s in range(6, 20, 2):
        heard.at[float(at_s)] = lambda: ports[-1].coming.append((rig.clock.now_us, b"41 0C 1A F8\r>"))
    source.run(heard.emit, heard.stop, rig.clock)
    back = next(t for t, e in zip(heard.times, heard.events, strict=True) if isinstance(e, Back))
    assert 23 < (back - heard.start_us) / US < 26


def stop_at(rig: Rig, stop: threading.Event, seconds: float) -> None:
    """Sets `stop` once the hand's clock has moved so far, whatever the link does."""
    end_us, steady = rig.clock.now_us + round(seconds * US), rig.clock.steady_us

    def now() -> int:
        if rig.clock.now_us > end_us:
            stop.set()
        return steady()

    rig.clock.steady_us = now  # type: ignore[method-assign]


def test_other_speeds_are_tried_where_nobody_answers() -> None:
    """A serial adapter at another speed says nothing that makes sense."""
    rig = Rig(table_car())
    found = car_of(rig)
    rig.faults.now("silence", None)
    stop, events = threading.Event(), []
    stop_at(rig, stop, 15.0)
    LinkSource("/dev/ttyUSB0", found, ASKED, CATALOGUE, rig.open).run(events.append, stop, rig.clock)
    assert {38_400, 115_200, 9_600} <= set(rig.bauds)
    assert [type(e) for e in events] == [Lost, Ended]


def test_a_car_that_cannot_be_found_yet_is_looked_for_again() -> None:
    """Cut in the middle of finding out: the connection is given back, and the next one finds out everything."""
    rig = Rig(table_car())
    real, cut = rig.adapter.hear, []

    def hear(text: str, since_us: int) -> object:
        if text == "0902" and not cut:
            cut.append(text)
            rig.faults.now("disconnect", 1)
        return real(text, since_us)

    rig.adapter.hear = hear  # type: ignore[method-assign,assignment]
    source = LinkSource(URL, catalogue=CATALOGUE, opener=rig.open)
    heard = Heard(rig, 5.0)
    source.run(heard.emit, heard.stop, rig.clock)
    assert cut
    assert rig.opened == 2
    assert source.found is not None
    assert source.found.vin is not None
    assert source.over
    assert [type(e) for e in heard.events if isinstance(e, Lost | Back)] == [Lost, Back]


def test_a_source_that_is_stopped_before_it_begins_opens_nothing() -> None:
    rig, stop, events = Rig(table_car()), threading.Event(), []
    stop.set()
    LinkSource(URL, catalogue=CATALOGUE, opener=rig.open).run(events.append, stop, rig.clock)
    assert events == [Ended("stopped")]
    assert rig.bauds == []


def test_it_stops_at_once_whatever_the_peer_does() -> None:
    """Stopped in the middle of silence, of a search, of a pause."""
    for kind in ("silence", "late", "disconnect"):
        rig = Rig(table_car())
        source = LinkSource(URL, car_of(rig), ASKED, CATALOGUE, rig.open)
        heard = Heard(rig, 100.0, {2.0: lambda rig=rig, kind=kind: rig.faults.now(kind, None)})
        asked_us = []
        ask = rig.clock.wait
        steady = rig.clock.steady_us

        def now(heard: Heard = heard, asked_us: list[int] = asked_us, steady=steady) -> int:
            t = steady()
            if heard.start_us >= 0 and t > heard.start_us + 4 * US and not asked_us:
                asked_us.append(t)
                heard.stop.set()
            return t

        rig.clock.steady_us = now  # type: ignore[method-assign]
        rig.clock.wait = ask  # type: ignore[method-assign]
        source.run(heard.emit, heard.stop, rig.clock)
        assert heard.events[-1] == Ended("stopped")
        assert rig.clock.now_us - asked_us[0] < US // 10


def test_a_car_switched_off_and_on_again_is_lost_and_back() -> None:
    """The recorded car falls silent for a gap in its recording, as with the ignition off."""
    recording = scenario("dropout").recording()
    rig = Rig(table_car())
    rig.adapter.car = car = RecordingCar(recording, CATALOGUE, rig.clock)
    rig = Rig(car, clock=rig.clock)
    _, heard = drive(rig, 110.0, asked={"engine_speed": 5.0, "road_speed": 5.0})
    assert [type(e) for e in heard.events if isinstance(e, Lost | Back)] == [Lost, Back]
    assert "ignition" in heard.of(Lost)[0].reason
    in_order(heard.events)


def test_nothing_is_asked_of_a_car_that_has_nothing_asked_for() -> None:
    """A plan whose signals the car lacks leaves a link that tells the time and waits."""
    rig = Rig(table_car())
    found = replace(car_of(rig), voltage=None)
    rig.clock.now_us = 0
    source = LinkSource(URL, found, {"oil_temp": 1.0}, CATALOGUE, rig.open)
    assert "adapter_voltage" not in source.signals
    stop = threading.Event()
    events: list[SourceEvent] = []
    wait = rig.clock.wait

    def waits(event: threading.Event, seconds: float) -> bool:
        if rig.clock.now_us > 5 * US:
            stop.set()
        return wait(event, seconds)

    rig.clock.wait = waits  # type: ignore[method-assign]
    source.run(events.append, stop, rig.clock)
    assert events == [Ended("stopped")]


def test_a_speed_at_which_the_adapter_answered_is_kept_whatever_happens() -> None:
    """From the drive's first command on, and while it is silent: its return is not missed at another speed."""
    rig = Rig(table_car())
    found = replace(car_of(rig), baud=115_200)
    rig.bauds.clear()
    source = LinkSource("/dev/ttyUSB0", found, ASKED, CATALOGUE, rig.open)
    heard = Heard(rig, 30.0, {4.0: lambda: rig.faults.now("silence", None), 15.0: rig.faults.clear})
    source.run(heard.emit, heard.stop, rig.clock)
    assert set(rig.bauds) == {115_200}
    back = next(t for t, e in zip(heard.times, heard.events, strict=True) if isinstance(e, Back))
    assert back - heard.start_us < 18 * US


def test_an_adapter_that_overflows_is_asked_for_fewer_signals_at_a_time() -> None:
    """It took six when it was looked at, of short answers; longer ones do not fit. Also after it was pulled out."""
    for most in (2, 1):
        rig = Rig(table_car())
        found = car_of(rig)
        assert found.batch == 6
        hear, said = rig.adapter.hear, Said([(0.0, "7E8101A4103020005"), (0.0, "BUFFER FULL")], blank=True)
        rig.adapter.hear = lambda line, now_us, hear=hear, said=said, most=most: (  # type: ignore[method-assign, misc]
            said if line.startswith("01") and len(line) // 2 - 1 > most else hear(line, now_us)
        )
        source = LinkSource(URL, found, ASKED, CATALOGUE, rig.open)
        heard = Heard(rig, 15.0, {8.0: lambda rig=rig: setattr(rig, "plugged", False),
                                  9.0: lambda rig=rig: setattr(rig, "plugged", True)})  # fmt: skip
        source.run(heard.emit, heard.stop, rig.clock)
        right(heard)
        assert [t.code for t in source.troubles].count("buffer_full") == (3 if most == 2 else 6)
        first = next(t for t, e in zip(heard.times, heard.events, strict=True) if isinstance(e, Instant))
        assert first - heard.start_us < US
        assert {n for e in heard.instants() for n in e.values} >= set(ASKED) - {"adapter_voltage"}
        assert max(len(e.values) for e in heard.instants()) == most
