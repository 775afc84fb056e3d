"""Values, bounds and distances of one signal as the driver reads them.

A shown distance is the difference of what is shown, so that it counts to zero exactly when the value is in.
"""

from __future__ import annotations

import math
from typing import Literal

from coach.shown import METRIC, Shown, Units, show_against, show_band, show_difference, unit_written
from coach.signals import Catalogue, Signal
from coach.unit_factors import convert
from coach.vehicle.dial import Dial
from coach.words import Words

DIAL = "road_speed"
"""The signal that a driver reads on a dial."""
RPM_STEP = 50
"""Engine speeds count down in fifties: finer figures flicker and help nobody."""

Family = Literal["temperature", "gear", "pedal", "engine", "speed", "load", "other"]

ORDER: tuple[Family, ...] = ("temperature", "gear", "pedal", "engine", "speed", "load", "other")
"""The written order of instructions."""
_LOADS = ("calculated_load", "absolute_load", "manifold_pressure", "gauge_boost", "demanded_torque", "actual_torque")


def family_of(signal: Signal) -> Family:
    """Which words steer a signal."""
    if signal.quantity == "temperature":
        return "temperature"
    if signal.quantity == "gear":
        return "gear"
    if signal.quantity == "engine_speed":
        return "engine"
    if signal.quantity == "speed":
        return "speed"
    if "pedal" in signal.name or "throttle" in signal.name:
        return "pedal"
    return "load" if signal.name in _LOADS else "other"


def order_of(signal: Signal) -> int:
    """Place in the written order: warm, gear, pedal, engine speed, road speed, then the rest."""
    return ORDER.index(family_of(signal))


