"""Safety and guidance in the flow: who holds the phone, notes by place, what is locked, confirmed, taken up and taught.

A screen beside the drive gives way to it.
"""

from __future__ import annotations

import pytest

from tests.browser import faces
from tests.browser.test_page_does import posted, tap, wait_for_line

CAR = "link:0"
FOCUS = "() => document.activeElement === document.body ? '' : document.activeElement.textContent.trim()"
SHEET = "More: skip, pause, someone else"


@pytest.fixture
def sheet(face):
    """Opens More over a face."""

    def open_sheet(name="hold", state=None, server=None):
        page = face(name).page
        page.wait_for_selector("dialog.sheet", state="attached")
        if state is not None:
            server.push(state)
            page.wait_for_function(
                "async (role) => (await import('/js/store.js')).known.live.drive.role === role",
                arg=state["drive"].get("role"),
            )
        page.get_by_role("button", name=SHEET).click()
        page.wait_for_selector("dialog[open]")
        return page

    return open_sheet


# --- before the drive


def test_nobody_is_chosen_beforehand(opening):
    """Who holds the phone: the way on is shut until one of two is chosen."""
    page = opening("#/who?recipe=f00d&source=simulator").page
    way_on = page.get_by_text("Next: before you set off")
    assert way_on.get_attribute("aria-disabled") == "true"
    assert way_on.get_attribute("href") is None
    page.locator(".choice", has_text="The driver, parked").click()
    assert "role=driver" in way_on.get_attribute("href")


@pytest.mark.parametrize(
    ("notes", "shown", "missing"),
    [
        (["law", "warning_lamp", "driver_drives"], "The law sets the speed.", "Idle in the open air."),
        (["open_air", "warning_lamp"], "Idle in the open air.", "Full pedal: closed course or dyno."),
        (["closed_course", "warning_lamp", "driver_drives"], "Full pedal: closed course or dyno.", "The law sets"),
    ],
)
def test_notes_are_those_of_the_places(opening, server, notes, shown, missing):
    """As the server names them for the recipe; what was agreed to is sent with the drive."""
    server.recipe_notes = notes
    page = opening("#/notes?recipe=f00d&source=simulator&role=passenger").page
    text = page.locator(".rules").inner_text()
    assert shown in text
    assert missing not in text
    tap(server, page, "We agree. Start recording", "drives")
    assert posted(server, page, "drives")[0]["acknowledged"] == notes


# --- while it moves


def test_locked_leaves_stop_and_the_passenger_alone(face, server):
    """Nothing else can be reached, by hand or by keyboard; not the alarm's own button either."""
    page = face("locked").page
    reached = []
    for _ in range(4):
        page.keyboard.press("Tab")
        reached.append(page.evaluate(FOCUS))
    assert set(reached) <= {"I am the passenger", "Stop", ""}
    alarm = faces.copy("limit")
    alarm["drive"]["locked"] = True
    server.push(alarm)
    page.wait_for_selector(".alarm")
    assert page.locator(".alarm button:visible").all_inner_texts() == ["Stop"]


def test_speech_goes_on_while_locked(face, server):
    """The driver hears what to do although nobody may touch the phone: the utterance in force is still taken in."""
    page = face("locked").page
    heard = """async () => {
      const { heard } = await import('/js/sound_plan.js');
      const { known } = await import('/js/store.js');
      return heard(known.live, known.phone, { lost: '', back: '' }).speech;
    }"""
    assert page.evaluate(heard) == "Hold this speed"


@pytest.mark.parametrize("beside", ["#/sound?from=drive", "#/dial"])
@pytest.mark.parametrize("name", ["limit", "warn", "locked"])
def test_a_screen_beside_the_drive_gives_way(opening, server, beside, name):
    """An alarm, a warning or a lock brings the drive back at once."""
    server.face = "hold"
    page = opening(beside).page
    server.face = name
    server.push(faces.copy(name))
    page.wait_for_selector("[data-screen=drive]")


# --- guidance


def test_what_nobody_measures_is_confirmed_with_one_tap(face, server):
    """The list is on the screen; each of it is sent."""
    page = face("hold").page
    asking = faces.copy("hold")
    asking["lead"] |= {"gate": "confirm", "phase": "closed", "confirm": ["air conditioning off", "lights off"]}
    asking["face"] |= {"line": "Passenger: confirm the list", "caption": "air conditioning off, lights off"}
    server.push(asking)
    wait_for_line(page, "Passenger: confirm the list")
    page.get_by_role("button", name="Yes, all of this").click()
    sent = posted(server, page, "drives/current/confirm", 2)
    assert [body["item"] for body in sent] == ["air conditioning off", "lights off"]
    assert {body["capture"] for body in sent} == {"part-load"}


