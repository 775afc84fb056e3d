"""What changed from one revision of a recipe to the next, as sentences: what was asked, not how it was written."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from coach.core.spec import Band
from coach.plan import capture_sentence, kind_of
from coach.plan.sentences import Say
from coach.recipe import CaptureAsked, LimitAsked, Recipe, RecordAsked, SweepAsked
from coach.shown import METRIC, Units, show, show_difference
from coach.signals import Catalogue
from coach.words import Words, load_words

_ONE = re.compile(r"(?P<number>-?[0-9.,]+)(?P<unit> ?[^0-9.,\s]+)?")
_Pair = tuple[str, str, str, str]
"""A key, what it is called, and both values as text; empty where it is left out."""


@dataclass(frozen=True, slots=True)
class Change:
    """One difference. `capture` is the id it belongs to, or None for the whole recipe; `key` the path within that."""

    text: str
    key: str
    capture: str | None = None

    def as_dict(self) -> dict[str, Any]:
        """For JSON."""
        return {"text": self.text, "key": self.key, "capture": self.capture}


def changes(
    old: Recipe, new: Recipe, catalogue: Catalogue, *, system: str | Units = METRIC, words: Words | None = None
) -> list[Change]:
    """Every difference in what two recipes ask for, in the order of the file; none for equal requests.

    Args:
        old: the earlier revision.
        new: the later one.
        catalogue: the signals that both may name.
        system: the units to write them in.
        words: the language.
    """
    words = words or load_words()
    return list(_Changes(catalogue, system, words).of(old, new))


class _Changes:
    def __init__(self, catalogue: Catalogue, system: str | Units, words: Words) -> None:
        self.catalogue = catalogue
        self.system = system
        self.words = words
        self.plan = Say(catalogue, system, words)

    def say(self, path: str, /, **values: object) -> str:
        return self.words(f"desk.change.{path}", **values)

    def name(self, signal: str) -> str:
        return self.words.title(self.catalogue[signal])

    def key(self, key: str) -> str:
        return self.say(f"key.{key}")

    def between(self, old: str, new: str) -> str:
        """`from 95 to 110 kPa`; ranges and longer texts as `72 to 90 km/h instead of 72 to 88 km/h`."""
        pieces = [_ONE.fullmatch(text) for text in (old, new)]
        if pieces[0] and pieces[1] and pieces[0]["unit"] == pieces[1]["unit"]:
            return self.say("moved", old=pieces[0]["number"], new=new)
        return self.say("instead" if any(len(text.split()) > 2 for text in (old, new)) else "moved", old=old, new=new)

    def of(self, old: Recipe, new: Recipe) -> Iterator[Change]:
        if old.revision != new.revision:
            yield Change(self.say("revision", old=old.revision, new=new.revision), "revision")
        if old.title != new.title:
            yield Change(self.say("title", old=old.title, new=new.title), "title")
        if old.note != new.note:
            yield Change(self.say("note"), "note")
        if old.vehicle != new.vehicle:
            nobody = self.say("nobody")
            yield Change(self.say("vehicle", old=old.vehicle or nobody, new=new.vehicle or nobody), "vehicle")
        if old.calibration != new.calibration:
            names = [", ".join(r.calibration) or self.say("none") for r in (old, new)]
            yield Change(self.say("calibration", old=names[0], new=names[1]), "calibration")
        if old.settle_km != new.settle_km:
            ends = [
                self.say("none") if r.settle_km is None else str(show(r.settle_km, "km", self.system))
                for r in (old, new)
            ]
            yield Change(self.say("settle", old=ends[0], new=ends[1]), "settle")
        yield from self.rates(old.record, new.record, None)
        yield from self.captures(old, new)

    def captures(self, old: Recipe, new: Recipe) -> Iterator[Change]:
        before, after = ({c.id: c for c in r.captures} for r in (old, new))
        for gone in before.keys() - after.keys():
            yield Change(self.say("capture_gone", title=before[gone].title), "capture", gone)
        for capture in new.captures:
            was = before.get(capture.id)
            if was is None:
                sentence = capture_sentence(capture, self.catalogue, system=self.system, words=self.words)
                yield Change(self.say("capture_added", title=capture.title, sentence=sentence), "capture", capture.id)
            else:
                yield from self.capture(was, capture)
        kept = [[c.id for c in r.captures if c.id in before and c.id in after] for r in (old, new)]
        if kept[0] != kept[1]:
            yield Change(self.say("order", order=", ".join(after[i].title for i in kept[1])), "order")

    # ---- one capture -----------------------------------------------------------------------------

    def capture(self, old: CaptureAsked, new: CaptureAsked) -> Iterator[Change]:
        """Every difference of two captures of one id."""
        title = old.title

        def change(text: str, key: str) -> Change:
            return Change(text, key, new.id)

        if old.title != new.title:
            yield change(self.say("capture_title", capture=old.title, new=new.title), "title")
        if old.ask != new.ask:
            key = "ask" if new.ask else "ask_gone"
            yield change(self.say(key, capture=title, new=new.ask), "ask")
        if old.place != new.place:
            places = [self.words.inside(self.words(f"plan.place.{c.place}")) for c in (old, new)]
            yield change(self.say("place", capture=title, old=places[0], new=places[1]), "place")
        kinds = [self.say(f"kinds.{kind_of(c)}") for c in (old, new)]
        if kinds[0] != kinds[1]:
            yield change(self.say("kind", capture=title, old=kinds[0], new=kinds[1]), "kind")
        for key, what, before, after in self.pairs(old, new):
            if before != after:
                usual = self.say("usual")
                moved = self.between(before or usual, after or usual)
                yield change(self.say("from_to", what=what, capture=title, moved=moved), key)
        for part, befores, afters in (("start", old.start, new.start), ("keep", old.keep, new.keep)):
            yield from self.bands(part, befores, afters, title, new.id)
        yield from self.limits(old, new, title)
        yield from self.own_rates(old, new, title)

    def pairs(self, old: CaptureAsked, new: CaptureAsked) -> Iterator[_Pair]:
        """Key, its name, and both values as text; empty where a key is left out."""

        def row(key: str, text: Callable[[CaptureAsked], str]) -> _Pair:
            return key, self.key(key), text(old), text(new)

        yield row("times", lambda c: str(c.times))
        yield row("max_excursions", lambda c: self.say("any") if c.max_excursions is None else str(c.max_excursions))
        for key in ("hold", "collect", "piece", "grace", "warn_ahead", "then", "rest", "before", "after"):
            yield row(key, lambda c, at=f"{key}_us": self._time(getattr(c, at)))  # type: ignore[misc]  # the default of at
        yield row("needs", lambda c: self._list(c.needs))
        yield row("confirm", lambda c: self._list(c.confirm))
        yield row("after_limit", lambda c: self.say(f"after_limit.{c.after_limit}"))
        yield row("stale_after", lambda c: self._stale(c.stale_after_us))
        yield row("cells", self._cells)
        yield from self._sweeps(old.sweep, new.sweep)

    def _sweeps(self, old: SweepAsked | None, new: SweepAsked | None) -> Iterator[_Pair]:
        if old is None or new is None:
            return
        if old.signal != new.signal:
            yield "sweep", self.say("sweep", name=""), self.name(old.signal), self.name(new.signal)
            return
        signal = self.catalogue[new.signal]
        name = self.words.inside(self.words.title(signal))
        ends = []
        for s in (old, new):
            start, to = (show(end, signal.unit, self.system) for end in (s.start, s.to))
            ends.append(self.say("ends", to=to, **{"from": start.text}))
        yield "sweep", self.say("sweep", name=name), ends[0], ends[1]
        for key in ("dip", "late"):
            texts = [
                "" if getattr(s, key) is None else str(show_difference(getattr(s, key), signal.unit, self.system))
                for s in (old, new)
            ]
            yield f"sweep.{key}", self.say("of_sweep", what=self.key(key), name=name), texts[0], texts[1]
        within = [self._time(s.within_us) for s in (old, new)]
        yield "sweep.within", self.say("of_sweep", what=self.key("within"), name=name), within[0], within[1]

    def bands(self, part: str, old: Iterable[Band], new: Iterable[Band], title: str, capture: str) -> Iterator[Change]:
        """Bands that came, went or moved."""
        before, after = {b.signal: b for b in old}, {b.signal: b for b in new}
        for name in dict.fromkeys([*before, *after]):
            was, now = before.get(name), after.get(name)
            if was != now:
                what = self.say(part, name=self.name(name))
                texts = ["" if b is None else self.plan.band(b, False) for b in (was, now)]
                yield self._moved(what, texts[0], texts[1], title, f"{part}.{name}", capture)

    def limits(self, old: CaptureAsked, new: CaptureAsked, title: str) -> Iterator[Change]:
        """Limits that came, went or moved, and how each is watched."""
        before, after = ({x.signal: x for x in c.limits} for c in (old, new))
        for name in dict.fromkeys([*before, *after]):
            was, now = before.get(name), after.get(name)
            if was == now:
                continue
            what = self.say("limit", name=self.words.inside(self.name(name)))
            texts = ["" if x is None else self._bound(x) for x in (was, now)]
            if texts[0] != texts[1] or was is None or now is None:
                yield self._moved(what, texts[0], texts[1], title, f"limit.{name}", new.id)
            if was is None or now is None:
                continue
            for key, said, a, b in (
                ("scope", "scope", self._scope(was), self._scope(now)),
                ("after", "limit_after", self._time(was.after_us), self._time(now.after_us)),
                ("for", "limit_for", self._time(was.for_us), self._time(now.for_us)),
            ):
                if a != b:
                    named = self.say("of_limit", what=self.key(said), name=self.words.inside(self.name(name)))
                    yield self._moved(named, a, b, title, f"limit.{name}.{key}", new.id)

    def _moved(self, what: str, old: str, new: str, title: str, key: str, capture: str) -> Change:
        if not new:
            return Change(self.say("gone", what=what, capture=title), key, capture)
        if not old:
            return Change(self.say("added", what=self.words.inside(what), capture=title, new=new), key, capture)
        return Change(self.say("from_to", what=what, capture=title, moved=self.between(old, new)), key, capture)

    # ---- rates -----------------------------------------------------------------------------------

    def own_rates(self, old: CaptureAsked, new: CaptureAsked, title: str) -> Iterator[Change]:
        """A capture's own list of signals."""
        if old.record is None and new.record is None:
            return
        if new.record is None:
            yield Change(self.say("rate_same", capture=title), "record", new.id)
        elif old.record is None:
            yield Change(self.say("rate_own", capture=title), "record", new.id)
        else:
            yield from self.rates(old.record, new.record, new)

    def rates(
        self, old: Mapping[str, RecordAsked], new: Mapping[str, RecordAsked], capture: CaptureAsked | None
    ) -> Iterator[Change]:
        """Signals that are recorded now, no longer, or at another rate."""
        where = None if capture is None else capture.id
        for name in dict.fromkeys([*old, *new]):
            was, now = old.get(name), new.get(name)
            if was == now:
                continue
            if now is None:
                yield Change(self.say("rate_gone", name=self.name(name)), f"record.{name}", where)
            elif was is None:
                text = self.say("rate_added", name=self.name(name), new=self._rate(now))
                yield Change(text, f"record.{name}", where)
            else:
                what = self.say("rate", name=self.words.inside(self.name(name)))
                if capture is not None:
                    what = self.say("rate_here", name=self.words.inside(self.name(name)), capture=capture.title)
                text = f"{what}{self.between(self._rate(was), self._rate(now))}"
                yield Change(text, f"record.{name}", where)

    def _rate(self, asked: RecordAsked) -> str:
        more = ""
        if asked.gap_us is not None:
            more += self.say("rate_gap", gap=self.plan.time(asked.gap_us))
        if asked.least != 0.8:
            more += self.say("rate_least", least=f"{asked.least * 100:g}")
        if not asked.need:
            more += self.say("rate_optional")
        return self.say("rate_more", rate=f"{asked.rate_hz:g}", more=more)

    # ---- values ----------------------------------------------------------------------------------

    def _time(self, us: int | None) -> str:
        return "" if us is None else self.plan.time(us)

    def _list(self, items: tuple[str, ...]) -> str:
        return ", ".join(items) or self.say("none")

    def _scope(self, limit: LimitAsked) -> str:
        return self.say(f"scope.{limit.scope or 'usual'}")

    def _bound(self, limit: LimitAsked) -> str:
        bound = limit.high if limit.high is not None else limit.low
        shown = str(show(bound, self.catalogue[limit.signal].unit, self.system))
        key = "at_least" if limit.high is None else "at_most"
        return shown if limit.high is not None else self.plan(key, low=shown, high=shown)

    def _stale(self, stale: Mapping[str, int]) -> str:
        parts = [
            self.plan.time(us) if not name else self.say("one_signal", name=self.name(name), time=self.plan.time(us))
            for name, us in stale.items()
        ]
        return ", ".join(parts)

    def _cells(self, capture: CaptureAsked) -> str:
        cells = capture.cells
        if cells is None:
            return ""
        axes = []
        for axis in cells.axes:
            unit = self.catalogue[axis.signal].unit
            edges = "/".join(self.words.number(show(edge, unit, self.system).text) for edge in axis.edges)
            name, written = self.words.inside(self.name(axis.signal)), show(axis.edges[-1], unit, self.system).unit
            axes.append(f"{name} {edges} {written}".strip())
        time = self.plan.time(cells.dwell_us)
        return self.say("cells", count=len(cells.wanted), axes=self.plan("and").join(axes), time=time)
