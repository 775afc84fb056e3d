"""Which parameter carries which signal, and its bytes into a value; the catalogue's readings first, then those here.

Parameters that several sensors share say in their first byte which of them are there; an absent one has no value.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from coach.signals import Catalogue, Identified, Reading


@dataclass(frozen=True, slots=True)
class Way:
    """One way to read a signal. `bit` of the answer's first byte says whether it is there; None: it always is."""

    signal: str
    reading: Reading | Identified
    bit: int | None = None

    @property
    def key(self) -> int:
        """What it is asked for by: the parameter of mode 01, or a number above 65535 for an identifier."""
        return key_of(self.reading)

    def value(self, data: bytes) -> float:
        """The value, or NaN where the car says that it has none. Raises ValueError for another length."""
        if self.bit is not None and len(data) == self.reading.length and not data[0] >> self.bit & 1:
            return math.nan
        return self.reading.decode(data)


def key_of(reading: Reading | Identified) -> int:
    """One number for each request: a parameter as it is, an identifier with its control unit's address above it."""
    if isinstance(reading, Reading):
        return reading.pid
    header = reading.header
    unit = int(header[-1], 16) if len(header) == 3 else 0x100 + int(header[-4:-2], 16)
    return (unit + 1) << 16 | reading.identifier


def label(key: int) -> str:
    """A key as people write it: `0C`, or `22 203C`."""
    return f"{key:02X}" if key <= 0xFF else f"22 {key & 0xFFFF:04X}"


# For cars without the usual parameter. All from memory: no published table that could be read has these.
OTHER_WAYS = (
    Way("mass_airflow", Reading(0x66, 5, first=1, width=2, scale=1 / 32), bit=0),
    Way("coolant_temp", Reading(0x67, 3, first=1, offset=-40), bit=0),
    Way("intake_temp", Reading(0x68, 7, first=1, offset=-40), bit=0),
    Way("intake_temp", Reading(0x68, 3, first=1, offset=-40), bit=0),
    Way("rail_pressure", Reading(0x6D, 6, first=3, width=2, scale=10), bit=1),
    Way("rail_pressure", Reading(0x6D, 11, first=3, width=2, scale=10), bit=1),
    Way("manifold_pressure", Reading(0x87, 5, first=1, width=2, scale=1 / 32), bit=0),
)

WIDER = {"manifold_pressure": 10.0}
"""Signals that a charged engine drives beyond the usual encoding, and how far two answers at idle may lie apart."""

# The catalogue's own readings of parameters whose first byte says what is there: which bit stands for them.
_BITS = {
    "charge_air_temp": 0, "exhaust_temp": 0, "exhaust_pressure": 0, "gear_reported": 0, "gear_ratio_reported": 1,
    "manifold_pressure_commanded": 0, "rail_pressure_commanded": 0,
}  # fmt: skip


def _bit(name: str, reading: Reading | Identified) -> int | None:
    if not isinstance(reading, Reading):
        return None
    return next((w.bit for w in OTHER_WAYS if w.signal == name and w.reading == reading), _BITS.get(name))


def ways(catalogue: Catalogue) -> dict[str, tuple[Way, ...]]:
    """Every signal's ways to be read, best first."""
    table: dict[str, list[Way]] = {}
    for signal in catalogue:
        own = [r for r in (signal.identified, signal.reading, *signal.readings) if r is not None]
        table[signal.name] = [Way(signal.name, r, _bit(signal.name, r)) for r in own]
    for way in OTHER_WAYS:
        if way.signal in table and way.key not in {w.key for w in table[way.signal] if w.bit is None}:
            table[way.signal].append(way)
    return {name: tuple(some) for name, some in table.items() if some}


def choose(
    catalogue: Catalogue, lengths: Mapping[int, int], answers: Mapping[int, bytes] | None = None
) -> dict[str, Way]:
    """The way in which this car's signals are read: the first one whose parameter it offers in the right length.

    One whose encoding goes further is taken instead where the car's answers to both agree: manifold pressure in two
    bytes, whose formula is from memory, stands beside the published one of one byte.

    Args:
        catalogue: the signals.
        lengths: of each parameter's answer, in bytes.
        answers: those answers, or None where nobody asked.
    """
    chosen, answers = {}, answers or {}
    for name, some in ways(catalogue).items():
        usable = [w for w in some if lengths.get(w.key) == w.reading.length]
        usable = [w for w in usable if w.key not in answers or not math.isnan(w.value(answers[w.key]))] or usable
        if usable:
            chosen[name] = next((w for w in usable[1:] if _sees_further(w, usable[0], answers)), usable[0])
    return chosen


