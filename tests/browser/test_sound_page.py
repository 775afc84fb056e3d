"""Sound on the page: begun by the one tap, said when it cannot be heard, voices of the phone alone, choices kept.

Headless browsers have no voices: one is put in their place, which says what it was told to say.
"""

from __future__ import annotations

import pytest

from tests.browser import faces
from tests.browser.conftest import shoot

VOICES = """(voices) => {
  window.said = [];
  window.cancelled = 0;
  window.felt = [];
  const made = voices.map(([name, lang, localService]) => (
    { name, lang, localService, default: false, voiceURI: name }));
  class Utterance { constructor(text) { this.text = text; } }
  const synth = {
    getVoices: () => made, addEventListener: () => undefined,
    speak: (one) => { window.said.push([one.text, one.voice?.name ?? '']); setTimeout(() => one.onend?.(), 30); },
    cancel: () => { window.cancelled += 1; },
  };
  Object.defineProperty(window, 'speechSynthesis', { value: synth, configurable: true });
  Object.defineProperty(window, 'SpeechSynthesisUtterance', { value: Utterance, configurable: true });
  const vibrate = (pattern) => window.felt.push(pattern) > 0;
  Object.defineProperty(navigator, 'vibrate', { value: vibrate, configurable: true });
}"""
OWN = [["Far", "en-GB", False], ["Near", "en-GB", True]]
EAR = "async () => (await import('/js/store.js')).known.ear"
SAID = "(text) => window.said.some(([said]) => said === text)"


def stands(server, page):
    """Waits until Drive stands: the server tells of the drive that was begun, as it does ten times a second."""
    page.wait_for_selector("[data-screen=drive]", state="attached")
    server.push(server.state())
    page.wait_for_selector(".drive .words")


def with_voices(page, voices=OWN):
    page.add_init_script(f"({VOICES})({voices!r})".replace("True", "true").replace("False", "false"))


@pytest.fixture
def driving(opening, server):
    """Opens Drive by its address, with voices: no tap was made."""

    def open_drive(name="hold", voices=OWN, **options):
        server.face = name
        opened = opening("#/", **options)
        with_voices(opened.page, voices)
        opened.page.goto(f"{server.url}/?light=day#/drive")
        opened.page.reload()
        opened.page.wait_for_selector(".drive .words")
        opened.page.wait_for_selector(".ear", state="attached")
        return opened

    return open_drive


WAIT = """new Promise((done) => {
  const look = () => document.querySelector('.ear span')?.textContent ? done(true) : setTimeout(look, 20);
  look();
})"""


def test_without_a_tap_nothing_sounds_and_the_page_says_so(browser, server):
    """Opened by its address and looked at without a gesture, as the debugging protocol can: blocked, and said."""
    server.face = "hold"
    context = browser.new_context(locale="en-IE", service_workers="block", reduced_motion="reduce")
    page = context.new_page()
    with_voices(page)
    page.goto(f"{server.url}/?light=day#/drive")
    session = context.new_cdp_session(page)

    def ask(expression):
        order = {"expression": expression, "userGesture": False, "awaitPromise": True, "returnByValue": True}
        return session.send("Runtime.evaluate", order)["result"].get("value")

    assert ask(WAIT) is True
    assert ask("navigator.userActivation.hasBeenActive") is False
    assert ask("import('/js/sound.js').then(({ play }) => play('limit_passed'))") is False
    assert ask("import('/js/store.js').then(({ known }) => known.ear)") == {"tones": "blocked", "voice": "blocked"}
    assert ask("document.querySelector('.ear').textContent") == "Tap for sound"
    assert ask("window.said.length + window.felt.length") == 0
    context.close()


def test_any_tap_lets_sound_out(driving, server):
    """After it the page says nothing more of sound, and the next words are spoken by the phone's own voice."""
    page = driving().page
    page.locator(".words").click()
    page.wait_for_function(f"() => ({EAR})().then((ear) => ear.tones === 'on' && ear.voice === 'on')")
    page.wait_for_selector(".ear", state="hidden")
    steer = faces.copy("steer")
    steer["face"] |= {"speech": "Slow down, three.", "speech_id": 9, "code": "steer_speed_down", "speech_unit": "units"}
    server.push(steer)
    page.wait_for_function(SAID, arg="Slow down, three.")
    page.wait_for_function(SAID, arg="units")
    assert {name for _, name in page.evaluate("() => window.said")} == {"Near"}


@pytest.mark.parametrize("voices", [[], [["Far", "en-GB", False]], [["Own", "fr-FR", True]]])
def test_without_a_voice_of_its_own_the_page_says_so(driving, voices):
    """None, one from the network, or one of another language: no voice, and nothing is sent away to be spoken."""
    opened = driving(voices=voices)
    page = opened.page
    page.locator(".words").click()
    page.wait_for_function("() => document.querySelector('.ear span')?.textContent === 'No voice'")
    assert page.evaluate("() => window.said") == []


def test_the_tap_that_agrees_starts_sound_and_the_drive(opening, server):
    """One tap: the greeting is spoken, the drive begins, and sound is on when the drive stands."""
    opened = opening("#/")
    page = opened.page
    with_voices(page)
    page.goto(f"{server.url}/?light=day#/notes?recipe=f00d&source=simulator&role=passenger")
    page.reload()
    agree = page.get_by_role("button", name="We agree. Start recording")
    agree.wait_for()
    server.face = "hold"
    agree.click()
    stands(server, page)
    page.wait_for_function(SAID, arg="You will hear what to do.")
    page.wait_for_selector(".ear", state="hidden")
    assert page.evaluate(EAR) == {"tones": "on", "voice": "on"}
    assert opened.complaints == []


