"""A phone six times slower than this machine still does everything in a drive; how fast, the benchmark tells."""

from __future__ import annotations

from tests.browser import faces
from tests.browser.test_page_does import tap, wait_for_line

SLOWED = 6


def test_a_phone_six_times_slower_keeps_up(face, server):
    """States at stream rate, a correction, an alarm closed by hand, back to the hold: each is painted, none is late."""
    opened = face("hold")
    page = opened.page
    page.context.new_cdp_session(page).send("Emulation.setCPUThrottlingRate", {"rate": SLOWED})
    for n in range(60):
        state = faces.copy("hold")
        at = 0.6 + n / 1000
        state["lead"]["lane"] |= {"progress": at, "head": {"x": at, "y": 0.5}}
        server.push(state)
    page.wait_for_function("() => document.querySelector('.lane .inner').style.getPropertyValue('--at') === '0.659'")
    server.push(faces.copy("steer"))
    wait_for_line(page, "Slow down")
    server.push(faces.copy("limit"))
    page.wait_for_selector(".alarm")
    tap(server, page, "Seen it, carry on", "drives/current/seen")
    server.push(faces.copy("hold"))
    wait_for_line(page, "Hold this speed")
    tap(server, page, "Stop", "drives/current/stop")
    assert opened.complaints == []
