"""The page on a slowed browser: when Drive can be used, what it loads, and the time from the server's event to paint.

Needs Playwright and a Chromium, which a user does not have to have: without them one row says so, and nothing fails.
"""

from __future__ import annotations

import contextlib
import os
import shutil
import tempfile
import threading
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import TYPE_CHECKING, Any

from coach.bench.figures import Figure
from coach.clock import US, Clock
from coach.drive.ring import Ring

if TYPE_CHECKING:
    from coach.drive.drive import Drive
    from coach.server.services import Services
    from coach.server.starting import Given

SLOWED = 4
GROUP = f"The page on a browser {SLOWED} times slowed"
BROWSERS = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome", "msedge")
ARGUMENTS = ("--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking")
USABLE = """(() => {
  const watch = new MutationObserver(() => {
    if (!document.querySelector('.bar .stop') || !document.querySelector('.words')?.textContent) return;
    watch.disconnect();
    const stands = performance.now();
    // The frame after the next one begins when this one is on the screen.
    requestAnimationFrame(() => requestAnimationFrame(() => {
      const all = [...performance.getEntriesByType('navigation'), ...performance.getEntriesByType('resource')]
        .filter(({ name, startTime }) => startTime < stands);
      const files = Object.fromEntries(all.map(({ name, encodedBodySize: size }) => [new URL(name).pathname, size]));
      const bytes = all.reduce((sum, { encodedBodySize: size }) => sum + size, 0);
      window.usable = { ms: performance.now(), bytes, files };
    }));
  });
  watch.observe(document, { childList: true, subtree: true });
})()"""
"""Puts `window.usable` on a page that is opened: when Drive could be used (ms), and what was asked for before that, in
bytes as sent: every file and answer, and one weight of the font. Tests count by it as well."""
PAINTED = """async () => {
  const [{ follow }, { lastId }] = await Promise.all([import('/js/store.js'), import('/js/live.js')]);
  window.painted = [];
  let before = lastId();
  follow(() => {
    const id = lastId();
    if (id === before) return;
    before = id;
    requestAnimationFrame(() => window.painted.push([id, performance.timeOrigin + performance.now()]));
  });
}"""


class Stamped(Ring):
    """A ring that notes when each message was published, in microseconds of the wall clock that a browser reads too."""

    def __init__(self, clock: Clock) -> None:
        super().__init__()
        self._clock = clock
        self.at_us: dict[int, int] = {}

    def publish(self, kind: str, data: dict[str, Any]) -> int:
        """Adds a message and wakes all listeners; gives its number."""
        now_us = self._clock.wall_us()
        number = super().publish(kind, data)
        self.at_us[number] = now_us
        return number


def page(loads: int, seconds: float, settle_s: float = 2.0) -> Iterator[Figure]:
    """The figures of the page.

    Args:
        loads: how often Drive is loaded from nothing.
        seconds: how long the stream is watched.
        settle_s: how long it may load what it does not need at once, before that.
    """
    # In a thread of its own: Playwright takes a thread's only loop, and whoever calls may have one already.
    with ThreadPoolExecutor(1) as thread:
        yield from thread.submit(lambda: list(_figures(loads, seconds, settle_s))).result()


@contextlib.contextmanager
def browser() -> Iterator[Any]:
    """A Chromium that Playwright leads; a sentence why there is none instead."""
    path = os.environ.get("COACH_BROWSER") or next(filter(None, map(shutil.which, BROWSERS)), None)
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        yield "Playwright is not installed"
        return
    if path is None:
        yield "there is no Chromium; COACH_BROWSER names one"
        return
    with sync_playwright() as playwright:
        running = playwright.chromium.launch(executable_path=path, args=list(ARGUMENTS))
        try:
            yield running
        finally:
            running.close()