def test_an_alarm_is_felt_and_hushes(driving, server):
    page = driving().page
    page.locator(".words").click()
    page.wait_for_function(f"() => ({EAR})().then((ear) => ear.tones === 'on')")
    server.push(faces.copy("limit"))
    page.wait_for_selector(".alarm")
    page.wait_for_function("() => window.felt.length > 0")
    assert page.evaluate("() => window.felt[0]") == [400, 100, 400]


def test_choices_are_kept_on_the_phone_and_bite(opening, server):
    """Off is off after the page is loaded anew; hand and light too. Nothing of it is sent before a drive."""
    opened = opening("#/sound")
    page = opened.page
    shoot(page, "sound-day")
    page.get_by_text("Off", exact=True).click()
    page.get_by_text("Left", exact=True).click()
    page.get_by_text("Night", exact=True).click()
    page.get_by_role("switch", name="Tones").click()
    assert page.get_by_role("switch", name="Tones").get_attribute("aria-checked") == "false"
    assert page.evaluate("() => document.documentElement.dataset.light") == "night"
    shoot(page, "sound-night")
    server.face = "hold"
    page.goto(f"{server.url}/#/drive")
    page.reload()
    page.wait_for_selector(".drive .words")
    page.wait_for_function("() => document.querySelector('.ear span')?.textContent === 'Sound off'")
    assert page.locator(".drive").get_attribute("data-hand") == "left"
    assert page.evaluate("() => document.documentElement.dataset.light") == "night"
    assert opened.complaints == []


def test_every_tone_can_be_tried(opening):
    """A button each; nothing fails where there is no sound card."""
    opened = opening("#/sound")
    page = opened.page
    page.get_by_text("Tap to hear each one").click()
    names = page.locator(".try-tones button").all_inner_texts()
    assert len(names) == 11
    for name in names:
        page.get_by_role("button", name=name, exact=True).click()
    assert opened.complaints == []


def test_units_chosen_go_with_the_drive_and_with_what_is_asked(opening, server):
    """By one tap to mph and psi: sentences are asked for in them, and the drive begins with them."""
    opened = opening("#/sound")
    page = opened.page
    page.get_by_text("mph psi", exact=True).click()
    page.get_by_text("°F", exact=True).click()
    with page.expect_request("**/api/recipes/f00d") as asked:
        page.goto(f"{server.url}/?light=day#/notes?recipe=f00d&source=simulator&role=passenger")
        page.reload()
        page.get_by_role("button", name="We agree. Start recording").wait_for()
    assert asked.value.headers["x-units"] == "mph,psi,degF"
    assert asked.value.headers["accept-language"] == "en"
    server.face = "hold"
    page.get_by_role("button", name="We agree. Start recording").click()
    stands(server, page)
    body = next(body for path, body in server.posts if path == "drives")
    assert body["units"] == {"speed": "mph", "pressure": "psi", "temperature": "degF"}


@pytest.mark.parametrize(
    ("locale", "units"),
    [
        ("en-US", ["mph", "psi", "degF"]), ("en-GB", ["mph", "bar", "degC"]), ("de-DE", ["km/h", "kPa", "degC"]),
        ("en", ["km/h", "kPa", "degC"]), ("x", ["km/h", "kPa", "degC"]),
    ],
)  # fmt: skip
def test_a_region_reads_its_own_units(opening, locale, units):
    """Before anything was chosen (Unicode CLDR's measurement systems, from memory)."""
    page = opening("#/").page
    asked = "async (locale) => Object.values((await import('/js/units.js')).unitsOf(locale))"
    assert page.evaluate(asked, locale) == units


def test_an_unknown_language_is_english(opening):
    """No words in the phone's language: the whole page is English, and says so to a screen reader."""
    page = opening("#/", locale="eo").page
    assert page.evaluate("() => document.documentElement.lang") == "en"
    assert page.locator("h1").inner_text() == "What was asked for"


def test_the_screen_stays_on_and_is_asked_for_again(driving):
    """Asked for with the drive; again when the page is seen again, because a phone takes it away."""
    page = driving().page
    page.evaluate("""() => {
      window.asks = 0;
      const lock = { released: false, release: () => Promise.resolve() };
      const request = () => {
        window.asks += 1;
        lock.released = false;
        window.lock = lock;
        return Promise.resolve(lock);
      };
      Object.defineProperty(navigator, 'wakeLock', { value: { request }, configurable: true });
    }""")
    page.evaluate("async () => { const w = await import('/js/wake.js'); w.letSleep(); await w.stayOn(); }")
    assert page.evaluate("() => window.asks") == 1
    page.evaluate("() => { window.lock.released = true; document.dispatchEvent(new Event('visibilitychange')); }")
    page.wait_for_function("() => window.asks === 2")
    page.evaluate("() => document.dispatchEvent(new Event('visibilitychange'))")
    assert page.evaluate("() => window.asks") == 2, "one that is held is not asked for again"


def test_sound_can_be_set_before_the_drive(opening):
    """From the notes to Sound and look, and back to where one was; an address from outside leads nowhere."""
    page = opening("#/notes?recipe=f00d&source=simulator&role=passenger").page
    page.get_by_role("link", name="Sound and look").click()
    page.wait_for_selector("[data-screen=sound]")
    page.get_by_role("link", name="Back").click()
    page.wait_for_selector("[data-screen=notes]")
    assert "role=passenger" in page.url
    page.evaluate("() => { location.hash = '#/sound?back=https://evil.example'; }")
    page.wait_for_selector("[data-screen=sound]")
    assert page.locator(".crumb a").get_attribute("href") == "#/"
