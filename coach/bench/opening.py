"""How soon an hour's window stands on a page: until the frame after the last of its plots is painted."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import numpy as np

from coach.bench.figures import Figure
from coach.bench.page import SLOWED, begun, browser, opened, serving
from coach.catalogue import default_catalogue
from coach.csvout import write_table
from coach.recording import US, Recording, Series

GROUP = "A window of an hour, opened"
RATE_HZ = 25
MEANS = {
    "engine_speed": 2000.0, "road_speed": 80.0, "manifold_pressure": 100.0, "pedal": 20.0, "throttle": 20.0,
    "coolant_temp": 90.0,
}  # fmt: skip
"""Six signals 25 times a second are 150 samples."""
RECIPE = """\
format = 1
title = "Benchmark"
revision = 1
[record]
{record}
[[capture]]
id = "hour"
title = "Steady cruise"
place = "road"
hold = "10 s"
[capture.keep]
engine_speed = {{ min = "1500 rpm", max = "2500 rpm" }}
road_speed = {{ min = "60 km/h", max = "100 km/h" }}
manifold_pressure = {{ min = "50 kPa", max = "150 kPa" }}
pedal = {{ max = "50 %" }}
throttle = {{ max = "50 %" }}
coolant_temp = {{ min = "80 degC" }}
"""
PAINTED = """((plots) => {
  const watch = new MutationObserver(() => {
    if (document.querySelectorAll('.traces canvas').length < plots) return;
    watch.disconnect();
    // A plot is drawn right after its canvas is there; the frame after the next one begins when it is on the screen.
    requestAnimationFrame(() => requestAnimationFrame(() => { window.painted = performance.now(); }));
  });
  watch.observe(document, { childList: true, subtree: true });
})"""


def opening(hours: float, times: int) -> Iterator[Figure]:
    """Opens a window of `hours` `times` over on a page that has never been here, as fast as it goes and slowed."""
    # In a thread of its own: Playwright takes a thread's only loop, and whoever calls may have one already.
    with ThreadPoolExecutor(1) as thread:
        yield from thread.submit(lambda: list(_figures(hours, times))).result()


def _figures(hours: float, times: int) -> Iterator[Figure]:
    from coach.server.starting import Given

    rows = round(hours * 3600 * RATE_HZ)
    with tempfile.TemporaryDirectory(prefix="coach-bench-") as name, browser() as running:
        if isinstance(running, str):
            yield Figure(GROUP, f"not measured: {running}", None, "")
            return
        recipe, table = Path(name) / "hour.toml", Path(name) / "hour.csv"
        recipe.write_text(RECIPE.format(record="\n".join(f'{each} = "{RATE_HZ} Hz"' for each in MEANS)), "utf-8")
        write_table(_steady(rows), table, default_catalogue())
        with serving(Given((recipe,), (table,))) as (address, services):
            drive = begun(services, "table:0", None)
            drive.wait(600)
            way = f"{address}/#/window?drive={drive.id}&capture=hour&number=0"
            yield Figure(GROUP, "samples in it", float(services.store.drive(drive.id).samples), "")
            for slowed, target in ((1, "1,000"), (SLOWED, "")):
                took_ms = sorted(_painted(running, way, slowed) for _ in range(times))
                ms = took_ms[times // 2]
                how = f"on a browser {slowed} times slowed" if slowed > 1 else "on a browser as fast as it is"
                met = ms < 1000 if target else None
                yield Figure(GROUP, f"its plots are painted, {how}, the middle of {times}", ms, "ms", target, met)


def _steady(rows: int) -> Recording:
    """A drive that keeps to the recipe, no value as the one before."""
    n = np.arange(rows)
    chance = np.random.default_rng(1)
    t_us = (n * (US // RATE_HZ)).astype(np.int64)
    return Recording(
        {
            each: Series(t_us, np.round(mean * (1 + 0.02 * chance.standard_normal(rows)), 2))
            for each, mean in MEANS.items()
        }
    )


def _painted(running: Any, way: str, slowed: int) -> float:
    """Milliseconds from the beginning of loading the page to the frame after its plots."""
    made = opened(running, slowed)
    made.add_init_script(f"{PAINTED}({len(MEANS)})")
    made.goto(way)
    made.wait_for_function("() => window.painted")
    found: float = made.evaluate("() => window.painted")
    made.context.close()
    return found
