"""Each capture as one sentence for people: "Hold 72 to 88 km/h in fifth for 3 minutes, coolant 80 °C or more."."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Literal

from coach.core.spec import Band
from coach.recipe import PIECE_US, CaptureAsked, Finding, LimitAsked, Recipe
from coach.shown import METRIC, Units, show, show_band, show_difference
from coach.signals import Catalogue, Signal
from coach.words import Words, load_words

US = 1_000_000
_LEADS = ("road_speed", "engine_speed")


def describe_recipe(
    recipe: Recipe,
    catalogue: Catalogue,
    findings: Sequence[Finding] = (),
    *,
    system: str | Units = METRIC,
    words: Words | None = None,
) -> dict[str, Any]:
    """The recipe for a screen, JSON-able: captures as sentences, places, minutes, findings."""
    words = words or load_words()
    return {
        "title": recipe.title,
        "revision": recipe.revision,
        "note": recipe.note,
        "vehicle": recipe.vehicle,
        "sha256": recipe.sha256,
        "least_s": sum(least_us(capture) for capture in recipe.captures) / US,
        "captures": [
            {
                "id": capture.id,
                "title": capture.title,
                "ask": capture.ask,
                "kind": kind_of(capture),
                "place": capture.place,
                "place_text": words(f"plan.place.{capture.place}"),
                "times": capture.times,
                "least_s": least_us(capture) / US,
                "sentence": capture_sentence(capture, catalogue, system=system, words=words),
                "confirm": list(capture.confirm),
                "signals": list(recipe.recorded(capture)),
            }
            for capture in recipe.captures
        ],
        "record": {name: asked.rate_hz for name, asked in recipe.record.items()},
        "findings": [finding.as_dict() for finding in findings],
    }


def kind_of(capture: CaptureAsked) -> Literal["hold", "collect", "sweep"]:
    """What the capture asks for."""
    if capture.sweep is not None:
        return "sweep"
    return "hold" if capture.collect_us is None else "collect"


def least_us(capture: CaptureAsked) -> int:
    """The shortest time in which a capture can be secured as often as asked: holds, what follows a sweep, rests."""
    once = (capture.hold_us or capture.collect_us or 0) + (capture.then_us or 0)
    if capture.cells is not None:
        once = max(once, capture.cells.dwell_us * len(capture.cells.wanted))
    if capture.sweep is not None:
        once += capture.sweep.within_us or 0
    return once * capture.times + capture.rest_us * (capture.times - 1)


def capture_sentence(
    capture: CaptureAsked, catalogue: Catalogue, *, system: str | Units = METRIC, words: Words | None = None
) -> str:
    """What the capture asks for, in one sentence, and what must never be passed in a second one."""
    say = Say(catalogue, system, words or load_words())
    keep = {band.signal: band for band in capture.keep}
    gear = say.gear(keep.pop("gear", None))
    parts = []
    if capture.sweep is not None:
        signal = catalogue[capture.sweep.signal]
        start, to = (show(end, signal.unit, system) for end in (capture.sweep.start, capture.sweep.to))
        head = say("sweep", gear=gear, to=to, **{"from": start.text})
        keep.pop(signal.name, None)
        if capture.sweep.within_us is not None:
            parts.append(say("within", time=say.time(capture.sweep.within_us)))
        if capture.then_us is not None:
            parts.append(say("then", time=say.time(capture.then_us)))
    else:
        time = say.time(capture.hold_us or capture.collect_us or 0)
        speed = keep.get("road_speed")
        if speed is not None and speed.high == 0:
            del keep["road_speed"]
            head = say("stand", time=time)
        else:
            lead = next((name for name in (*_LEADS, *keep) if name in keep), None)
            what = say.band(keep.pop(lead), lead not in _LEADS) if lead is not None else ""
            head = say(kind_of(capture), what=(what + gear).strip(), time=time)
        if capture.collect_us is not None:
            parts.append(say("piece", time=say.time(capture.piece_us or PIECE_US)))
        if capture.cells is not None:
            axes = say("and").join(say.words.inside(say.name(catalogue[axis.signal])) for axis in capture.cells.axes)
            count = len(capture.cells.wanted)
            parts.append(say.words.counted("plan.cells", count, axes=axes, time=say.time(capture.cells.dwell_us)))
    parts += [say.band(band, True) for band in keep.values()]
    begin = [say.band(band, True) for band in capture.start]
    if begin:
        parts.append(say("start", what=say("and").join(begin)))
    if capture.times > 1:
        parts.append(say("times_2") if capture.times == 2 else say("times", count=capture.times))
    never = [say.limit(limit) for limit in capture.limits]
    sentence = ", ".join([head, *parts]) + "."
    sentence = sentence[:1].upper() + sentence[1:]
    if never:
        joined = ", ".join(never)
        sentence += f" {joined[:1].upper()}{joined[1:]}."
    return sentence


class Say:
    """Pieces of sentences about one recipe, in one language and a driver's units."""

    def __init__(self, catalogue: Catalogue, system: str | Units, words: Words) -> None:
        self.catalogue = catalogue
        self.system = system
        self.words = words

    def __call__(self, key: str, **values: object) -> str:
        """The words under `plan.` and `key`, with `values` filled in."""
        return self.words(f"plan.{key}", **values)

    def name(self, signal: Signal) -> str:
        """A signal's short name in this language."""
        return self.words.short(signal)

    def time(self, us: int) -> str:
        """A duration in the largest unit in which it is whole; seconds to a tenth."""
        seconds = round(us / US, 1)
        for key, size in (("hours", 3600), ("minutes", 60)):
            if seconds >= size and seconds % size == 0:
                return self.words.counted(f"plan.{key}", round(seconds / size))
        if seconds == 1:
            return self.words("plan.seconds_one")
        return self.words("plan.seconds", count=f"{seconds:g}")

    def gear(self, band: Band | None) -> str:
        """` in fifth`; empty without a band."""
        if band is None:
            return ""
        low = None if band.low is None else round(band.low)
        high = None if band.high is None else round(band.high)
        if low is not None and low == high:
            return self("gear", ordinal=self.words.ordinal(low))
        if low is not None and high is not None:
            return self("gears", low=self.words.ordinal(low), high=self.words.ordinal(high))
        said = self("at_least", low=self.words.ordinal(low)) if low is not None else ""
        return self("gear", ordinal=said or self("at_most", high=self.words.ordinal(high or 0)))

    def band(self, band: Band, named: bool) -> str:
        """`72 to 88 km/h`, with the signal's name before it if `named`."""
        signal = self.catalogue[band.signal]
        said = []
        if band.low is not None or band.high is not None:
            said.append(self._ends(band, signal))
        if band.wander is not None:
            said.append(self("wander", wander=show_difference(band.wander, signal.unit, self.system)))
        text = ", ".join(said)
        return self("with", name=self.words.inside(self.name(signal)), band=text) if named else text

    def _ends(self, band: Band, signal: Signal) -> str:
        for value, word in signal.states:
            if band.low == band.high == value:
                return self.words.of_signal(signal.name, f"states.{round(value)}", word)
        low, high = show_band(band.low, band.high, signal.unit, self.system, step=signal.step)
        if low is not None and high is not None:
            if low == high:
                return self("exactly", low=low)
            return self("between", low=low.text, high=high)
        return self("at_least", low=low) if low is not None else self("at_most", high=high)

    def limit(self, limit: LimitAsked) -> str:
        """`boost never over 95 kPa`."""
        signal = self.catalogue[limit.signal]
        low, high = show_band(limit.low, limit.high, signal.unit, self.system, step=signal.step)
        key, bound = ("never_over", high) if high is not None else ("never_under", low)
        return self(key, name=self.words.inside(self.name(signal)), bound=bound)