def _sees_further(way: Way, usual: Way, answers: Mapping[int, bytes]) -> bool:
    if way.signal not in WIDER or isinstance(way.reading, Identified) or isinstance(usual.reading, Identified):
        return False
    if way.reading.highest <= usual.reading.highest or not {way.key, usual.key} <= answers.keys():
        return False
    return abs(way.value(answers[way.key]) - usual.value(answers[usual.key])) <= WIDER[way.signal]


def readable(catalogue: Catalogue, offered: Iterable[int]) -> list[int]:
    """Those of the offered parameters that carry a signal of the catalogue, in order."""
    known = {w.key for some in ways(catalogue).values() for w in some}
    return sorted(known & set(offered))


def as_read(catalogue: Catalogue, chosen: Mapping[str, Way]) -> Catalogue:
    """The catalogue with every signal as this car gives it: its reading, and the ends of that encoding.

    A signal that is read by another parameter than the catalogue's first one saturates where that one's encoding ends,
    and may go as far as that where only the old encoding's end kept it below.
    """
    changed = []
    for name, way in chosen.items():
        signal, reading = catalogue[name], way.reading
        if isinstance(reading, Identified) or reading == signal.reading:
            continue
        ends = signal.ceiling is not None
        high = reading.highest if signal.high == signal.ceiling else signal.high
        changed.append(replace(
            signal, reading=reading, high=high, ceiling=reading.highest if ends else None, step=reading.scale,
            floor=None if signal.floor is None else reading.lowest,
        ))  # fmt: skip
    return catalogue.with_signals(changed) if changed else catalogue


def bitmap(first: int, data: bytes) -> frozenset[int]:
    """The parameters that a bitmap's four bytes offer: `first` is the bitmap's own number, 00, 20, 40 and so on."""
    bits = int.from_bytes(data[:4], "big")
    return frozenset(first + 1 + n for n in range(32) if bits >> (31 - n) & 1)


def vin(data: bytes) -> str | None:
    """The vehicle's number out of the answer to 0902, from behind the parameter on; None when it is none.

    CAN sends a count before the 17 characters, older buses fill with zeros in front (from memory).
    """
    text = bytes(b for b in data if b > 0x1F)
    if len(text) != 17 or any(c in b"IOQ" or not chr(c).isalnum() or chr(c).islower() for c in text) or max(text) > 127:
        return None
    return text.decode("ascii")


def calibration_ids(data: bytes) -> list[str]:
    """Calibration identifications out of the answer to 0904: 16 characters each, behind a count on CAN."""
    body = data[1:] if len(data) % 16 == 1 else data
    if not body or len(body) % 16:
        return []
    parts = (body[n : n + 16] for n in range(0, len(body), 16))
    return [t for t in ("".join(chr(b) for b in part if 0x20 <= b < 0x7F).strip() for part in parts) if t]


def verification_numbers(data: bytes) -> list[str]:
    """Calibration verification numbers out of the answer to 0906: four bytes each, behind a count on CAN."""
    body = data[1:] if len(data) % 4 == 1 else data
    if not body or len(body) % 4:
        return []
    return [body[n : n + 4].hex().upper() for n in range(0, len(body), 4)]


def codes(data: bytes, *, counted: bool) -> list[str]:
    """Trouble codes out of the answer to 03, 07 or 0A, from behind the mode byte on: two bytes each, zeros are none.

    On CAN a count stands first; older buses have none, and obd puts a zero in its place for mode 03.
    """
    count = data[0] if counted and data else None
    pairs = data[1:] if len(data) % 2 else data
    found = []
    for n in range(0, len(pairs) - 1, 2):
        high, low = pairs[n], pairs[n + 1]
        if high or low:
            found.append(f"{'PCBU'[high >> 6]}{high >> 4 & 3}{high & 15:X}{low:02X}")
    return found[:count]
