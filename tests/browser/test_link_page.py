"""The page about a car's link: what a person says is in the car, rates that are too low, another tester."""

from __future__ import annotations

from tests.browser import faces
from tests.browser.test_page_does import posted, tap

RATES = [
    {"signal": "engine_speed", "name": "Engine", "asked_hz": 8.0, "hz": 7.94},
    {"signal": "knock_retard", "name": "Knock", "asked_hz": 8.0, "hz": 4.1},
]
MARKS = [
    {"id": "link", "state": "ok", "text": "Connected: virtual adapter 1, CAN, 13.9 V."},
    {
        "id": "identity", "state": "warn", "flashed": {"revision": 2, "date": "2026-05-04"},
        "text": "Calibration COACH-ENGINE-01. The car reports the same calibration as on the drive of revision 1 on"
        " 2026-05-01. Is the new revision really in it?",
        "warnings": [{"code": "same_calibration", "text": "The car reports the same calibration."}],
    },
    {
        "id": "signals", "state": "warn", "text": "2 of 2 found. Slower than asked: knock.",
        "rates": [
            {"signal": "engine_speed", "name": "Engine", "asked_hz": 8.0, "expected_hz": 8.0, "offered": True,
             "enough": True},
            {"signal": "knock_retard", "name": "Knock", "asked_hz": 8.0, "expected_hz": 4.1, "offered": True,
             "enough": False},
            {"signal": "oil_temp", "name": "Oil", "asked_hz": 0.5, "expected_hz": 0.0, "offered": False,
             "enough": False},
        ],
    },
    {"id": "room", "state": "ok", "text": "Space for 9 hours of recording."},
]  # fmt: skip


def test_what_is_in_the_car_is_said_on_ready_and_goes_with_the_drive(opening, server):
    """Filled in as said last, changed, carried through the next screens into the request that starts the drive."""
    server.marks_now = MARKS
    server.car = server.car | {"confirmed": "f00d"}
    page = opening("#/ready?recipe=f00d&source=link:0").page
    revision = page.get_by_label("Revision in the car")
    revision.wait_for()
    assert revision.input_value() == "2"
    assert page.get_by_text("A drive can start. Look at what is marked first.").is_visible()
    assert page.get_by_label("Flashed on").input_value() == "2026-05-04"
    page.get_by_text("How often each will come").click()
    rows = page.locator(".rates li").all_inner_texts()
    assert [" ".join(row.split()) for row in rows] == [
        "Engine 8.0 of 8.0 Hz",
        "Knock 4.1 of 8.0 Hz",
        "Oil – of 0.50 Hz",
    ]
    assert page.locator(".rates li.slow").count() == 2
    revision.fill("3")
    page.get_by_role("link", name="Next: who holds the phone").click()
    page.wait_for_url("**flashed=3&day=2026-05-04**")
    page.get_by_role("button", name="A passenger I read it out").click()
    page.get_by_role("link", name="Next: before you set off").click()
    page.locator(".acts button").click()
    assert posted(server, page, "drives")[0]["flashed"] == {"revision": 3, "date": "2026-05-04"}


def test_a_car_that_is_not_there_is_looked_for_again(opening, server):
    server.marks_now = [{"id": "link", "state": "bad", "text": "There is no car to record. The adapter finds no car."}]
    page = opening("#/ready?recipe=f00d&source=link:0").page
    page.get_by_role("button", name="Look again").wait_for()
    server.marks_now = MARKS
    page.get_by_role("button", name="Look again").click()
    assert posted(server, page, "links/link:0/retry") == [{}]
    page.get_by_role("link", name="Next: who holds the phone").wait_for()


def test_rates_and_another_tester_stand_under_more(face, server):
    """How often each signal comes; while somebody else talks to the car one tap asks it again."""
    page = face("hold").page
    live = faces.copy("hold")
    live["drive"]["source"] = "link"
    live["link"] |= {
        "occupied": True,
        "rates": RATES,
        "state": "lost",
        "reason": "Another tester is talking to the car.",
    }
    server.push(live)
    page.get_by_text("Another tester is talking").wait_for()
    page.get_by_role("button", name="More: skip, pause, someone else").click()
    assert tap(server, page, "Ask the car again", "drives/current/retry") == {}
    page.get_by_role("button", name="More: skip, pause, someone else").click()
    page.get_by_role("button", name="How often signals come").click()
    page.locator(".rates li").first.wait_for()
    rows = page.locator(".rates li").all_inner_texts()
    assert [" ".join(row.split()) for row in rows] == ["Engine 7.9 of 8.0 Hz", "Knock 4.1 of 8.0 Hz"]
    assert page.locator(".rates li.slow").count() == 1
    assert tap(server, page, "Try again now", "drives/current/retry") == {}
    live["link"] |= {"occupied": False, "state": "up", "reason": ""}
    del live["link"]["reason"]
    server.push(live)
    page.get_by_role("button", name="Try again now").wait_for(state="hidden")
