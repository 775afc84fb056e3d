"""What a header says: which column is the time, which carries which signal, in which unit. Never a guess."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from coach.signals import Catalogue, Signal, plain_name
from coach.sources.table_time import NUMBER_UNITS
from coach.unit_factors import KNOWN
from coach.units import canonical_unit, units_of, written_in

TIME_NAMES = frozenset(
    ("time", "t", "timestamp", "time stamp", "elapsed", "elapsed time", "clock", "clock time", "time of day",
     "date time", "datetime", "seconds", "milliseconds", "time since start")
)  # fmt: skip
"""Names of a time column, in the form of `plain_name`."""

# How tables write the units that the project knows. Common practice, no source.
_SPELLINGS = {
    "km/h": "kmh kph kmph km/hr", "mph": "mi/h miles/h", "m/s": "ms mps m/sec", "rpm": "r/min rev/min u/min min-1",
    "kPa": "kpa", "kPa abs": "kpa(a) kpaa kpaabs", "kPa gauge": "kpag kpa(g) kpagauge", "bar abs": "bara bar(a)",
    "bar gauge": "barg bar(g)", "psi abs": "psi(a)", "psi gauge": "psig psi(g)", "inHg": 'inhg "hg in.hg',
    "degC": "c ℃ ºc celsius \ufffdc degreesc", "degF": "f ℉ ºf fahrenheit \ufffdf degreesf", "K": "kelvin",
    "%": "pct percent", "deg": "º \ufffd degree degrees °btdc degbtdc °ca degca", "g/s": "gs gps g/sec",
    "kg/h": "kgh kg/hr", "lb/min": "lbmin lbm/min", "V": "volt volts", "mV": "millivolt millivolts",
    "A": "amp amps ampere", "mA": "milliamp milliamps", "s": "sec secs second seconds", "min": "minute minutes",
    "h": "hr hour hours", "ms": "msec millisecond milliseconds", "km": "kilometer kilometre", "mi": "mile miles",
    "m": "meter metre", "N.m": "n-m newtonmeter", "lbf ft": "lbft lb-ft ft-lb ftlb lbf.ft ft.lbf", "L/h": "lh lph l/hr",
    "L/min": "lpm",
}  # fmt: skip

_TIME_UNITS = {
    **dict.fromkeys(("s", "sec", "secs", "second", "seconds"), "s"),
    **dict.fromkeys(("ms", "msec", "millisecond", "milliseconds"), "ms"),
    **dict.fromkeys(("us", "µs", "μs", "usec", "microseconds"), "us"),
    **dict.fromkeys(("min", "minutes"), "min"),
    **dict.fromkeys(("h", "hours"), "h"),
}

_BRACKETS = re.compile(r"(.*?)\s*(?:\[([^\[\]]*)\]|\(([^()]*)\)|\{([^{}]*)\})\s*", re.DOTALL)
_BARE = frozenset(("", "-", "--", "1", "#", "none", "ratio"))


def _squeezed(unit: str) -> str:
    return re.sub(r"[\s_]", "", unit.lower()).replace("·", ".").replace("⋅", ".").replace("*", ".")


def _spelling_table() -> dict[str, tuple[str, ...]]:
    table: dict[str, tuple[str, ...]] = {}
    for unit in KNOWN:
        for spelling in (unit, *_SPELLINGS.get(unit, "").split()):
            key = _squeezed(spelling)
            table[key] = (*table.get(key, ()), unit)
    return table


_UNITS = _spelling_table()


@dataclass(frozen=True, slots=True)
class Column:
    """A column that is read.

    Attributes:
        index: its place, from 0.
        header: the cell above it.
        signal: what it carries.
        unit: the unit of its values, in the spelling of `units.py`; the signal's own where none stands in the header.
        assumed: whether that unit is nowhere in the header.
    """

    index: int
    header: str
    signal: Signal
    unit: str
    assumed: bool = False


@dataclass(frozen=True, slots=True)
class Unread:
    """A column that is not read, and why: `unknown`, `unknown_unit` (`fitting` are those that fit) or `ignored`."""

    index: int
    header: str
    why: str
    fitting: str = ""


def mended(header: str) -> str:
    """`header` without the marks of UTF-8 that was read as Latin-1 once: `[Â°C]` is `[°C]`."""
    text = header.strip().lstrip("\ufeff")
    if text.isascii():
        return text
    for encoding in ("cp1252", "latin-1"):
        try:
            return text.encode(encoding).decode("utf-8")
        except UnicodeError:
            continue
    return text


def split_header(header: str) -> Iterator[tuple[str, str | None]]:
    """Possible readings of a header as name and unit, the likeliest first; None is no unit."""
    text = mended(header)
    match = _BRACKETS.fullmatch(text)
    if match is not None:
        yield match[1], next(unit for unit in match.groups()[1:] if unit is not None)
    else:
        parts = re.split(r"([\s_,/]+)", text)
        for at in range(len(parts) - 1, 1, -2):
            if len(parts) - at <= 5:
                yield "".join(parts[: at - 1]), "".join(parts[at:])
    yield text, None


class Names:
    """The names of a catalogue as tables write them: names, titles and other names, whatever the case and spacing."""

    def __init__(self, catalogue: Catalogue) -> None:
        self._catalogue = catalogue
        self._titles = {plain_name(s.title): s for s in catalogue}

    def signal(self, name: str) -> Signal | None:
        """The signal of that name. A table's gear is what the car reported: the estimate is made from speeds."""
        found = self._catalogue.by_column(name) or self._titles.get(plain_name(name))
        if found is not None and found.quantity == "gear" and found.inputs:
            reported = f"{found.name}_reported"
            return next((s for s in self._catalogue if s.name == reported), None)
        return found

    def column(self, index: int, header: str) -> Column | Unread:
        """What the column under `header` carries."""
        why, units = "unknown", ""
        bracketed = _BRACKETS.fullmatch(mended(header)) is not None
        for name, unit in split_header(header):
            signal = self.signal(name)
            if signal is None:
                continue
            if unit is None:
                return self._whole(index, header, signal)
            fitting = unit_of(unit, signal, bare=bracketed)
            if fitting is not None:
                return Column(index, header, signal, fitting)
            if bracketed:
                why, units = "unknown_unit", f"{signal.name} is in {written_in(signal)}"
        return Unread(index, header, why, units)

    @staticmethod
    def _whole(index: int, header: str, signal: Signal) -> Column:
        """A header that is a name from end to end; some names, such as `load_pct`, have their unit in them."""
        own = canonical_unit(signal.quantity)
        ending = unit_of(re.split(r"[\s_]", mended(header))[-1], signal, bare=False)
        return Column(index, header, signal, ending or own, assumed=bool(own) and not ending)


