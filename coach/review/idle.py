"""Settled idle: loop, confirmed loads, engine speed with its hunting, airflow, timing, trims, voltage, drift."""

from __future__ import annotations

import numpy as np

from coach.recording import US, Series
from coach.review.figures import Group, Maker
from coach.review.part_load import counted, total_trim
from coach.review.smooth import period_us
from coach.review.stats import moments, tau_of
from coach.review.waves import HUNT_LEAST_RATE_HZ, strongest_swing
from coach.review.window import Window

IDLING = ("mass_airflow", "manifold_pressure", "timing_advance", "throttle", "calculated_load", "lambda",
          "module_voltage")  # fmt: skip
HUNTS_RPM = 40.0
HUNTS_SHARE = 0.3
"""From this height and this share of the variance on a swing is called hunting (common practice, no source)."""


def idle(w: Window) -> list[Group]:
    """What is read of a settled idle first."""
    make = w.maker
    _loads(w, make)
    _speed(w, make)
    steady = make.take()
    for name in IDLING:
        signal = w.subject.signal(name)
        if w.has(name):
            make.of(name, signal.unit, moments(w.series(name).value))
        else:
            make.cannot(name, signal.unit, "not_recorded", name=w.name(name))
    _drift(w, make)
    _trims(w, make)
    return [
        Group("idle", w.word("group.idle"), steady),
        Group("idle_air", w.word("group.idle_air"), make.take(), note=w.word("note.error")),
    ]


def _loads(w: Window, make: Maker) -> None:
    """What a person confirmed of the loads: nobody measures the air conditioning."""
    if not w.asked.confirm:
        make.cannot("loads", "", "no_loads_asked")
        return
    if w.subject.recording.marks is None:
        make.cannot("loads", "", "no_people")
        return
    said = [
        m.text
        for m in w.subject.recording.marks
        if m.kind == "confirm" and m.capture == w.asked.id and m.t_us <= w.last_us
    ]
    done = [x for x in w.asked.confirm if x in said]
    make.put("loads", "", float(len(done)), text="; ".join(done) or w.word("note.none_confirmed"))


def _speed(w: Window, make: Maker) -> None:
    rpm = w.series("engine_speed")
    if len(rpm) < 2:
        make.cannot("idle_speed", "rpm", "not_recorded", name=w.name("engine_speed"))
        make.cannot("hunting_hz", "Hz", "not_recorded", name=w.name("engine_speed"))
        return
    m = moments(rpm.value)
    assert m is not None
    make.of("idle_speed", "rpm", m)
    make.put("idle_low", "rpm", m.low)
    make.put("idle_high", "rpm", m.high)
    rate = US / period_us(rpm)
    if rate < HUNT_LEAST_RATE_HZ / 1.05:
        make.cannot("hunting_hz", "Hz", "too_slow", rate=f"{rate:.1f}", least=f"{HUNT_LEAST_RATE_HZ:g}")
        make.cannot("hunting_height", "rpm", "too_slow", rate=f"{rate:.1f}", least=f"{HUNT_LEAST_RATE_HZ:g}")
        return
    swing = strongest_swing(rpm)
    if swing is None:
        make.cannot("hunting_hz", "Hz", "too_short")
        make.cannot("hunting_height", "rpm", "too_short")
        return
    hunts = swing.peak_to_peak >= HUNTS_RPM and swing.share >= HUNTS_SHARE
    key = "note.hunts" if hunts else "note.no_hunting"
    make.put("hunting_hz", "Hz", swing.hz, note=w.word(key, share=f"{100 * swing.share:.0f}"))
    make.put("hunting_height", "rpm", swing.peak_to_peak)


def _drift(w: Window, make: Maker) -> None:
    """How coolant and intake air moved: the slope of a straight line through the samples, per minute."""
    for name, key in (("coolant_temp", "coolant_drift"), ("intake_temp", "intake_drift")):
        s = w.series(name)
        if len(s) < 3 or s.t_us[-1] - s.t_us[0] < 10 * US:
            why = "not_recorded" if not len(s) else "one_sample"
            make.cannot(key, "degC/min", why, name=w.name(name))
            continue
        make.put(key, "degC/min", slope_per_s(s) * 60, count=len(s))


def slope_per_s(s: Series) -> float:
    """Slope of the straight line through a signal's samples, per second."""
    x = (s.t_us - s.t_us[0]) / US
    return float(np.polyfit(x, s.value, 1)[0])


def _trims(w: Window, make: Maker) -> None:
    for bank in (1, 2):
        if bank == 2 and not w.has("short_trim_2"):
            continue
        title = w.word("group.bank", bank=bank)
        if not len(w.subject.series("fuel_system_status")):
            make.cannot("total_trim", "%", "trim_no_status")
            continue
        total = total_trim(w, bank)
        if total is None:
            make.cannot("total_trim", "%", "not_recorded", name=w.name(f"short_trim_{bank}"))
            continue
        kept = total.value[counted(w, total.t_us)]
        make.of("total_trim", "%", moments(kept, tau_of(kept)) if len(kept) else None, why="never_closed", note=title)
