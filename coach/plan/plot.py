"""Road speed over engine speed by gear, with a recipe's captures drawn in: an SVG, written by hand.

On a page the classes take the page's colours; a file of its own carries a style sheet for day and night.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from xml.sax.saxutils import escape

from coach.plan.capture_plan import CapturePlan, InGear, band_of
from coach.plan.drive_plan import DrivePlan
from coach.plan.shown_plan import span, speed
from coach.shown import METRIC, Units
from coach.unit_factors import convert
from coach.words import Words, load_words

LEFT, RIGHT, TOP, BOTTOM = 56.0, 36.0, 56.0, 56.0
LINE_HEIGHT = 26.0
WIDE, TALL = (720.0, 440.0), (350.0, 380.0)
"""Width and height of the plot in a file, and on a phone, where text keeps its size."""
LONGEST = 34
"""Letters of a title that fit beside its number on a phone."""
TICKS = (5, 10, 20, 25, 50, 100)

STYLE = """
svg { color-scheme: light dark; background: var(--ground); font: 15px "B612", ui-sans-serif, system-ui, sans-serif;
  --ground: #EEF3F1; --ink: #08222A; --ink-2: #2F4A50; --rule: #6B8388; --hair: #C9D6D4; --held: #0B5567;
  --on-held: #FFFFFF; --limit-ink: #8E0F2F }
@media (prefers-color-scheme: dark) {
  svg { --ground: #070C0E; --ink: #C4CFCB; --ink-2: #98A7A4; --rule: #5E7276; --hair: #1F2D31; --held: #3F8A9C;
    --on-held: #02090B; --limit-ink: #FF93A6 }
}
.p-grid { stroke: var(--hair); stroke-width: 1 }
.p-axis { stroke: var(--rule); stroke-width: 2; fill: none }
.p-gear { stroke: var(--rule); stroke-width: 1.5 }
.p-text, .p-gearname { fill: var(--ink-2); font-size: 14px }
.p-gearname { font-weight: 700 }
.p-name { fill: var(--ink) }
.p-way { stroke: var(--held); stroke-width: 7; stroke-linecap: round }
.p-dot { fill: var(--held); stroke: var(--ground); stroke-width: 2 }
.p-number { fill: var(--on-held); font-size: 13px; font-weight: 700; text-anchor: middle }
.p-bound { stroke: var(--limit-ink); stroke-width: 2; stroke-dasharray: 7 5 }
.p-boundname { fill: var(--limit-ink); font-size: 14px; stroke: var(--ground); stroke-width: 5; paint-order: stroke }
.p-end { text-anchor: end }
.p-mid { text-anchor: middle }
"""


def plan_svg(plan: DrivePlan, *, units: Units | None = None, words: Words | None = None, bare: bool = False) -> str:
    """The plot as an SVG document.

    Args:
        plan: as made; without ratios the plot says so.
        units: of road speeds; the car's own where left out.
        words: of labels.
        bare: for a page on a phone: without a style sheet, because the page has one, and narrow.
    """
    words = words or load_words()
    units = units or (plan.vehicle.units if plan.vehicle is not None else METRIC)
    return "\n".join(_Plot(plan, units, words, TALL if bare else WIDE).lines(bare=bare)) + "\n"


class _Plot:
    def __init__(self, plan: DrivePlan, units: Units, words: Words, size: tuple[float, float]) -> None:
        self.plan, self.units, self.words = plan, units, words
        self.width, self.height = size
        self.narrow = size == TALL
        car = plan.vehicle
        self.ratios = {} if car is None or car.transmission == "CVT" else dict(sorted((car.ratios or {}).items()))
        self.drawn = [one for one in (plan.of(i) for i in plan.order) if self.ways(one)]
        tops = [row.to_rpm or 0.0 for one in plan.captures for row in one.rows]
        limit = None if car is None else car.rev_limit_rpm
        self.limit_rpm = limit or max([5_000.0, *tops])
        self.idle_rpm = 800.0 if car is None or car.idle_rpm is None else car.idle_rpm
        self.top_rpm = math.ceil(self.limit_rpm / 500) * 500.0
        # As fast as captures go, and a little more: the end of the highest gear says nothing.
        fast = [kmh for one in self.drawn for way in self.ways(one) for kmh in (way.from_kmh, way.to_kmh)]
        wanted = max([60.0, *(kmh * 1.2 for kmh in fast), plan.assumed.bound_kmh * 1.15 if fast else 0.0])
        self.step = self.kmh_step(wanted)
        self.top_kmh = math.ceil(wanted / self.step) * self.step

    def kmh_step(self, top_kmh: float) -> float:
        """Distance between two lines in km/h, a round number of the unit shown."""
        unit = convert(1.0, "km/h", self.units.speed)
        return next((s for s in TICKS if top_kmh * unit / s <= 8), TICKS[-1]) / unit

    def x(self, rpm: float) -> float:
        return LEFT + (self.width - LEFT - RIGHT) * rpm / self.top_rpm

    def y(self, kmh: float) -> float:
        return self.height - BOTTOM - (self.height - TOP - BOTTOM) * kmh / self.top_kmh

    def say(self, key: str, **values: object) -> str:
        return escape(self.words(f"drive_plan.plot.{key}", **values))

    @staticmethod
    def ways(one: CapturePlan) -> list[InGear]:
        """What can be drawn of a capture: its gears, or a standing idle on the axis."""
        rows = [row for row in one.rows if row.from_rpm is not None]
        engine, road = band_of(one.asked, "engine_speed"), band_of(one.asked, "road_speed")
        if not rows and engine is not None and road is not None and road.high == 0:
            low = engine.low or 0.0
            return [InGear(0, low, engine.high if engine.high is not None else low * 1.4, 0.0, 0.0)]
        return rows

    def lines(self, *, bare: bool) -> Iterator[str]:
        legend = len(self.drawn) + (1 if self.narrow and self.plan.assumed.bound_kmh < self.top_kmh else 0)
        height = self.height + (legend * LINE_HEIGHT + 20 if legend else 0)
        box, title = f"0 0 {self.width:g} {height:g}", self.say("title")
        yield f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{box}" role="img" class="p-plot" aria-label="{title}">'
        if not bare:
            yield f"<style>{STYLE}</style>"
        yield f"<title>{self.say('title')}</title>"
        if not self.ratios:
            said = self.say("no_ratios")
            yield f'<text class="p-text p-mid" x="{self.width / 2:g}" y="{self.height / 2:g}">{said}</text></svg>'
            return
        yield from self.grid()
        yield from self.gears()
        yield from self.bound()
        for number, one in enumerate(self.drawn, 1):
            yield from self.capture(number, one)
        yield "</svg>"

    def grid(self) -> Iterator[str]:
        right, floor = self.width - RIGHT, self.y(0)
        unit = convert(1.0, "km/h", self.units.speed)
        for n in range(1, round(self.top_kmh / self.step) + 1):
            y = self.y(n * self.step)
            yield f'<path class="p-grid" d="M{LEFT:g} {y:.1f}H{right:g}"/>'
            yield f'<text class="p-text p-end" x="{LEFT - 10:g}" y="{y + 5:.1f}">{n * self.step * unit:.0f}</text>'
        every = 2000 if self.narrow else 1000
        for rpm in range(every, int(self.top_rpm) + 1, every):
            x = self.x(rpm)
            yield f'<path class="p-grid" d="M{x:.1f} {TOP:g}V{floor:g}"/>'
            yield f'<text class="p-text p-mid" x="{x:.1f}" y="{floor + 22:g}">{rpm}</text>'
        yield f'<path class="p-axis" d="M{LEFT:g} {TOP:g}V{floor:g}H{right:g}"/>'
        yield f'<text class="p-text p-end" x="{right:g}" y="{floor + 44:g}">{self.say("engine")}</text>'
        yield f'<text class="p-text" x="{LEFT - 36:g}" y="20">{self.say("road", unit=self.units.speed)}</text>'

    def gears(self) -> Iterator[str]:
        for gear, ratio in self.ratios.items():
            start, end = self.idle_rpm, self.limit_rpm
            end = min(end, self.top_kmh * ratio)
            if end <= start:
                continue
            at = self.x(start), self.y(start / ratio), self.x(end), self.y(end / ratio)
            yield f'<path class="p-gear" d="M{at[0]:.1f} {at[1]:.1f}L{at[2]:.1f} {at[3]:.1f}"/>'
            inside = end < self.limit_rpm
            dx, dy, anchor = (0, -6, " p-mid") if inside else (8, 5, "")
            yield f'<text class="p-gearname{anchor}" x="{at[2] + dx:.1f}" y="{at[3] + dy:.1f}">{gear}</text>'

    def bound(self) -> Iterator[str]:
        kmh = self.plan.assumed.bound_kmh
        if kmh >= self.top_kmh:
            return
        y = self.y(kmh)
        yield f'<path class="p-bound" d="M{LEFT:g} {y:.1f}H{self.width - RIGHT:g}"/>'
        said = self.say("bound", speed=speed(kmh, self.units))
        if self.narrow:
            # Among the lines it would stand on them: it goes below, beside a piece of its line.
            at = self.height + len(self.drawn) * LINE_HEIGHT + 20
            yield f'<path class="p-bound" d="M4 {at:g}H26"/>'
            yield f'<text class="p-boundname" x="34" y="{at + 5:g}">{said}</text>'
            return
        yield f'<text class="p-boundname" x="{LEFT + 8:g}" y="{y - 8:.1f}">{said}</text>'

    def capture(self, number: int, one: CapturePlan) -> Iterator[str]:
        ways = self.ways(one)
        for way in ways:
            x0, y0 = self.x(way.from_rpm or 0.0), self.y(way.from_kmh)
            x1, y1 = self.x(way.to_rpm or 0.0), self.y(way.to_kmh)
            yield f'<path class="p-way" d="M{x0:.1f} {y0:.1f}L{x1:.1f} {y1:.1f}"/>'
            if one.asked.sweep is not None:
                yield self.arrow(x0, y0, x1, y1)
        main = ways[len(ways) // 2]
        x = (self.x(main.from_rpm or 0.0) + self.x(main.to_rpm or 0.0)) / 2
        y = (self.y(main.from_kmh) + self.y(main.to_kmh)) / 2
        yield from _badge(number, x, y)
        at = self.height + (number - 1) * LINE_HEIGHT + 20
        left = 4.0 if self.narrow else LEFT
        yield from _badge(number, left + 10, at)
        title = one.asked.title
        if self.narrow:
            said = escape(title if len(title) <= LONGEST else f"{title[: LONGEST - 1]}…")
        else:
            said = escape(title) + self.ends(one, ways)
        yield f'<text class="p-name" x="{left + 30:g}" y="{at + 5:g}">{said}</text>'

    def ends(self, one: CapturePlan, ways: list[InGear]) -> str:
        if all(way.to_kmh == 0 for way in ways):
            return ""
        low = min(ways, key=lambda w: min(w.from_kmh, w.to_kmh))
        high = max(ways, key=lambda w: w.top_kmh)
        held = one.asked.sweep is None
        first, last = span(low, self.units, held=held), span(high, self.units, held=held)
        return escape(f": {first[0].split()[0]} to {last[1]}")

    @staticmethod
    def arrow(x0: float, y0: float, x1: float, y1: float) -> str:
        """A head at the end of a sweep: which way it goes."""
        length = math.hypot(x1 - x0, y1 - y0) or 1.0
        ux, uy = (x1 - x0) / length, (y1 - y0) / length
        left = x1 - 13 * ux - 9 * uy, y1 - 13 * uy + 9 * ux
        right = x1 - 13 * ux + 9 * uy, y1 - 13 * uy - 9 * ux
        tip = x1 + 7 * ux, y1 + 7 * uy
        dots = " ".join(f"{x:.1f},{y:.1f}" for x, y in (left, tip, right))
        return f'<polygon class="p-dot" points="{dots}"/>'


def _badge(number: int, x: float, y: float) -> Iterator[str]:
    yield f'<circle class="p-dot" cx="{x:.1f}" cy="{y:.1f}" r="11"/>'
    yield f'<text class="p-number" x="{x:.1f}" y="{y + 4.5:.1f}">{number}</text>'