def unit_of(text: str, signal: Signal, *, bare: bool = True) -> str | None:
    """The unit that a table writes as `text`, if values of `signal` may have it, else None.

    `bare` is whether signs for no unit, such as `-` or `1`, are taken for a signal that has none.
    """
    allowed = units_of(signal)
    key = _squeezed(text)
    if not canonical_unit(signal.quantity):
        if signal.unit and key == _squeezed(signal.unit):
            return ""
        return "" if bare and key in _BARE else None
    return next((unit for unit in _UNITS.get(key, ()) if unit in allowed), None)


def time_unit(header: str) -> tuple[bool, str | None]:
    """Whether `header` names a time column, and the unit of its numbers if the header says one.

    A unit in brackets that is none of time, such as `[hh:mm:ss]`, says how it is written and is passed over.
    """
    plain = plain_name(mended(header))
    if plain in _TIME_UNITS and plain in TIME_NAMES:
        return True, _TIME_UNITS[plain]
    for name, unit in split_header(header):
        if plain_name(name) not in TIME_NAMES:
            continue
        if unit is None:
            return True, None
        known = _TIME_UNITS.get(unit.strip().lower())
        if known is not None:
            assert known in NUMBER_UNITS
            return True, known
        if _BRACKETS.fullmatch(mended(header)):
            return True, None
    return False, None
