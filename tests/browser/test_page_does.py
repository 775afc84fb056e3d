"""What the page does: what it says aloud, what a key or a tap sends, what it claims when nobody answers."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import expect

from tests.browser import faces
from tests.browser.conftest import note, was_said

LINE = "(line) => document.querySelector('.words')?.textContent === line"

LISTEN = """() => {
  window.spoken = [];
  const status = document.querySelector('[role=status]');
  const note = () => window.spoken.push(status.textContent);
  new MutationObserver(note).observe(status, { childList: true, subtree: true, characterData: true });
}"""
HIDE = """(hidden) => {
  Object.defineProperty(document, 'hidden', { value: hidden, configurable: true });
  document.dispatchEvent(new Event('visibilitychange'));
}"""


def wait_for_line(page, line):
    """Waits until the instruction is `line`."""
    page.wait_for_function(LINE, arg=line)


def drawn_as(page, number):
    """Waits until the state with this number is on the screen."""
    page.wait_for_function("(number) => document.querySelector('.number').textContent === number", arg=number)


def posted(server, page, path, count=1):
    """The bodies sent to a path, once `count` of them are there."""
    found = [body for name, body in server.posts if name == path]
    while len(found) < count:
        page.wait_for_event("requestfinished", lambda request: request.method == "POST")
        found = [body for name, body in server.posts if name == path]
    return found


def tap(server, page, name, path):
    """Presses a button and gives the body that was sent."""
    # The page asks for some of these addresses by itself, too.
    with page.expect_response(lambda got: got.url.endswith(f"/api/{path}") and got.request.method == "POST"):
        page.get_by_role("button", name=name, exact=True).click()
    return [body for sent, body in server.posts if sent == path][-1]


def test_tab_goes_to_stop_then_more_and_escape_closes_more(face):
    """With a keyboard: Stop first, then More; Escape closes the sheet and the focus is back on More."""
    page = face("hold").page
    page.keyboard.press("Tab")
    assert page.evaluate("() => document.activeElement.textContent") == "Stop"
    page.keyboard.press("Tab")
    assert page.evaluate("() => document.activeElement.className") == "act more"
    page.keyboard.press("Enter")
    page.wait_for_selector("dialog[open]")
    page.keyboard.press("Escape")
    page.wait_for_selector("dialog:not([open])", state="attached")
    assert page.evaluate("() => document.activeElement.className") == "act more"


def test_the_status_speaks_lines_and_not_ticks(face, server):
    """The live region changes with the line, and stays untouched while only the number counts down."""
    page = face("hold").page
    page.evaluate(LISTEN)
    for number in ("1:11", "1:10"):
        tick = faces.copy("hold")
        tick["face"]["number"] = number
        server.push(tick)
        drawn_as(page, number)
    server.push(faces.copy("steer"))
    wait_for_line(page, "Slow down")
    assert page.evaluate("() => window.spoken") == ["Slow down"]


def test_progress_has_a_value_and_words(face):
    """The lane is a progress bar: its value, and the same in words."""
    bar = face("hold").page.get_by_role("progressbar")
    assert bar.get_attribute("aria-valuenow") == "60"
    assert bar.get_attribute("aria-valuetext") == "60 percent of 3:00"
    assert bar.get_attribute("aria-label") == "Steady part load"


def test_stop_is_one_tap_and_can_be_taken_back(face, server):
    """Stop asks nothing; while it stops, Carry on stands in its place and is as easy to reach."""
    page = face("hold").page
    tap(server, page, "Stop", "drives/current/stop")
    before = page.locator(".bar").bounding_box()
    server.push(faces.copy("stopping"))
    wait_for_line(page, "Stopping")
    assert page.locator(".bar").bounding_box() == before
    tap(server, page, "Carry on", "drives/current/carry-on")


@pytest.mark.parametrize(
    ("shown", "button", "path", "body"),
    [
        ("hold", "Skip this one for now", "skip", {"capture": "part-load"}),
        ("hold", "Pause, keep recording", "pause", {}),
        ("hold", "Someone else holds it", "role", {"role": None}),
    ],
)
def test_more_does_what_it_says(face, server, shown, button, path, body):
    """Each entry of More sends its one request and closes the sheet; More is there as soon as it is asked for."""
    page = face(shown).page
    page.get_by_role("button", name="More: skip, pause, someone else").click()
    assert tap(server, page, button, f"drives/current/{path}") == body
    assert page.locator("dialog[open]").count() == 0


def test_more_that_is_pressed_before_it_is_here_opens_when_it_comes(opening, server):
    """It is fetched only once the drive is on the screen: a press in the meantime is not lost."""
    server.face = "hold"
    page = opening("#/sound?from=drive").page
    held = []
    page.route("**/js/parts/sheet.js", lambda route: held.append(route))  # noqa: PLW0108 - a builtin cannot be one
    with page.expect_request("**/js/parts/sheet.js"):
        page.evaluate("() => { location.hash = '#/drive'; }")
    page.get_by_role("button", name="More: skip, pause, someone else").click()
    assert page.locator("dialog").count() == 0
    held[0].continue_()
    page.wait_for_selector("dialog[open]")


def test_a_paused_drive_can_be_taken_up_again(face, server):
    """Paused: lane and rows are away, Stop stays, and Carry on is the one big thing to press."""
    page = face("paused").page
    assert page.locator(".lane").is_hidden()
    assert page.get_by_role("button", name="Stop", exact=True).is_visible()
    tap(server, page, "Carry on", "drives/current/resume")


def test_a_limit_passed_is_closed_by_hand(face, server):
    """The alarm says what was passed by how much, and goes when somebody has seen it."""
    page = face("limit").page
    assert page.locator(".why b").inner_text() == "Boost 99 kPa, limit 95."
    assert page.get_by_role("img", name="stopped").is_visible()
    tap(server, page, "Seen it, carry on", "drives/current/seen")


def test_a_full_disk_comes_before_the_hold(face, server):
    """When nothing is kept any more the page says that, and no longer asks to hold."""
    page = face("hold").page
    trouble = {"stopped": True, "text": "The disk is full. What was stored stays."}
    server.push({**faces.copy("hold"), "trouble": trouble})
    wait_for_line(page, "Not recording")
    assert page.locator(".what").inner_text() == trouble["text"]
    server.push({**faces.copy("hold"), "trouble": {"stopped": False, "text": "The disk is slow."}})
    wait_for_line(page, "Hold this speed")
    assert page.locator(".what").inner_text() == "The disk is slow."


def test_a_moving_car_is_locked_until_a_passenger_says_so(face, server):
    """Locked: no lane, no rows, only Stop and the passenger's word."""
    page = face("locked").page
    assert page.locator(".lane:visible, .row:visible").count() == 0
    assert page.get_by_role("button").all_inner_texts() == ["I am the passenger", "Stop"]
    assert tap(server, page, "I am the passenger", "drives/current/role") == {"role": "passenger"}


