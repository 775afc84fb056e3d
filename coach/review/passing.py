"""Captures of something that passes: tip-in, overrun, start, deceleration to idle."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from coach.recording import US, Series
from coach.review.figures import Figure, Group, Maker
from coach.review.smooth import readable, value_at
from coach.review.window import CLOSED_LOOP, Window, plain_figures

Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

BACK_WITHIN = 0.03
STAYS_S = 0.5
"""Lambda is back once it stays within 3 % for half a second (or to the window's end)."""
AFTER_S = 5.0
CUT_LAMBDA = 1.9
"""Lambda from here on is air: the fuel is cut."""
RUNS_RPM = 500.0
"""From this engine speed on the engine runs by itself (common practice, no source)."""
FLARE_S = 5.0
SETTLED_S = (10.0, 20.0)


def tip_in(w: Window) -> list[Group]:
    """Lambda's peak after the pedal went down, and how long until it was back within 3 %."""
    make = w.maker
    lam = w.subject.good("lambda", w.first_us - 2 * US, w.last_us + round((AFTER_S + w.lambda_delay_s) * US))
    lam = Series(lam.t_us - round(w.lambda_delay_s * US), lam.value)
    if not len(lam):
        make.cannot("lambda_peak", "lambda", "not_recorded", name=w.name("lambda"))
        make.cannot("lambda_back", "s", "not_recorded", name=w.name("lambda"))
    else:
        _lambda_after(w, lam, make)
    pedal = w.subject.first_of("pedal_travel", "pedal", "throttle")
    if pedal is not None and w.has(pedal):
        s = w.series(pedal)
        make.put("pedal_from", "%", float(s.value[0]), name=w.name(pedal))
        make.put("pedal_to", "%", float(s.value.max()), name=w.name(pedal))
    a = w.attempt
    start = a.from_us if a.from_us is not None else a.start_us
    make.put("pedal_time", "s", ((a.to_us if a.to_us is not None else a.end_us) - start) / US)
    steady = plain_figures(w, ("engine_speed", "manifold_pressure", "timing_advance")).take()
    return [Group("tip_in", w.word("group.tip_in"), (*make.take(), *steady), note=w.word("note.tip_in"))]


def _lambda_after(w: Window, lam: Series, make: Maker) -> None:
    after = lam.t_us >= w.first_us
    before = lam.value[~after]
    aim = float(np.median(before)) if len(before) else 1.0
    t, v = lam.t_us[after], lam.value[after]
    if len(v) < 3:
        make.cannot("lambda_peak", "lambda", "too_few", name=w.name("lambda"))
        make.cannot("lambda_back", "s", "too_few", name=w.name("lambda"))
        return
    at = int(np.argmax(np.abs(v - aim)))
    make.put("lambda_peak", "lambda", float(v[at]), count=len(v), note=w.word("note.aim", aim=f"{aim:.3f}"))
    off = np.abs(v - aim) > BACK_WITHIN * aim
    if not off[at]:
        make.put("lambda_back", "s", 0.0, note=w.word("note.never_left"))
        return
    for k in range(at + 1, len(v)):
        stay = (t >= t[k]) & (t <= t[k] + round(STAYS_S * US))
        if not off[stay].any() and (t[-1] - t[k] >= STAYS_S * US or k < len(v) - 1):
            make.put("lambda_back", "s", float(t[k] - w.first_us) / US, note=w.word("note.from_tip_in"))
            return
    make.cannot("lambda_back", "s", "never_back")


def overrun(w: Window) -> list[Group]:
    """Engine speed at which the fuel was cut and at which it came back."""
    make = w.maker
    found = _cut_samples(w)
    if found is None:
        make.cannot("fuel_cut", "rpm", "no_cut_signal")
        make.cannot("fuel_resume", "rpm", "no_cut_signal")
    else:
        name, t, is_cut = found
        _edges(w, name, t, is_cut, make)
    rest = plain_figures(w, ("manifold_pressure", "timing_advance", "pedal_travel")).take()
    return [Group("overrun", w.word("group.overrun"), (*make.take(), *rest))]


def _cut_samples(w: Window) -> tuple[str, Ints, Bools] | None:
    """The signal that shows the fuel cut best, its times and whether the fuel was cut, with what lies around."""
    first, last = w.first_us - 3 * US, w.last_us + 5 * US
    for name in ("fuel_rate", "lambda", "fuel_system_status"):
        s = w.subject.good(name, first, last)
        shift = round(w.lambda_delay_s * US) if name == "lambda" else 0
        if len(s) < 3:
            continue
        if name == "fuel_rate":
            cut = s.value <= 0
        elif name == "lambda":
            cut = s.value >= CUT_LAMBDA
        else:
            cut = s.value == 4
        return name, s.t_us - shift, cut
    return None


def _edges(w: Window, name: str, t: Ints, is_cut: Bools, make: Maker) -> None:
    rpm = w.subject.series("engine_speed")
    if not is_cut.any():
        make.cannot("fuel_cut", "rpm", "never_cut", name=w.name(name))
        make.cannot("fuel_resume", "rpm", "never_cut", name=w.name(name))
        return
    first = int(np.argmax(is_cut))
    later = np.flatnonzero(~is_cut[first:])
    for id_, at in (("fuel_cut", first), ("fuel_resume", first + int(later[0]) if len(later) else None)):
        if at is None:
            make.cannot(id_, "rpm", "not_resumed")
            continue
        if at == 0:
            make.cannot(id_, "rpm", "cut_before")
            continue
        # It happened between two samples: the middle is told, and half the way as its bound.
        both = value_at(rpm, np.array([t[at - 1], t[at]], dtype=np.int64))
        if not np.isfinite(both).all():
            make.put(id_, "rpm", None, why="no_speed")
            continue
        bound = abs(float(both[1] - both[0])) / 2
        note = w.word("note.between", name=w.name(name), bound=f"{bound:.0f}")
        make.put(id_, "rpm", float(both.mean()), note=note)


def start(w: Window) -> list[Group]:
    """Crank time, flare, seconds to closed loop."""
    make = w.maker
    rpm = readable(w.subject.series("engine_speed"))
    rpm = Series(rpm.t_us[rpm.t_us <= w.last_us], rpm.value[rpm.t_us <= w.last_us])
    running: Ints = np.flatnonzero((rpm.value[1:] >= RUNS_RPM) & (rpm.value[:-1] < RUNS_RPM)) + 1
    near = [int(i) for i in running if rpm.t_us[i] <= w.first_us + 10 * US]
    if not near:
        for id_, unit in (("crank_time", "s"), ("flare", "rpm"), ("to_closed_loop", "s")):
            make.cannot(id_, unit, "start_not_seen")
        return [Group("start", w.word("group.start"), make.take())]
    at = near[-1]
    up_us = _crossing_us(rpm, at, RUNS_RPM)
    turning = at - 1
    while turning > 0 and rpm.value[turning] > 0 and rpm.t_us[turning + 1] - rpm.t_us[turning] <= 2 * US:
        turning -= 1
    if rpm.value[turning] > 0:
        make.cannot("crank_time", "s", "crank_not_seen")
    else:
        bound = float(rpm.t_us[turning + 1] - rpm.t_us[turning]) / US
        make.put("crank_time", "s", (up_us - float(rpm.t_us[turning])) / US - bound / 2,
                 note=w.word("note.within", step=f"{bound / 2:.2f}"))  # fmt: skip
    early = rpm.value[(rpm.t_us >= up_us) & (rpm.t_us <= up_us + FLARE_S * US)]
    settled = rpm.value[(rpm.t_us >= up_us + SETTLED_S[0] * US) & (rpm.t_us <= up_us + SETTLED_S[1] * US)]
    if len(early) and len(settled) >= 3:
        calm = float(np.median(settled))
        note = w.word("note.flare", peak=f"{early.max():.0f}", calm=f"{calm:.0f}")
        make.put("flare", "rpm", float(early.max()) - calm, note=note)
    else:
        make.cannot("flare", "rpm", "too_short")
    _loop(w, up_us, make)
    return [Group("start", w.word("group.start"), make.take())]


def _loop(w: Window, up_us: float, make: Maker) -> None:
    status = readable(w.subject.series("fuel_system_status"))
    if not len(status):
        make.cannot("to_closed_loop", "s", "no_status")
        return
    closed = np.flatnonzero((status.value == CLOSED_LOOP) & (status.t_us >= up_us))
    if not len(closed):
        make.cannot("to_closed_loop", "s", "never_closed")
        return
    t_us = float(status.t_us[closed[0]])
    step = t_us - float(status.t_us[closed[0] - 1]) if closed[0] else 0.0
    make.put("to_closed_loop", "s", (t_us - up_us) / US, note=w.word("note.late_by", step=f"{step / US:.1f}"))


def _crossing_us(s: Series, i: int, level: float) -> float:
    low, high = float(s.value[i - 1]), float(s.value[i])
    return float(s.t_us[i - 1]) + (level - low) / (high - low) * float(s.t_us[i] - s.t_us[i - 1])


def decel_idle(w: Window) -> list[Group]:
    """How far the engine speed fell under its settled idle on the way down."""
    make = w.maker
    rpm = w.subject.good("engine_speed", w.first_us, w.last_us + round(AFTER_S * US))
    if len(rpm) < 5:
        make.cannot("undershoot", "rpm", "not_recorded", name=w.name("engine_speed"))
        return [Group("decel_idle", w.word("group.decel_idle"), make.take())]
    tail = rpm.value[rpm.t_us >= rpm.t_us[-1] - 2 * US]
    calm, least = float(np.median(tail)), float(rpm.value.min())
    if float(tail.max() - tail.min()) > 150:
        make.cannot("undershoot", "rpm", "not_settled")
    else:
        make.put("undershoot", "rpm", max(0.0, calm - least), note=w.word("note.settled_at", calm=f"{calm:.0f}"))
    make.put("least_speed", "rpm", least)
    rest: tuple[Figure, ...] = plain_figures(w, ("manifold_pressure", "timing_advance", "module_voltage")).take()
    return [Group("decel_idle", w.word("group.decel_idle"), (*make.take(), *rest))]
