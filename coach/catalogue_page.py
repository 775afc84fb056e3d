"""Writes docs/reference/signals.md from the catalogue: `python -m coach.catalogue_page docs/reference/signals.md`."""

from __future__ import annotations

import sys
from pathlib import Path

from coach.catalogue import default_catalogue, wide_manifold_pressure
from coach.signals import Catalogue, Reading, Signal
from coach.units import units_of

_HEAD = """\
# Signals

Every signal that a recipe may name. This page is made from the catalogue by `python -m coach.catalogue_page`; change
the catalogue, not the page.

*Range* is what is plausible: a sample outside is `out of range` and never good. *End of encoding* is the value that
says only "at least this" (or "at most this"): such a sample is saturated. *Holds* is how long a value counts in a hold
without a new one. *Read from* is the mode-01 parameter and its formula, `A` being the first byte of data. The formulas
agree with three open decoders; where a note says "from memory", nothing outside was at hand to check it. Ranges and
what the signals mean are common practice and have no source.

A table's column is recognised by the signal's own name or by one of the names given here, whatever its case and
punctuation.
"""

_WIDE = (
    "Some cars answer manifold pressure in two bytes; it then reaches {kpa:g} kPa. The link takes it where the car "
    "offers it; at the desk `manifold_pressure_bytes = 2` in the vehicle file says so."
)


def signals_page(catalogue: Catalogue) -> str:
    """The page in Markdown: one table of all signals, then a section for each."""
    lines = [_HEAD, "| signal | what | unit | kind |", "|---|---|---|---|"]
    for signal in catalogue:
        kind = "derived" if signal.inputs else "steps" if signal.discrete else "measured"
        lines.append(f"| [`{signal.name}`](#{signal.name}) | {signal.title} | {signal.unit or '–'} | {kind} |")
    lines.append("")
    for signal in catalogue:
        lines += _section(signal)
    lines += ["## Manifold pressure in two bytes", "", _WIDE.format(kpa=wide_manifold_pressure().ceiling)]
    return "\n".join(lines) + "\n"


def _section(signal: Signal) -> list[str]:
    lines = [f"## {signal.name}", "", signal.note, ""]
    units = ", ".join(f'`"{unit}"`' if unit else "a bare number" for unit in units_of(signal))
    lines.append(f"- Written in: {units}")
    if signal.states:
        lines.append("- Values: " + ", ".join(f"{value} `{word}`" for value, word in signal.states))
    lines.append(f"- Range: {signal.low:g} to {signal.high:g} {signal.unit}".rstrip())
    ends = [f"{word} {end:g}" for word, end in (("low", signal.floor), ("high", signal.ceiling)) if end is not None]
    if ends:
        lines.append(f"- End of encoding: {', '.join(ends)}")
    if signal.step is not None:
        lines.append(f"- Step: {signal.step:.6g} {signal.unit}".rstrip())
    lines.append(f"- Holds: {signal.stale_us / 1_000_000:g} s")
    readings = [r for r in (signal.reading, *signal.readings) if r is not None]
    if readings:
        lines.append("- Read from: " + ", else ".join(_formula(r) for r in readings))
    if signal.inputs:
        ways = [" and ".join(f"`{name}`" for name in way) for way in (signal.inputs, signal.or_inputs) if way]
        lines.append(f"- Derived from: {', else '.join(ways)}")
    if signal.columns:
        lines.append("- Columns: " + ", ".join(signal.columns))
    return [*lines, ""]


def _formula(reading: Reading) -> str:
    """`0C: (256*A + B) * 0.25`."""
    letters = [chr(ord("A") + i) for i in range(reading.first, reading.first + reading.width)]
    terms = [f"{256 ** (reading.width - 1 - i)}*{c}" if i < reading.width - 1 else c for i, c in enumerate(letters)]
    raw = " + ".join(terms)
    if reading.bits:
        bits = (
            f"bit {reading.shift}"
            if reading.bits == 1
            else f"bits {reading.shift} to {reading.shift + reading.bits - 1}"
        )
        raw = f"{bits} of {raw}"
    scaled = (
        raw
        if reading.scale == 1
        else f"({raw}) * {reading.scale:.6g}"
        if len(terms) > 1
        else f"{raw} * {reading.scale:.6g}"
    )
    offset = f" {'+' if reading.offset > 0 else '-'} {abs(reading.offset):g}" if reading.offset else ""
    return f"`{reading.pid:02X}`: `{scaled}{offset}`"


if __name__ == "__main__":
    Path(sys.argv[1]).write_text(signals_page(default_catalogue()), encoding="utf-8")