def test_a_lost_laptop_is_not_known(face, server):
    """Without a word for seconds the page says so: not known, how old, Stop at the laptop; then it is back."""
    page = face("hold", clock=True).page
    server.mute = True
    page.clock.run_for(12_000)
    wait_for_line(page, "Phone lost the laptop")
    assert page.locator(".rec").inner_text() == "Not known"
    assert page.locator(".what").inner_text().endswith("s old. The laptop records on its own.")
    assert page.locator(".row .off").first.inner_text().endswith("s ago")
    assert page.locator(".lane").evaluate("(e) => e.classList.contains('gone')")
    page.get_by_role("button", name="Stop", exact=True).click()
    page.clock.run_for(100)
    wait_for_line(page, "Stop it at the laptop")
    assert server.posts == []
    old_s = int(re.search(r"(\d+) s old\.", page.locator(".what").inner_text())[1])
    note(page, ".rec")
    server.mute = False
    server.push(faces.copy("hold"))
    filled = re.fullmatch(r"Back\. (\d+) s filled in\.", was_said(page, "Back. "))
    assert int(filled[1]) >= old_s >= 4
    for left in ("1:11", "1:10", "1:09", "1:08"):
        still = faces.copy("hold")
        still["face"]["number"] = left
        server.push(still)
        drawn_as(page, left)
        page.clock.run_for(1_000)
    page.get_by_text("Recording", exact=True).wait_for()


def test_the_stream_is_closed_while_hidden(face, server):
    """A hidden page holds no stream; seen again, it opens one and is told everything anew."""
    page = face("hold").page
    page.evaluate(HIDE, True)
    server.face = "steer"
    server.hang_up()
    page.evaluate(HIDE, False)
    wait_for_line(page, "Slow down")


def test_the_thread_leaves_the_band_in_another_stroke(face, server):
    """The trace goes on from state to state; the part outside the band is a piece of its own."""
    page = face("hold").page
    for progress, y in ((0.62, 0.8), (0.64, 1.1), (0.66, 1.19)):
        state = faces.copy("hold")
        state["lead"]["lane"] |= {"progress": progress, "head": {"x": progress, "y": y}}
        server.push(state)
        page.wait_for_function(
            "(at) => document.querySelector('.lane .inner').style.getPropertyValue('--at') === String(at)", arg=progress
        )
    classes = page.evaluate(
        "() => [...document.querySelectorAll('.lane polyline')].map((e) => e.getAttribute('class'))"
    )
    assert classes == ["in", "out"]
    assert page.locator(".lane .head").get_attribute("class") == "head high"


def test_a_late_page_catches_the_thread_up(face):
    """Opened in the middle of a hold, the page asks for what the lane has drawn so far."""
    points = face("hold").page.locator(".lane polyline").first.get_attribute("points")
    assert len(points.split()) > 50


