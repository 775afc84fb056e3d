"""In which order to drive a recipe, and about how long the whole of it takes, warm-up included."""

from __future__ import annotations

import math
from collections.abc import Sequence

from coach.plan.capture_plan import Assumed, CapturePlan, asks_full_pedal, cycle_s
from coach.recipe import CaptureAsked, Recipe

WARM_UP_S = 600.0
"""Warming up takes 5 to 10 minutes; judged by coolant, not by the clock (common practice, no source)."""
COLD_C = 40.0
"""A start with a coolant of at most this is a cold one."""
ASIDE_S = {"road": 120.0, "closed course": 120.0, "parked": 60.0}
"""Getting to where a capture can be made, or turning round, before each attempt (common practice, no source)."""
AGAIN = 0.5
"""So much of a hold is spent on attempts that do not hold (common practice, no source)."""
STEP_MIN = 5


def order_of(recipe: Recipe) -> list[str]:
    """Ids of the captures in the order to drive them.

    What must be cold comes first, then steady road driving, which also warms the engine, then closed courses with part
    pedal before full and lower ends before higher, then what is done parked; a capture follows what it `needs`, and the
    recipe's own order decides the rest.
    """
    rank = {capture.id: (_rank(capture), n) for n, capture in enumerate(recipe.captures)}
    waits = {c.id: {need for need in c.needs if need in rank and need != c.id} for c in recipe.captures}
    order: list[str] = []
    while len(order) < len(rank):
        free = [i for i in rank if i not in order and waits[i] <= set(order)]
        # A circle of needs is an error that the check names; here it must not loop.
        order.append(min(free or [i for i in rank if i not in order], key=lambda i: rank[i]))
    return order


def _rank(capture: CaptureAsked) -> tuple[int, float, float]:
    start = [band for band in capture.start if band.signal == "coolant_temp" and band.high is not None]
    if any(band.high is not None and band.high <= COLD_C for band in start):
        return (0, 0.0, 0.0)
    to = 0.0 if capture.sweep is None else max(capture.sweep.to, capture.sweep.start)
    if capture.place == "parked":
        return (4, 0.0, 0.0)
    if capture.place == "closed course":
        return (3, float(asks_full_pedal(capture)), to)
    return (1, 0.0, 0.0) if capture.sweep is None else (2, float(asks_full_pedal(capture)), to)


def warms_up(recipe: Recipe) -> bool:
    """Whether a capture wants a warm engine."""
    return any(
        band.signal in ("coolant_temp", "oil_temp") and band.low is not None and band.low > COLD_C
        for capture in recipe.captures
        for band in (*capture.start, *capture.keep)
    )


def capture_s(plan: CapturePlan, assumed: Assumed) -> float:
    """About how many seconds a capture takes as often as it is asked for, with what lies between."""
    capture = plan.asked
    aside = ASIDE_S[capture.place]
    held = ((capture.hold_us or 0) + (capture.collect_us or 0) + (capture.then_us or 0)) / 1e6
    within = 0.0 if capture.sweep is None or capture.sweep.within_us is None else capture.sweep.within_us / 1e6
    once = held * (1 + AGAIN) + max(cycle_s(plan, assumed), within if plan.main is None else 0.0)
    between = max(aside, capture.rest_us / 1e6)
    return capture.times * once + aside + (capture.times - 1) * between


def minutes(recipe: Recipe, plans: Sequence[CapturePlan], assumed: Assumed) -> int:
    """About how long the whole recipe takes, in steps of five minutes, rounded up."""
    seconds = sum(capture_s(plan, assumed) for plan in plans) + (WARM_UP_S if warms_up(recipe) else 0.0)
    return max(STEP_MIN, STEP_MIN * math.ceil(seconds / 60 / STEP_MIN))