def test_skipped_ones_can_be_taken_up_again(sheet, server):
    """More offers it as soon as one was skipped, and takes up all of them."""
    state = faces.copy("hold")
    state["drive"]["role"] = "passenger"
    for capture in state["captures"][1:]:
        capture |= {"gate": "skipped", "outcome": "skipped"}
    page = sheet(state=state, server=server)
    page.get_by_role("button", name="Bring back what was skipped").click()
    assert posted(server, page, "drives/current/unskip", 2) == [{"capture": "roll-on"}, {"capture": "settled-idle"}]


def test_a_driver_takes_nothing_up_and_reads_no_dial(sheet, server):
    """What waits for a passenger waits; the dial is read by a passenger."""
    state = faces.copy("idle")
    state["drive"]["role"] = "driver"
    state["captures"][0] |= {"gate": "skipped", "outcome": "skipped"}
    page = sheet("idle", state, server)
    names = page.locator("dialog button:visible").all_inner_texts()
    assert "Bring back what was skipped" not in names
    assert "Read the dial" not in names
    assert "Sound and look" in names


# --- the car


def test_the_dial_is_one_number_in_large_steps(opening, server):
    """It begins at the car's own speed; no keyboard; what is sent is the number and its unit."""
    server.face = "hold"
    page = opening("#/dial").page
    assert page.locator("output").inner_text() == "81"
    assert page.locator("input").count() == 0
    for name, times in (("10 more", 1), ("1 less", 3), ("1 more", 1)):
        for _ in range(times):
            page.get_by_role("button", name=name, exact=True).click()
    assert page.locator("output").inner_text() == "89"
    assert tap(server, page, "The dial shows this", "drives/current/dial") == {"shows": 89, "unit": "km/h"}
    page.wait_for_selector("[data-screen=drive]")


def test_the_pedal_is_taught_in_four_steps(opening, server):
    """One thing to do at a time; the four readings are kept together."""
    page = opening(f"#/pedal?recipe=f00d&source={CAR}").page
    lines = []
    for reading in (14.9, 85.1, 15.3, 84.7):
        lines.append(page.locator("p.words").inner_text())
        server.answers[f"cars/{CAR}/pedal/step"] = {"reading": reading}
        with page.expect_response(lambda response: response.url.endswith("/pedal/step")):
            page.get_by_role("button", name="It is in place. Read it").click()
        page.wait_for_function(
            "(n) => document.querySelectorAll('li [data-mark=secured]').length === n", arg=len(lines)
        )
    assert lines == ["Foot off the pedal", "Press it to the floor"] * 2
    assert page.locator("p.words").inner_text() == "The pedal is known"
    assert posted(server, page, f"cars/{CAR}/pedal") == [{"readings": [14.9, 85.1, 15.3, 84.7]}]
    assert [body["step"] for body in posted(server, page, f"cars/{CAR}/pedal/step")] == ["released", "floored"] * 2


def test_facts_are_asked_once_and_confirmed_for_each_revision(opening, server):
    """Before who holds the phone, for a real car only; with what is known already filled in; confirmed goes along."""
    page = opening(f"#/who?recipe=f00d&source={CAR}&speed=1").page
    page.wait_for_selector("[data-screen=facts] .field")
    assert page.get_by_label("Octane").input_value() == "98"
    page.get_by_label("Tyre size").fill("225/45R17")
    page.get_by_label("Fuel", exact=False).first.select_option("petrol")
    page.get_by_role("button", name="All of this is right").click()
    page.wait_for_selector("[data-screen=who] .choice")
    sent = posted(server, page, f"cars/{CAR}/facts")[0]["facts"]
    assert {k: v for k, v in sent.items() if v} == {"fuel": "petrol", "octane": "98", "tyre_size": "225/45R17"}
    page.locator(".choice", has_text="A passenger").first.click()
    page.get_by_text("Next: before you set off").click()
    assert tap(server, page, "We agree. Start recording", "drives")["confirmed"] is True


def test_facts_confirmed_for_this_revision_are_not_asked_again(opening, server):
    """And a replay is no car: nobody is asked."""
    server.car["confirmed"] = "f00d"
    page = opening(f"#/who?recipe=f00d&source={CAR}").page
    assert page.locator("h1").inner_text() == "Who holds this phone?"
    server.car["confirmed"] = None
    page = opening("#/who?recipe=f00d&source=all-good").page
    assert page.locator("h1").inner_text() == "Who holds this phone?"


def test_a_car_nobody_describes_can_be_driven(opening, server):
    """Go on without: nothing is kept, nothing is confirmed, and it is not asked twice on the way."""
    page = opening(f"#/who?recipe=f00d&source={CAR}").page
    page.get_by_role("link", name="Go on without").click()
    page.wait_for_selector("[data-screen=who] .choice")
    page.locator(".choice", has_text="A passenger").first.click()
    page.get_by_text("Next: before you set off").click()
    assert "confirmed" not in tap(server, page, "We agree. Start recording", "drives")
    assert [path for path, _ in server.posts if path.startswith("cars/")] == []
