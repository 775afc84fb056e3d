"""The check that needs no vehicle: can this recipe be met at all, and is it safe to ask for?"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Literal

from coach.recipe.check_collect import check_collect
from coach.recipe.check_values import Fault, bounds, check_values
from coach.recipe.findings import Finding, path_words
from coach.recipe.lines import line_of
from coach.recipe.recipe import CaptureAsked, Recipe, RecordAsked
from coach.shown import show
from coach.signals import Catalogue

FULL_PEDAL = {"pedal_travel": 80.0, "relative_pedal": 70.0, "pedal": 70.0, "pedal_e": 70.0, "throttle": 80.0}
"""Asking for at least so much means full power. Raw pedals end near 85 % (common practice, no source)."""
RPM_A_SAMPLE = 125.0
"""A sweep wants two samples of each signal per 250 rpm (common practice, no source)."""


def check_recipe(recipe: Recipe, catalogue: Catalogue) -> list[Finding]:
    """Errors and warnings about a recipe that loads, in the order of the file."""
    findings = [_found(recipe, fault, ()) for fault in _whole(recipe)]
    for index, capture in enumerate(recipe.captures):
        findings += [_found(recipe, fault, ("capture", index)) for fault in _capture(capture, recipe, catalogue)]
    return findings


def _found(recipe: Recipe, fault: Fault, around: tuple[str | int, ...]) -> Finding:
    path = (*around, *fault.path)
    ids = {"capture": [{"id": c.id} for c in recipe.captures]}
    level: Literal["error", "warning"] = "warning" if fault.warning else "error"
    return Finding(level, fault.code, fault.message, path_words(path, ids), line_of(recipe.lines, path), path)


def _whole(recipe: Recipe) -> Iterator[Fault]:
    first: dict[str, int] = {}
    for index, capture in enumerate(recipe.captures):
        if capture.id in first:
            yield Fault(
                "duplicate_id",
                f'capture {first[capture.id] + 1} has the id "{capture.id}" too',
                ("capture", index, "id"),
            )
        first.setdefault(capture.id, index)
    if any(not recipe.recorded(c) for c in recipe.captures):
        yield Fault("nothing_recorded", "[record] names no signal: nothing would be recorded", ("record",))
    yield from _needs(recipe, first)
    yield from _gaps(recipe.record)


def _gaps(record: Mapping[str, RecordAsked]) -> Iterator[Fault]:
    for name, item in record.items():
        if item.gap_us is not None and item.gap_us * item.rate_hz < 1_000_000:
            yield Fault(
                "gap_under_period", "the gap is shorter than the time between two samples", ("record", name, "gap")
            )


def _needs(recipe: Recipe, known: dict[str, int]) -> Iterator[Fault]:
    for index, capture in enumerate(recipe.captures):
        for need in capture.needs:
            if need not in known:
                yield Fault("unknown_id", f'needs "{need}", and there is no such capture', ("capture", index, "needs"))
    # A capture whose chain of needs comes back to it can never begin.
    after = {c.id: set(c.needs) & known.keys() for c in recipe.captures}
    for capture_id, index in known.items():
        seen: set[str] = set()
        todo = list(after[capture_id])
        while todo:
            need = todo.pop()
            if need not in seen:
                seen.add(need)
                todo.extend(after[need])
        if capture_id in seen:
            yield Fault("needs_in_a_circle", "needs itself to be secured first", ("capture", index, "needs"))


def _capture(capture: CaptureAsked, recipe: Recipe, catalogue: Catalogue) -> Iterator[Fault]:
    yield from _kind(capture)
    yield from check_values(capture, catalogue)
    yield from check_collect(capture, catalogue)
    yield from _times(capture)
    yield from _recorded(capture, recipe, catalogue)
    yield from _place(capture)


def _kind(capture: CaptureAsked) -> Iterator[Fault]:
    kinds = [
        key for key, value in (("hold", capture.hold_us), ("collect", capture.collect_us), ("sweep", capture.sweep))
        if value is not None
    ]  # fmt: skip
    if len(kinds) != 1:
        have = "has none of them" if not kinds else f"has {' and '.join(kinds)}"
        yield Fault("kind", f"a capture is exactly one of hold, collect and sweep; this one {have}", ())
    if capture.then_us is not None and capture.sweep is None:
        yield Fault("kind", "then belongs to a sweep", ("then",))
    if kinds == ["hold"] and not capture.keep:
        yield Fault("no_condition", "a hold needs something to keep: give a band under keep", ())


def _times(capture: CaptureAsked) -> Iterator[Fault]:
    if capture.hold_us is not None:
        if capture.hold_us == 0:
            yield Fault("no_time", "a hold takes time; it must be above 0", ("hold",))
        elif capture.hold_us <= capture.grace_us:
            yield Fault(
                "hold_under_grace", "the hold is no longer than the grace: any stay outside is excused", ("hold",)
            )
        for limit in capture.limits:
            if limit.after_us >= capture.hold_us > 0:
                yield Fault(
                    "limit_never_watched", "the limit is ignored for as long as the whole hold",
                    ("limit", limit.signal, "after"),
                )  # fmt: skip
    if capture.max_excursions is not None and not capture.grace_us:
        yield Fault(
            "excursions_without_grace", "without grace no stay outside is excused, so none is counted",
            ("max_excursions",), warning=True,
        )  # fmt: skip


def _recorded(capture: CaptureAsked, recipe: Recipe, catalogue: Catalogue) -> Iterator[Fault]:
    recorded = recipe.recorded(capture)
    where = "record" if capture.record is None else "the capture's record"
    # An empty list is one mistake, not one for each condition.
    for path, name in _uses(capture) if recorded else ():
        signal = catalogue[name]
        ways = [(name,), *(w for w in (signal.inputs, signal.or_inputs) if w)]
        if not any(all(item in recorded for item in way) for way in ways):
            best = min(ways, key=lambda way: sum(item not in recorded for item in way) / len(way))
            missing = [item for item in best if item not in recorded] if len(best) > 1 else [name]
            hint = f" (or {' and '.join(signal.inputs)})" if signal.inputs and missing == [name] else ""
            yield Fault("not_recorded", f"{where} does not ask for {' and '.join(missing)}{hint}", path)
    yield from _gaps(capture.record or {})
    for name, us in capture.stale_after_us.items():
        slowest = min((r.rate_hz for s, r in recorded.items() if name in ("", s)), default=None)
        if us == 0 or (slowest is not None and us * slowest < 1_000_000):
            yield Fault(
                "stale_under_period", "a value would be called stale before the next one is due", ("stale_after", name)
            )
    sweep = capture.sweep
    if sweep is not None and sweep.signal == "engine_speed" and sweep.within_us:
        slowest = abs(sweep.to - sweep.start) / sweep.within_us * 1_000_000
        asked = recorded.get("engine_speed")
        if asked is not None and asked.rate_hz < slowest / RPM_A_SAMPLE:
            yield Fault(
                "rate_under_sweep",
                f"even the slowest sweep allowed passes {slowest:.0f} rpm a second; two samples per 250 rpm are "
                f"{slowest / RPM_A_SAMPLE:.1f} Hz, and {asked.rate_hz:g} Hz are asked for",
                ("sweep", sweep.signal), warning=True,
            )  # fmt: skip


def _uses(capture: CaptureAsked) -> Iterator[tuple[tuple[str, ...], str]]:
    """Path and name of every signal that is judged."""
    if capture.sweep is not None:
        yield ("sweep", capture.sweep.signal), capture.sweep.signal
    for axis in () if capture.cells is None else capture.cells.axes:
        yield ("cells", "edges", axis.signal), axis.signal
    for part, items in (("start", capture.start), ("keep", capture.keep), ("limit", capture.limits)):
        for item in items:
            yield (part, item.signal), item.signal


def _place(capture: CaptureAsked) -> Iterator[Fault]:
    conditions = [("start", band) for band in capture.start] + [("keep", band) for band in capture.keep]
    full = [
        (part, band) for part, band in conditions
        if band.signal in FULL_PEDAL and bounds(band)[0] >= FULL_PEDAL[band.signal]
    ]  # fmt: skip
    if full:
        part, band = full[0]
        if capture.place != "closed course":
            yield Fault(
                "full_pedal_place", 'full pedal only on a closed course or a dyno: write place = "closed course"',
                (part, band.signal),
            )  # fmt: skip
        warm = {b.signal for _, b in conditions if b.low is not None}
        if not warm & {"coolant_temp", "oil_temp"}:
            yield Fault(
                "cold_full_pedal", "full pedal with no minimum for coolant_temp or oil_temp: a cold engine would do",
                (part, band.signal), warning=True,
            )  # fmt: skip
    for part, band in conditions:
        if band.signal == "pedal" and bounds(band)[0] > 85:
            yield Fault(
                "raw_pedal", "a raw pedal often ends near 85 %; pedal_travel means the travel", (part, "pedal"),
                warning=True,
            )  # fmt: skip
        if capture.place == "parked" and band.signal == "road_speed" and bounds(band)[0] > 0:
            low = show(band.low, "km/h")
            yield Fault("parked_moving", f"parked, and at least {low} at once", (part, "road_speed"))