def test_arming_can_be_put_off(face, server):
    """Back from Arm, the drive stays until the car has moved; then it is asked again."""
    page = face("arm").page
    page.get_by_role("button", name="Drive").click()
    wait_for_line(page, "Arm it when ready")
    server.push(faces.copy("hold"))
    wait_for_line(page, "Hold this speed")
    server.push(faces.copy("arm"))
    page.wait_for_selector("[data-screen=arm]")
    assert tap(server, page, "We are on a closed course or dyno", "drives/current/arm") == {"capture": "roll-on"}


def test_the_arm_screen_leaves_when_the_car_moves(face, server):
    """Arming is for standing still: when the car sets off, the drive is back on the screen."""
    page = face("arm").page
    server.push(faces.copy("approach"))
    wait_for_line(page, "Speed up gently")


def test_a_drive_that_ends_is_reviewed(face, server):
    """When the drive has ended, its verdict is next."""
    page = face("hold").page
    ended = faces.copy("hold")
    ended["drive"]["phase"] = "ended"
    server.push(ended)
    page.wait_for_selector("[data-screen=after]")
    assert page.locator("h1").inner_text() == "Two of three qualified"


def test_from_recipe_to_drive(opening, server):
    """The way in: recipe, source, ready, who, notes; nobody is chosen beforehand; what was agreed to is sent."""
    page = opening("#/").page
    page.get_by_role("link", name="Part load").click()
    page.get_by_role("link", name="Get ready").click()
    page.get_by_text("8×").click()
    page.get_by_role("link", name="Simulator").click()
    page.get_by_role("link", name="Next: who holds the phone").click()
    following = page.get_by_role("link", name="Next: before you set off")
    assert following.get_attribute("aria-disabled") == "true"
    assert page.locator("[aria-pressed=true]").count() == 0
    page.locator(".choice", has_text="A passenger").first.click()
    following.click()
    server.face = "approach"
    server.push(faces.copy("approach"))
    body = tap(server, page, "We agree. Start recording", "drives")
    assert body == {
        "recipe": "f00d",
        "source": "simulator",
        "speed": 8,
        "role": "passenger",
        "acknowledged": ["law", "closed_course", "open_air", "warning_lamp", "driver_drives"],
    }
    wait_for_line(page, "Speed up gently")


def test_a_bad_recipe_gets_its_sentence(opening, server):
    """A file that is no recipe: the server's sentence, and the file can be chosen again."""
    page = opening("#/").page
    chooser = page.locator("input[type=file]")
    chooser.set_input_files({"name": "bad.toml", "mimeType": "application/toml", "buffer": b"no"})
    expect(page.get_by_role("alert")).to_contain_text("The recipe is not TOML")
    chooser.set_input_files({"name": "good.toml", "mimeType": "application/toml", "buffer": b"format = 1"})
    page.wait_for_selector("[data-screen=recipe]")


def test_marks_fill_until_the_car_is_ready(opening, server):
    """Ready asks again while something is looked for; then the way on is open."""
    server.marks = "looking"
    page = opening("#/ready?recipe=f00d&source=simulator").page
    page.wait_for_selector(".item [data-mark=ring]")
    assert page.get_by_role("link", name="Stop looking").is_visible()
    server.marks = "ready"
    page.get_by_role("link", name="Next: who holds the phone").wait_for()
    assert page.locator("h1").inner_text() == "The car is ready"


def test_every_attempt_has_its_reason(opening):
    """Afterwards: verdict first, and each attempt with how it ended and why, in a sentence."""
    page = opening("#/after?drive=d1").page
    page.locator("summary").first.click()
    page.locator("details[open] .try").first.wait_for()
    tries = page.locator("details[open] .try").all_inner_texts()
    assert tries[0].split("\n")[0] == "At 8:12. Lasted 2:31. Too fast: 91 km/h against 88 at 10:43."
    assert tries[1].startswith("At 12:42. Held 3:24. What ended it: Too fast: 90 km/h against 88 at 16:06.")
    assert page.locator(".item", has_text="Warm idle").locator("p").first.inner_text().endswith("Stay under 1000 rpm.")


def test_a_window_is_plotted_and_can_be_kept(opening):
    """A window opened: a plot each signal, the figures in a table, and the file."""
    page = opening("#/window?drive=d1&capture=part-load&number=1").page
    page.wait_for_selector(".uplot canvas, .no-plots")
    assert page.locator("table.fig tbody tr").count() == 4
    with page.expect_download() as download:
        page.get_by_role("link", name="Download as CSV").click()
    assert download.value.suggested_filename == "part-load-2.csv"


def test_without_the_library_there_is_a_sentence_and_a_table(opening, server):
    """Where the build could not fetch the drawing library, the page says so and shows the figures."""
    server.vendor = False
    page = opening("#/window?drive=d1&capture=part-load&number=1").page
    page.wait_for_selector(".no-plots")
    assert page.locator(".no-plots").inner_text().startswith("No plots: the drawing library was not fetched")
    assert page.locator("table.fig tbody tr").count() == 4
