"""A drive plan as text for a terminal: the order, a block a capture, what is not known, rates and findings."""

from __future__ import annotations

from collections.abc import Iterator
from textwrap import wrap

from coach.plan.capture_plan import DRIVELINE, ROTATING, CapturePlan, InGear
from coach.plan.drive_plan import TIGHT, DrivePlan, RatePlan
from coach.plan.order import warms_up
from coach.plan.sentences import capture_sentence
from coach.plan.shown_plan import course, length, points, span, speed
from coach.recipe import Finding
from coach.shown import METRIC, Units, show
from coach.signals import Catalogue
from coach.words import Words, load_words

WIDE = 100


def plan_text(plan: DrivePlan, catalogue: Catalogue, *, units: Units | None = None, words: Words | None = None) -> str:
    """The plan for a person at a desk.

    Args:
        plan: as made.
        catalogue: for sentences.
        units: of figures; the car's own where left out.
        words: of sentences.
    """
    words = words or load_words()
    units = units or (plan.vehicle.units if plan.vehicle is not None else METRIC)
    return "\n".join(_Text(plan, catalogue, units, words).lines()) + "\n"


class _Text:
    def __init__(self, plan: DrivePlan, catalogue: Catalogue, units: Units, words: Words) -> None:
        self.plan, self.catalogue, self.units, self.words = plan, catalogue, units, words

    def say(self, key: str, **values: object) -> str:
        return self.words(f"drive_plan.text.{key}", **values)

    def lines(self) -> Iterator[str]:
        plan = self.plan
        yield self.say("head", title=plan.recipe.title, revision=plan.recipe.revision)
        label = None if plan.vehicle is None else plan.vehicle.label
        yield self.say("for", label=label) if label else self.say("for_nobody")
        yield self.say("takes" if warms_up(plan.recipe) else "takes_cold", minutes=plan.minutes)
        for number, capture_id in enumerate(plan.order, 1):
            yield ""
            yield from self.capture(number, plan.of(capture_id))
        yield ""
        yield from _filled(self.assumed(), "")
        if plan.unknown:
            yield from ("", self.say("unknown"))
            for code in plan.unknown:
                yield from _filled(self.words(f"drive_plan.unknown.{code}"), "  ")
        yield from self.signals()
        if plan.rates is not None:
            yield from self.rates(plan.rates)
        yield from ("", self.say("found"))
        yield from findings_text(plan.findings, self.words)

    def assumed(self) -> str:
        car, assumed = self.plan.vehicle, self.plan.assumed
        rotating = ROTATING if car is None or car.rotating is None else car.rotating
        share = DRIVELINE if car is None or car.driveline is None else car.driveline
        return self.words(
            "drive_plan.assumed", run_up=f"{assumed.run_up_ms2:g}", stop=f"{assumed.stop_ms2:g}",
            rotating=f"{rotating * 100:g}", driveline=f"{share * 100:g}", bound=speed(assumed.bound_kmh, self.units),
        )  # fmt: skip

    def capture(self, number: int, one: CapturePlan) -> Iterator[str]:
        place = self.words(f"plan.place.{one.asked.place}")
        yield f"{number}  {one.asked.title}  ({place})"
        yield from _filled(capture_sentence(one.asked, self.catalogue, system=self.units, words=self.words), "   ")
        yield from self.one_way(one)
        said = course(one, self.plan.assumed.bound_kmh, self.units, self.words)
        if said:
            yield from _filled(said, "   ")

    def one_way(self, one: CapturePlan) -> Iterator[str]:
        """Speeds, and time and room of a sweep, in each gear."""
        if not one.rows and one.why:
            yield from _filled(self.say("took_not", why=self.words(f"drive_plan.why.{one.why}")), "   ")
        for row in one.rows:
            rpms = row.from_rpm is not None and row.to_rpm is not None
            key = ("sweep" if one.asked.sweep is not None else "held") + ("" if rpms else "_free")
            held = one.asked.sweep is None
            first, last = span(row, self.units, held=held)
            yield from _filled(self.say(
                key, from_rpm=f"{row.from_rpm or 0:.0f}", to_rpm=f"{row.to_rpm or 0:.0f}",
                gear=self.words.ordinal(row.gear),
                from_speed=first, to_speed=last,
            ), "   ")  # fmt: skip
            if one.asked.sweep is not None:
                yield from self.sweep(row)

    def sweep(self, row: InGear) -> Iterator[str]:
        along = points(row)
        if along:
            unit = show(0.0, "km/h", self.units).unit
            shown = [f"{n:.0f} {show(kmh, 'km/h', self.units).text}" for n, kmh in along]
            yield from _filled(f"{self.say('points', unit=unit)}: {', '.join(shown)}", "     ")
        if row.seconds is not None and row.metres is not None and row.total_m is not None:
            yield from _filled(self.say(
                "took", seconds=f"{row.seconds:.1f}", metres=length(row.metres, self.units),
                how=self.words(f"drive_plan.how.{row.how}"), run_up=length(row.run_up_m or 0.0, self.units),
                stop=length(row.stop_m or 0.0, self.units), total=length(row.total_m, self.units),
            ), "     ")  # fmt: skip
        else:
            yield from _filled(self.say("took_not", why=self.words(f"drive_plan.why.{row.why}")), "     ")

    def signals(self) -> Iterator[str]:
        missing = [row for row in self.plan.signals if row["how"] == "missing"]
        if not missing:
            return
        yield from ("", self.say("signals"))
        for row in missing:
            yield f"  {self.say('signal_missing', name=row['signal'])}"
            for one in row["stand_ins"]:
                yield from _filled(self.say("signal_stand_in", signal=one["signal"] or "fixed_barometric",
                                            cost=one["cost"]), "  ")  # fmt: skip

    def rates(self, rates: RatePlan) -> Iterator[str]:
        model = rates.link.model
        about = {"batch": model.batch, "single": f"{model.single_us / 1000:g}", "full": f"{model.batch_us / 1000:g}"}
        how = self.say("rates_measured" if rates.link.measured else "rates_usual", **about)
        yield from ("", f"{self.say('rates')} ({how})")
        for e in rates.signals:
            key = "rate" if e.offered else "rate_missing"
            low = "" if e.expected_hz >= TIGHT * e.asked_hz else self.say("rate_tight" if e.enough else "rate_low")
            line = self.words(f"drive_plan.text.{key}").format(
                name=e.signal, asked=f"{e.asked_hz:.3g}", given=f"{e.expected_hz:.3g}", mark=low
            )
            yield f"  {line}"
        if rates.changes is None:
            yield f"  {self.say('no_change')}"
        elif rates.changes:
            yield self.say("changes")
            for change in rates.changes:
                to = {} if change.to_hz is None else {"to": f"{change.to_hz:g}"}
                yield "  " + self.say(
                    "change_drop" if change.to_hz is None else "change_rate", name=change.signal, **to,
                    **{"from": f"{change.from_hz:.3g}"},
                )  # fmt: skip


def findings_text(findings: tuple[Finding, ...] | list[Finding], words: Words) -> Iterator[str]:
    """Each finding with what to change under it, and how many there are."""
    errors = sum(f.level == "error" for f in findings)
    if not findings:
        yield words("drive_plan.text.none")
    for one in findings:
        yield from _filled(f"{one.level}: {one}", "", "  ")
        if one.change:
            yield from _filled(one.change, "  ")
    if findings:
        yield words("drive_plan.text.counts", errors=errors, warnings=len(findings) - errors)


def _filled(text: str, indent: str, rest: str | None = None) -> list[str]:
    return wrap(text, WIDE, initial_indent=indent, subsequent_indent=indent if rest is None else rest,
                break_long_words=False, break_on_hyphens=False)  # fmt: skip