def _figures(loads: int, seconds: float, settle_s: float) -> Iterator[Figure]:
    with browser() as running:
        if isinstance(running, str):
            yield Figure(GROUP, f"not measured: {running}", None, "")
            return
        with _driving() as (address, ring):
            usable = sorted((_load(running, address) for _ in range(loads)), key=lambda found: float(found["ms"]))
            middle = usable[len(usable) // 2]
            yield Figure(
                GROUP, f"Drive can be used, from nothing, the middle of {loads}", middle["ms"], "ms", "1,000",
                middle["ms"] < 1000,
            )  # fmt: skip
            loaded = middle["bytes"] / 1000
            yield Figure(GROUP, "loaded for it, as sent, with one weight of the font", loaded, "kB", "40", loaded < 40)
            took_ms = sorted(_watch(running, address, ring, seconds, settle_s))
    if not took_ms:
        yield Figure(GROUP, "not measured: the page painted no event", None, "")
        return
    half, p99 = took_ms[len(took_ms) // 2], took_ms[len(took_ms) * 99 // 100]
    yield Figure(GROUP, "server's event to painted, half are faster than", half, "ms")
    yield Figure(GROUP, f"99 of 100 ({len(took_ms)} events) are faster than", p99, "ms", "50", p99 < 50)


@contextlib.contextmanager
def serving(given: Given | None = None) -> Iterator[tuple[str, Services]]:
    """The server in this process on a folder of its own: its address, and what it does."""
    from cheroot.wsgi import Server

    from coach.drive.worker import ChildWorker
    from coach.server.app import create_app
    from coach.server.services import Services
    from coach.sources.table_child import read_table_in_child
    from coach.store import Store

    clock = Clock()
    with tempfile.TemporaryDirectory() as name:
        services = Services.make(Store(Path(name), clock), ChildWorker(Path(name)), clock, read_table_in_child, given)
        services.ring = Stamped(clock)
        server = Server(("127.0.0.1", 0), create_app(services), numthreads=24, timeout=6)
        server.shutdown_timeout = 0.3
        server.prepare()
        thread = threading.Thread(target=server.serve, daemon=True)
        thread.start()
        try:
            yield f"http://127.0.0.1:{server.bind_addr[1]}", services
        finally:
            services.close(1.0)
            server.stop()
            thread.join(2)


def begun(services: Services, source: str, speed: float | None) -> Drive:
    """A drive with the first recipe there is, begun."""
    from coach.server.models import StartDrive

    recipe = services.shelf.bundled[0]
    return services.start(
        StartDrive(recipe=recipe, source=source, speed=speed, role="passenger", acknowledged=[], vehicle=None)
    )


@contextlib.contextmanager
def _driving() -> Iterator[tuple[str, Stamped]]:
    """A bundled drive at its own speed."""
    with serving() as (address, services):
        begun(services, "replay:everything-qualifies", 1.0)
        assert isinstance(services.ring, Stamped)
        yield address, services.ring


def opened(running: Any, slowed: int = SLOWED) -> Any:
    """A page of a phone that has never been here, slowed."""
    context = running.new_context(viewport={"width": 390, "height": 844}, service_workers="block")
    made = context.new_page()
    context.new_cdp_session(made).send("Emulation.setCPUThrottlingRate", {"rate": slowed})
    return made


def _load(running: Any, address: str) -> dict[str, float]:
    made = opened(running)
    made.add_init_script(USABLE)
    made.goto(f"{address}/#/drive")
    made.wait_for_function("() => window.usable")
    found: dict[str, float] = made.evaluate("() => window.usable")
    made.context.close()
    return found


def _watch(running: Any, address: str, ring: Stamped, seconds: float, settle_s: float) -> list[float]:
    """Milliseconds from each event that was painted to the frame after its paint."""
    made = opened(running)
    made.goto(f"{address}/#/drive")
    made.wait_for_selector(".words")
    # What is loaded once the screen stands is over by then.
    made.wait_for_timeout(settle_s * 1000)
    made.evaluate(PAINTED)
    made.wait_for_timeout(seconds * 1000)
    painted: list[tuple[str, float]] = made.evaluate("() => window.painted")
    made.context.close()
    numbers = ((int(event.rpartition("-")[2]), at_ms) for event, at_ms in painted)
    return [at_ms - ring.at_us[number] * 1000 / US for number, at_ms in numbers]
