"""Plots as SVG, drawn by hand: text in, text out, the same bytes for the same numbers. Colours come from the page."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
WIDTH = 480.0


def n(value: float) -> str:
    """A coordinate: one decimal, no trailing zero, no minus nought."""
    text = f"{value:.1f}"
    text = text.removesuffix(".0")
    return "0" if text == "-0" else text


@dataclass(frozen=True, slots=True)
class Frame:
    """Where values stand: x from `x_low` to `x_high` over the width, y from `y_low` at the bottom to `y_high`."""

    x_low: float
    x_high: float
    y_low: float
    y_high: float
    height: float
    top: float = 0.0
    width: float = WIDTH

    def x(self, value: float) -> float:
        """Across."""
        span = self.x_high - self.x_low
        return 0.0 if span <= 0 else (value - self.x_low) / span * self.width

    def y(self, value: float) -> float:
        """Down, held inside the frame."""
        span = self.y_high - self.y_low
        share = 0.5 if span <= 0 else (value - self.y_low) / span
        return self.top + (1 - min(1.0, max(0.0, share))) * self.height


def svg(body: str, width: float, height: float, label: str, css: str = "") -> str:
    """A picture with a name that a screen reader says."""
    kind = f' class="{css}"' if css else ""
    return (
        f'<svg{kind} viewBox="0 0 {n(width)} {n(height)}" role="img" aria-label="{escape(label, quote=True)}">'
        f"{body}</svg>"
    )


def path(frame: Frame, x: Floats, y: Floats, css: str) -> str:
    """A line through the points (`x`, `y`), alike in length; unknown ones break it, one without neighbours is a dot."""
    good = np.isfinite(x) & np.isfinite(y)
    parts: list[str] = []
    for run in _runs(good):
        points = [f"{n(frame.x(float(x[i])))} {n(frame.y(float(y[i])))}" for i in range(run[0], run[1])]
        if len(points) == 1:
            points *= 2
        parts.append("M" + "L".join(points))
    return f'<path class="{css}" d="{"".join(parts)}"/>' if parts else ""


def area(frame: Frame, x: Floats, low: Floats, high: Floats, css: str) -> str:
    """The stretch over `x` between the lines `low` and `high`, all alike in length; unknown ones break it."""
    good = np.isfinite(x) & np.isfinite(low) & np.isfinite(high)
    parts = []
    for a, b in _runs(good):
        up = [f"{n(frame.x(float(x[i])))} {n(frame.y(float(high[i])))}" for i in range(a, b)]
        down = [f"{n(frame.x(float(x[i])))} {n(frame.y(float(low[i])))}" for i in range(b - 1, a - 1, -1)]
        parts.append("M" + "L".join([*up, *down]) + "Z")
    return f'<path class="{css}" d="{"".join(parts)}"/>' if parts else ""


def _runs(good: NDArray[np.bool_]) -> list[list[int]]:
    edges = np.flatnonzero(np.diff(np.concatenate([[0], good.astype(np.int8), [0]])))
    found: list[list[int]] = edges.reshape(-1, 2).tolist()
    return found


def rect(x: float, y: float, width: float, height: float, css: str) -> str:
    """A box."""
    return f'<rect class="{css}" x="{n(x)}" y="{n(y)}" width="{n(max(0.0, width))}" height="{n(max(0.0, height))}"/>'


def line(x1: float, y1: float, x2: float, y2: float, css: str) -> str:
    """A straight line."""
    return f'<path class="{css}" d="M{n(x1)} {n(y1)}L{n(x2)} {n(y2)}"/>'


def text(x: float, y: float, words: str, css: str = "", anchor: str = "start") -> str:
    """Words; anchored left, middle or right."""
    kind = f' class="{css}"' if css else ""
    at = "" if anchor == "start" else f' text-anchor="{anchor}"'
    return f'<text{kind} x="{n(x)}" y="{n(y)}"{at}>{escape(words)}</text>'


def ticks(low: float, high: float, most: int = 5) -> list[float]:
    """Round values inside a range: steps of 1, 2 or 5 times a power of ten."""
    span = high - low
    if not (span > 0 and math.isfinite(span)):
        return []
    raw = span / most
    size = 10.0 ** math.floor(math.log10(raw))
    step = next((m * size for m in (1, 2, 5, 10) if m * size >= raw * (1 - 1e-9)), 10 * size)
    first = math.ceil(low / step - 1e-9)
    return [k * step for k in range(first, math.floor(high / step + 1e-9) + 1)]


def padded(values: Sequence[float], least: float = 0.0) -> tuple[float, float]:
    """A range around values with some air, at least `least` high."""
    good = [v for v in values if math.isfinite(v)]
    if not good:
        return 0.0, 1.0
    low, high = min(good), max(good)
    air = max((high - low) * 0.12, (least - (high - low)) / 2, 1e-9 + 0.002 * abs(high))
    return low - air, high + air