def clock_text(us: float) -> str:
    """Microseconds as `1:12`, rounded up: it reads 0:00 only when nothing is left."""
    seconds = -(-max(0, round(us)) // 1_000_000)
    return f"{seconds // 60}:{seconds % 60:02d}"


class Readout:
    """One signal in the driver's units."""

    def __init__(self, signal: Signal, words: Words, units: Units = METRIC, dial: Dial | None = None) -> None:
        self.signal = signal
        self.words = words
        self.units = units
        self.family = family_of(signal)
        self.unit = unit_written(signal.unit, units)
        self.dial = dial if signal.name == DIAL else None
        self.name = words("row.dial") if self.dial is not None else words.short(signal)
        self.inside = words.inside(self.name)

    @property
    def unit_spoken(self) -> str:
        """The unit as a voice says it."""
        spoken: dict[str, str] = self.words.table["spoken_units"]
        return spoken.get(self.units.of(self.signal.unit), "")

    def _against(self, value: float | None, low: float | None, high: float | None) -> Shown:
        """A value beside its band; of the dial, inside on it exactly if it passes."""
        shown = show_against(value, low, high, self.signal.unit, self.units, step=self.signal.step)
        if self.dial is None or value is None or not math.isfinite(value):
            return shown
        outside = (low is not None and value < low) or (high is not None and value > high)
        ends = [x for x in (low, high) if x is not None]
        # Inside a band one offset stands for all of it; outside, the needle is where it is.
        return self._moved(shown, value if outside or not ends else sum(ends) / len(ends))

    def _band(self, low: float | None, high: float | None) -> tuple[Shown | None, Shown | None]:
        """The bounds as the readings that pass; of the dial, as it reads then."""
        low_shown, high_shown = show_band(low, high, self.signal.unit, self.units, step=self.signal.step)
        ends = [x for x in (low, high) if x is not None]
        if self.dial is None or not ends:
            return low_shown, high_shown
        kmh = sum(ends) / len(ends)
        return (
            None if low_shown is None else self._moved(low_shown, kmh),
            None if high_shown is None else self._moved(high_shown, kmh),
        )

    def _moved(self, shown: Shown, kmh: float) -> Shown:
        """As the dial reads it, where its offset is that at `kmh`; in whole steps."""
        assert self.dial is not None
        by = max(0, round(convert(self.dial.shows(kmh) - kmh, "km/h", self.units.speed, difference=True)))
        places = len(shown.text.partition(".")[2])
        return Shown(shown.value + by, f"{shown.value + by:.{places}f}", shown.unit)

    def value(self, value: float | None, low: float | None = None, high: float | None = None) -> str:
        """A value as text, on the side of the bounds on which it is; gears and states as figures."""
        if value is None or not math.isfinite(value):
            return self.words("row.none")
        if self.family == "gear":
            return f"{value:g}"
        if self.signal.states:
            state = dict(self.signal.states).get(round(value), f"{value:g}")
            return self.words.of_signal(self.signal.name, f"states.{round(value)}", state)
        if self.family == "engine" and low is None and high is None:
            return f"{round(value / 10) * 10:d}"
        return self.words.number(self._against(value, low, high).text)

    def bounds(self, low: float | None, high: float | None) -> tuple[str | None, str | None]:
        """Bounds as the readings that pass."""
        low_end, high_end = (None if s is None else s.text for s in self._band(low, high))
        return low_end, high_end

    def asked(self, low: float | None, high: float | None, wander: float | None = None) -> str:
        """What a condition asks, in a few words."""
        if self.family == "gear" and low is not None and low == high:
            return self.words.ordinal(round(low))
        if self.family == "speed" and low in {None, 0} and high == 0:
            return self.words("row.still")
        if self.signal.states and low is not None and low == high:
            return self.value(low)
        low_text, high_text = self.bounds(low, high)
        if low_text is not None and high_text is not None:
            same = low_text == high_text
            return low_text if same else self.words("row.between", low=low_text, high=high_text)
        if low_text is not None:
            return self.words("row.least", low=low_text)
        if high_text is not None:
            return self.words("row.most", high=high_text)
        wander_text = show_difference(wander or 0.0, self.signal.unit, self.units).text
        return self.words("row.steady", wander=wander_text)

    def asked_with_unit(self, low: float | None, high: float | None, wander: float | None = None) -> str:
        """The same with its unit behind the last figure: `72 to 88 km/h`, `80 °C or more`; `fifth` has none."""
        asked = self.asked(low, high, wander)
        end = max((place for place, sign in enumerate(asked, 1) if sign.isdigit()), default=0)
        if self.family == "gear" or not self.unit or not end:
            return asked
        return f"{asked[:end]} {self.unit}{asked[end:]}"

    def off(self, value: float, low: float | None, high: float | None) -> str:
        """How far outside, as a number that counts to zero: whole, engine speeds in fifties, never zero outside."""
        shown = self._against(value, low, high)
        low_shown, high_shown = self._band(low, high)
        if low is not None and value < low and low_shown is not None:
            return self._amount(low_shown.value - shown.value)
        if high is not None and value > high and high_shown is not None:
            return self._amount(shown.value - high_shown.value)
        return "0"

    def distance(self, delta: float) -> str:
        """A difference in the signal's unit as a number that counts to zero: what is left of a sweep."""
        return self._amount(show_difference(max(0.0, delta), self.signal.unit, self.units, decimals=6).value)

    def spare(self, value: float, low: float | None, high: float | None) -> str:
        """`6 to spare`, `3 over`, `9 under`, `right`, `one up`."""
        words = self.words
        if self.signal.states:
            met = (low is None or value >= low) and (high is None or value <= high)
            return words("row.right" if met else "row.wrong")
        if self.family == "gear":
            target = low if low is not None and value < low else high if high is not None and value > high else None
            if target is None:
                return words("row.right")
            count = max(1, round(abs(target - value)))
            return words("row.up" if value < target else "row.down", count=words.spelled(count))
        shown = self._against(value, low, high)
        low_shown, high_shown = self._band(low, high)
        places = len(shown.text.partition(".")[2])
        if low is not None and value < low and low_shown is not None:
            return words("row.under", amount=f"{low_shown.value - shown.value:.{places}f}")
        if high is not None and value > high and high_shown is not None:
            return words("row.over", amount=f"{shown.value - high_shown.value:.{places}f}")
        if self.family == "speed" and high == 0:
            return words("row.right")
        sides = []
        if low_shown is not None:
            sides.append(shown.value - low_shown.value)
        if high_shown is not None:
            sides.append(high_shown.value - shown.value)
        if not sides:
            return words("row.right")
        text = f"{min(sides):.{places}f}"
        return words("row.spare", amount=text) if float(text) > 0 else words("row.edge")

    def spoken(self, text: str) -> str:
        """A shown number in words for the voice: rpm in hundreds, others whole."""
        number = float(text.replace(",", "."))
        if self.family == "engine":
            number = max(100.0, round(number / 100) * 100) if number else 0.0
        return self.words.spelled(max(1, round(number)) if 0 < number < 1 else round(number))

    def _amount(self, shown: float) -> str:
        """A positive distance in shown units, rounded up to what the eye can follow."""
        if self.family == "engine":
            return f"{math.ceil(round(shown, 6) / RPM_STEP) * RPM_STEP:d}"
        span = show_difference(self.signal.high - self.signal.low, self.signal.unit, self.units).value
        # Where the whole scale is a handful (lambda, volts, bar), whole numbers say nothing.
        places = 0 if span >= 50 else 1 if span >= 10 else 2
        scaled = math.ceil(round(shown * 10**places, 6))
        return self.words.number(f"{scaled / 10**places:.{places}f}")


class Readouts:
    """Readouts by signal name, made when first asked for."""

    def __init__(self, catalogue: Catalogue, words: Words, units: Units = METRIC, dial: Dial | None = None) -> None:
        self._catalogue, self._words, self._units, self._dial = catalogue, words, units, dial
        self._made: dict[str, Readout] = {}

    def __contains__(self, name: object) -> bool:
        return name in self._catalogue

    def __getitem__(self, name: str) -> Readout:
        if name not in self._made:
            self._made[name] = Readout(self._catalogue[name], self._words, self._units, self._dial)
        return self._made[name]
