"""A full-pedal sweep: every signal at its own samples, engine speed interpolated to them and never held."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from coach.core.events import Attempt
from coach.recording import US, Series
from coach.review.bins import BIN_RPM, beside, bins_of, by_speed
from coach.review.figures import Figure, Group, Maker, shown
from coach.review.smooth import held_at, longest_gap_us, readable, value_at
from coach.review.spans import distance_m
from coach.review.stats import moments
from coach.review.window import Window

ONSET_SHARE = 0.9
TIMING_UNDER_DEG = 3.0
THROTTLE_POINTS = 10.0
FULL_PEDAL = 90.0
SLIP_SHARE = 0.05
LAST_S = 1.0

Floats = NDArray[np.float64]


def sweep(w: Window) -> list[Group]:
    """What is read of a sweep first."""
    groups = [
        Group("pull", w.word("group.pull"), _pull(w), note=w.word("note.sweep", delay=f"{w.lambda_delay_s:g}")),
        Group("boost", w.word("group.boost"), _boost(w)),
        Group("faults", w.word("group.faults"), _faults(w)),
    ]
    tables = [t for t in (by_speed(w),) if t is not None]
    aside = beside(w)
    if aside is not None:
        tables.append(aside)
    make = w.maker
    if not tables:
        make.cannot("bins", "", "not_recorded", name=w.name("engine_speed"))
    return [*groups, Group("bins", w.word("group.bins"), make.take(), tuple(tables), w.word("note.bins"))]


def _pull(w: Window) -> tuple[Figure, ...]:
    make, s, a = w.maker, w.subject, w.attempt
    seconds = ((a.to_us or a.end_us) - (a.from_us if a.from_us is not None else a.start_us)) / US
    rpm = w.series("engine_speed")
    step = float(np.median(np.diff(rpm.t_us))) / US if len(rpm) > 1 else None
    make.put("sweep_time", "s", seconds, note="" if step is None else w.word("note.within", step=f"{step:.2f}"))
    speed = w.series("road_speed")
    if len(speed) > 1:
        make.put("distance", "m", distance_m(speed))
        make.put("speed_from", "km/h", float(speed.value[0]))
        make.put("speed_to", "km/h", float(speed.value[-1]))
    else:
        make.cannot("distance", "m", "not_recorded", name=s.title("road_speed"))
    if len(rpm) > 1:
        make.put("sweep_rate", "rpm/s", float(rpm.value[-1] - rpm.value[0]) / max(1e-9, _span_s(rpm)))
    for name in ("pedal_travel", "lambda", "timing_advance", "module_voltage"):
        if w.has(name):
            make.of(name, s.signal(name).unit, moments(w.series(name).value),
                    note=w.word("note.range", low=_n(w, name, w.series(name).value.min()),
                                high=_n(w, name, w.series(name).value.max())))  # fmt: skip
        else:
            make.cannot(name, s.signal(name).unit, "not_recorded", name=s.title(name))
    intake = w.series("intake_temp")
    if len(intake) > 1:
        make.put("intake_rise", "degC", float(intake.value[-1] - intake.value[0]), difference=True)
    else:
        make.cannot(
            "intake_rise", "degC", "not_recorded" if not len(intake) else "one_sample", name=s.title("intake_temp")
        )
    before = last_pull_us(w)
    if before is None:
        make.cannot("since_last_pull", "s", "first_pull")
    else:
        make.put("since_last_pull", "s", (w.first_us - before) / US)
    return make.take()


def _span_s(s: Series) -> float:
    return float(s.t_us[-1] - s.t_us[0]) / US


def _n(w: Window, name: str, value: float) -> str:
    return str(shown(float(value), w.subject.signal(name).unit, w.subject.units))


def last_pull_us(w: Window) -> int | None:
    """When the last sweep before this one ended, of any capture that sweeps upwards; None for the first."""
    sweeping = [c.id for c in w.subject.plan.captures if c.sweep is not None and c.sweep.rising]
    ends = [a.end_us for c in sweeping for a in w.subject.attempts.get(c, ()) if a.end_us < w.first_us and not a.small]
    return max(ends, default=None)


def onset(series: Series) -> tuple[int, float] | None:
    """When a signal first reached 90 % of its peak, between the samples, in microseconds; and that peak."""
    s = readable(series)
    if len(s) < 2:
        return None
    peak = float(s.value.max())
    if peak <= 0:
        return None
    at = int(np.argmax(s.value >= ONSET_SHARE * peak))
    if at == 0:
        return int(s.t_us[0]), peak
    low, high = float(s.value[at - 1]), float(s.value[at])
    share = (ONSET_SHARE * peak - low) / (high - low)
    return round(float(s.t_us[at - 1]) + share * float(s.t_us[at] - s.t_us[at - 1])), peak


def _boost(w: Window) -> tuple[Figure, ...]:
    make, s = w.maker, w.subject
    ids = ("boost_onset_speed", "boost_onset_time", "boost_peak", "boost_hold", "boost_overshoot")
    units = ("rpm", "s", "kPa", "kPa", "kPa")
    boost = w.series("gauge_boost")
    if s.vehicle is not None and s.vehicle.induction == "naturally aspirated":
        for i, u in zip(ids, units, strict=True):
            make.cannot(i, u, "no_charger")
        return make.take()
    if not len(boost):
        gone = next((n for n in ("manifold_pressure", "barometric_pressure") if not len(s.series(n))), "gauge_boost")
        for i, u in zip(ids, units, strict=True):
            make.cannot(i, u, "not_recorded", name=s.title(gone))
        return make.take()
    found = onset(boost)
    if found is None:
        for i, u in zip(ids, units, strict=True):
            make.cannot(i, u, "no_boost")
        return make.take()
    t_us, peak = found
    full = w.saturated("gauge_boost")
    said = w.word("note.at_least") if full else ""
    at_peak = boost.t_us[[int(np.argmax(boost.value))]]
    rpm = float(w.at("engine_speed", np.array([t_us]))[0])
    first = t_us == int(boost.t_us[0])
    make.put("boost_onset_speed", "rpm", None if full else rpm, why="saturated" if full else "no_speed",
             note=w.word("note.onset_first") if first else "")  # fmt: skip
    make.put("boost_onset_time", "s", None if full else (t_us - w.first_us) / US, why="saturated")
    peak_rpm = float(w.at("engine_speed", at_peak)[0])
    where = "" if not np.isfinite(peak_rpm) else w.word("note.at_speed", speed=f"{peak_rpm:.0f}")
    make.put("boost_peak", "kPa", peak, note=" ".join(x for x in (where, said) if x))
    last = boost.value[boost.t_us >= boost.t_us[-1] - LAST_S * US]
    hold = float(last.mean())
    make.put("boost_hold", "kPa", hold, count=len(last), note=said)
    make.put("boost_overshoot", "kPa", None if full else peak - hold, why="saturated", difference=True)
    return make.take()


def _faults(w: Window) -> tuple[Figure, ...]:
    make = w.maker
    _timing(w, make)
    _throttle(w, make)
    _rail(w, make)
    _slip(w, make)
    knock = [n for n in w.subject.recording.series if "knock" in n.lower() and w.has(n)]
    if knock:
        for n in knock:
            v = w.series(n).value
            make.of("knock", w.subject.signal(n).unit, moments(v), name=w.name(n),
                    note=w.word("note.range", low=_n(w, n, v.min()), high=_n(w, n, v.max())))  # fmt: skip
    else:
        make.cannot("knock", "", "no_knock")
    return make.take()


def repeats_of(w: Window) -> list[Window]:
    """The other qualified attempts of the same capture in this drive."""
    others: list[Attempt] = [a for a in w.subject.secured(w.asked.id) if a.number != w.attempt.number]
    return [Window(w.subject, w.asked, w.capture, a, w.lambda_delay_s) for a in others]


def _timing(w: Window, make: Maker) -> None:
    """Bins in which timing lies 3 degrees or more under the median of the other repeats: a sign of knock control."""
    if not w.has("timing_advance"):
        make.cannot("timing_under", "deg", "not_recorded", name=w.name("timing_advance"))
        return
    others = [bins_of(r, "timing_advance") for r in repeats_of(w)]
    mine = bins_of(w, "timing_advance")
    under = {}
    for k, (mean, _, _) in mine.items():
        theirs = [b[k][0] for b in others if k in b]
        if theirs:
            under[k] = float(np.median(theirs)) - mean
    if not under:
        make.cannot("timing_under", "deg", "no_repeats")
        return
    worst = max(under, key=lambda k: under[k])
    bad = [k for k, d in sorted(under.items()) if d >= TIMING_UNDER_DEG]
    said = w.subject.words.counted("review.note.timing_fine", len(others))
    if bad:
        where = ", ".join(f"{k * BIN_RPM:.0f}" for k in bad)
        said = w.subject.words.counted("review.note.timing_under", len(others), where=where)
    make.put("timing_under", "deg", under[worst], note=said, difference=True)


def _throttle(w: Window, make: Maker) -> None:
    """How far the plate closed under full pedal: more than 10 points is the control taking torque away."""
    if not w.has("throttle"):
        make.cannot("throttle_closing", "points", "not_recorded", name=w.name("throttle"))
        return
    travel = readable(w.subject.series("pedal_travel"))
    if not len(travel):
        make.cannot("throttle_closing", "points", "no_pedal_travel")
        return
    plate = w.series("throttle")
    floored = held_at(travel, plate.t_us, max(0.5 * US, longest_gap_us(travel))) >= FULL_PEDAL
    if not floored.any():
        make.cannot("throttle_closing", "points", "never_floored")
        return
    value, t = plate.value[floored], plate.t_us[floored]
    drop = np.maximum.accumulate(value) - value
    at = int(np.argmax(drop))
    note = w.word("note.throttle_fine")
    if drop[at] > THROTTLE_POINTS:
        rpm = float(w.at("engine_speed", t[[at]])[0])
        note = w.word("note.throttle_closed", speed=f"{rpm:.0f}" if np.isfinite(rpm) else "?")
    make.put("throttle_closing", "points", float(drop[at]), count=len(value), note=note)


def _rail(w: Window, make: Maker) -> None:
    name = w.subject.first_of("rail_pressure", "rail_pressure_absolute", "fuel_pressure")
    if name is None or not w.has(name):
        make.cannot("rail_least", "kPa", "not_recorded", name=w.name("rail_pressure"))
        return
    s = w.series(name)
    at = int(np.argmin(s.value))
    rpm = float(w.at("engine_speed", s.t_us[[at]])[0])
    note = w.word("note.at_speed", speed=f"{rpm:.0f}") if np.isfinite(rpm) else ""
    make.put("rail_least", "kPa", float(s.value[at]), note=note)
    if w.has("rail_pressure_commanded"):
        miss = s.value - value_at(w.subject.series("rail_pressure_commanded"), s.t_us)
        known = miss[np.isfinite(miss)]
        make.put("rail_short", "kPa", float(-known.min()) if len(known) else None, why="no_overlap", difference=True)
    else:
        make.cannot("rail_short", "kPa", "not_recorded", name=w.name("rail_pressure_commanded"))


def _slip(w: Window, make: Maker) -> None:
    """Most engine speed over road speed above the gear's own ratio: more than 5 % is a tyre (or clutch) that slips.

    The gear is the one asked for, else the one whose ratio lies nearest to the window's median.
    """
    v = w.subject.vehicle
    road = w.series("road_speed")
    if not len(road):
        make.cannot("slip", "%", "not_recorded", name=w.name("road_speed"))
        return
    if v is None or not v.ratios:
        make.cannot("slip", "%", "no_ratio")
        return
    rpm = w.at("engine_speed", road.t_us - v.delay_us)
    use = np.isfinite(rpm) & (road.value > 3)
    if not use.any():
        make.cannot("slip", "%", "no_overlap")
        return
    gear = next((int(b.low) for b in w.capture.keep if b.signal == "gear" and b.low is not None), None)
    middle = float(np.median(rpm[use] / road.value[use]))
    ratio = v.ratios.get(gear) if gear is not None else None
    ratio = ratio or min(v.ratios.values(), key=lambda r: abs(np.log(r / middle)))
    # The car reports whole km/h: the least slip that the reading allows is what is told.
    over = rpm[use] / (ratio * (road.value[use] + 0.5)) - 1
    most = float(max(0.0, over.max()))
    key = "note.slips" if most > SLIP_SHARE else "note.no_slip"
    at = int(np.argmax(over))
    make.put("slip", "%", 100 * most, note=w.word(key, speed=f"{rpm[use][at]:.0f}"), count=int(use.sum()))
