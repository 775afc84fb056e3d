"""Joining in a real browser over https: from the square on the laptop to Ready on the phone, watching, and removal.

The browser takes the server's certificate by the hash of its key, and finds the .local name on this machine.
"""

from __future__ import annotations

import base64
import hashlib
import json
import threading

import pytest
from playwright.sync_api import expect

from coach.server.joining import Lan
from coach.server.run import serve
from tests.browser.conftest import PHONE, Opened, shoot
from tests.browser.test_axe import CONTRAST, FULL, faults
from tests.browser.test_demo import SEEN, get, set_off
from tests.browser.test_screens import LIGHTS, SIZES, TAPPED, TARGETS, WIDE, look, set_light
from tests.browser.test_send import SHARES
from tests.conftest import BROWSER_ARGUMENTS, patient
from tests.server.doors import ADDRESS, Quiet

IPHONE = "Mozilla/5.0 (iPhone; CPU iPhone OS 18_5 like Mac OS X) AppleWebKit/605.1.15 Version/18.5 Mobile Safari/604.1"


@pytest.fixture(scope="module")
def served(tmp_path_factory):
    """The real server with both doors: the laptop's address and how it is joined."""
    stop, ready, got = threading.Event(), threading.Event(), []

    def joined(joining):
        got.append(joining)
        ready.set()

    lan = Lan(0, 0, "127.0.0.1", lambda: [ADDRESS], Quiet())
    given = {"port": 0, "data_dir": tmp_path_factory.mktemp("data"), "lan": lan, "stop": stop}
    thread = threading.Thread(
        target=serve, kwargs=given | {"on_ready": lambda url: got.append(url.rstrip("/")), "on_lan": joined}
    )
    thread.start()
    assert ready.wait(60)
    yield got
    stop.set()
    thread.join(10)


@pytest.fixture(scope="module")
def phones(served, browser, browser_path):
    """A browser that trusts the laptop, as a phone does that has its certificate."""
    from cryptography import x509
    from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat

    made = x509.load_pem_x509_certificate(served[1].certificates.path.read_bytes())
    spki = made.public_key().public_bytes(Encoding.DER, PublicFormat.SubjectPublicKeyInfo)
    trust = base64.b64encode(hashlib.sha256(spki).digest()).decode()
    arguments = [
        *BROWSER_ARGUMENTS,
        "--host-resolver-rules=MAP *.local 127.0.0.1",
        f"--ignore-certificate-errors-spki-list={trust}",
    ]
    running = browser.browser_type.launch(executable_path=browser_path, args=arguments)
    running.on("context", patient)
    yield running
    running.close()


@pytest.fixture
def device(phones, served):
    """Makes phones, each with a memory of its own; they leave at the end."""
    contexts = []

    def make(**options):
        size = {"width": PHONE[0], "height": PHONE[1]}
        context = phones.new_context(viewport=size, reduced_motion="reduce", **options)
        contexts.append(context)
        return Opened(context.new_page())

    yield make
    for context in contexts:
        context.close()
    for one in served[1].devices.list():
        served[1].devices.remove(one.id)


@pytest.fixture
def laptop(browser, served):
    """The laptop's own page."""
    context = browser.new_context(viewport={"width": 1280, "height": 800}, reduced_motion="reduce")
    opened = Opened(context.new_page())
    yield opened
    context.close()


def square(laptop, served, role="operator"):
    """Shows the square on the laptop's page; gives what it holds."""
    page = laptop.page
    page.goto("about:blank")
    with page.expect_response("**/api/joining/square") as answer:
        page.goto(f"{served[0]}/?light=day#/join")
    if role == "onlooker":
        with page.expect_response("**/api/joining/square") as answer:
            page.get_by_role("radio", name="Watch only").check(force=True)
    made = answer.value.json()
    page.wait_for_selector(".square path")
    return made


def is_joined(page):
    page.wait_for_function("() => document.querySelector('.joining')?.dataset.role")


def test_from_the_square_to_ready(laptop, device, served):
    """The laptop shows a square, the phone opens what it holds, is joined, and gets to Ready.

    The secret is in no address that was sent, and gone from the phone's own; scanned a second time it joins nobody.
    """
    made = square(laptop, served)
    phone = device(user_agent=IPHONE)
    asked = []
    phone.page.on("request", lambda request: asked.append(request.url + json.dumps(request.headers)))
    phone.page.goto(made["url"])
    is_joined(phone.page)
    assert phone.page.locator("#where").inner_text() == "Joined"
    assert phone.page.locator("h1").inner_text() == "This phone is joined"
    assert phone.page.locator(".tick:visible").count() == 1
    secret = made["url"].partition("#s=")[2]
    assert "#" not in phone.page.url
    assert asked
    assert not any(secret in one for one in asked)
    assert phone.page.evaluate("() => document.cookie") == ""

    laptop.page.get_by_text("iPhone has joined.").wait_for()
    phone.page.get_by_role("link", name="Go on without").click()
    phone.page.get_by_role("link", name="Try it with a recorded drive").click()
    phone.page.get_by_role("link", name="Get ready").click()
    phone.page.locator("[data-screen=source] a.item").first.click()
    phone.page.wait_for_function("() => document.querySelector('h1')?.textContent === 'The car is ready'")

    other = device()
    other.page.goto(made["url"])
    expect(other.page.locator("[role=alert]")).to_contain_text("used already")
    assert other.page.locator("#on").get_attribute("href") is None
    # The same phone, scanning once more, is told that it is joined.
    phone.page.goto(made["url"])
    is_joined(phone.page)
    phone.complaints = [c for c in phone.complaints if "status of 40" not in c]
    assert phone.complaints == laptop.complaints == []


def test_from_joining_to_sharing(laptop, device, served):
    """A whole drive on a phone that has just joined: who holds it, notes, drive, verdict, the bundle handed on."""
    made = square(laptop, served)
    phone = device()
    page = phone.page
    page.add_init_script(SHARES)
    page.add_init_script(SEEN)
    page.goto(made["url"])
    is_joined(page)
    origin = page.evaluate("() => location.origin")
    sha = get(served[0], "recipes")["recipes"][0]["sha256"]
    page.goto(f"{origin}/?light=day#/ready?recipe={sha}&source=replay:everything-qualifies&speed=60")
    set_off(page)
    page.wait_for_selector("[data-screen=after]")
    assert page.locator("h1").inner_text() == "All three qualified"
    page.get_by_role("link", name="Send it").click()
    page.get_by_role("button", name="Send", exact=True).click()
    page.wait_for_function("() => document.querySelector('p.under')?.textContent.startsWith('Handed on')")
    ((name, size),) = page.evaluate("() => window.shared")
    assert name.endswith(".zip")
    assert size > 10_000
    assert phone.complaints == []


def test_the_square_that_is_drawn_is_the_one_that_was_made(laptop, served):
    """Dark where the code is dark, with a margin of four (ISO/IEC 18004), on white also at night."""
    rows = square(laptop, served)["rows"]
    drawn = laptop.page.evaluate(
        """() => {
          const svg = document.querySelector('.square svg'), path = svg.querySelector('path');
          const size = svg.viewBox.baseVal.width, rows = [];
          for (let y = 0; y < size; y++) {
            let row = '';
            for (let x = 0; x < size; x++) {
              const point = svg.createSVGPoint();
              point.x = x + 0.5; point.y = y + 0.5;
              row += path.isPointInFill(point) ? '1' : '0';
            }
            rows.push(row);
          }
          return rows;
        }"""
    )
    bare = "0" * (len(rows) + 8)
    assert drawn == [bare] * 4 + [f"0000{row}0000" for row in rows] + [bare] * 4
    set_light(laptop.page, "night")
    colours = laptop.page.evaluate(
        "() => [getComputedStyle(document.querySelector('.square')).backgroundColor,"
        " getComputedStyle(document.querySelector('.square svg')).fill]"
    )
    assert colours == ["rgb(255, 255, 255)", "rgb(0, 0, 0)"]


def test_a_removed_phone_is_cut_off_in_the_middle_of_a_drive(laptop, device, served):
    """Listed, renamed, removed on the laptop's page; the phone's stream ends and it is shown how to join."""
    phone = device(user_agent=IPHONE)
    phone.page.goto(square(laptop, served)["url"])
    is_joined(phone.page)
    begin(laptop, served)
    phone.page.get_by_role("link", name="Go on without").click()
    phone.page.wait_for_selector("[data-screen=drive] .words")

    page = laptop.page
    page.goto(f"{served[0]}/?light=day#/devices")
    page.get_by_role("button", name="Name of iPhone").click()
    page.get_by_role("textbox").fill("Ann's phone")
    page.get_by_role("textbox").press("Enter")
    page.get_by_text("operates, here now").wait_for()
    page.get_by_role("button", name="Remove Ann's phone").click()
    page.get_by_text("It has to scan a new square").wait_for()
    shoot(page, "devices-sure")
    page.get_by_role("button", name="Remove", exact=True).click()
    page.get_by_text("No device is joined.").wait_for()

    phone.page.wait_for_url("**/join")
    expect(phone.page.locator("#where")).to_have_text("Not joined yet")
    finish(laptop, served)
    assert laptop.complaints == []


def test_an_onlooker_sees_the_drive_and_nothing_to_press(laptop, device, served):
    """It is joined to watch: the drive is there, Stop is not, and what it would send is refused."""
    made = square(laptop, served, "onlooker")
    phone = device()
    phone.page.goto(made["url"])
    is_joined(phone.page)
    assert phone.page.locator("#where").inner_text() == "Joined, to watch"
    begin(laptop, served)
    phone.page.get_by_role("link", name="Go on without").click()
    phone.page.wait_for_selector("[data-screen=drive] .words")
    assert phone.page.locator(".bar").inner_text() == "Watching only"
    assert phone.page.locator("button:visible").count() == 0
    for light in LIGHTS:
        set_light(phone.page, light)
        shoot(phone.page, f"watching-{light}")
    status = phone.page.evaluate(
        "() => fetch('/api/drives/current/stop', {method: 'POST', body: '{}',"
        " headers: {'content-type': 'application/json'}}).then((answer) => answer.status)"
    )
    assert status == 403
    assert state(laptop, served)["drive"]["phase"] == "recording"
    finish(laptop, served)


def test_a_link_from_elsewhere_finds_its_way_back(laptop, device, served):
    """A browser keeps the cookie back when another site leads here (SameSite=Strict): the help page asks again."""
    phone = device()
    phone.page.goto(square(laptop, served)["url"])
    is_joined(phone.page)
    phone.page.goto(f"{served[1].help_address().replace(ADDRESS, served[1].name)}")
    phone.page.evaluate("(to) => { document.querySelector('a.act:last-child').href = to; }", served[1].address())
    phone.page.get_by_role("link", name="Go on without").click()
    phone.page.wait_for_selector("[data-screen=start], [data-screen=drive]")


@pytest.mark.parametrize("name", ["join", "devices"])
def test_the_laptops_screens_stand(laptop, device, served, name):
    """In every light and size, without a complaint, with targets of 48 px."""
    made = square(laptop, served)
    phone = device(user_agent=IPHONE)
    phone.page.goto(made["url"])
    is_joined(phone.page)
    square(laptop, served)
    laptop.page.goto(f"{served[0]}/?light=day#/{name}")
    laptop.page.wait_for_selector(".square path, [data-device]")
    stands(laptop, f"laptop-{name}", (*SIZES, *WIDE))


@pytest.mark.parametrize(("path", "plain"), [("join", False), ("join", True), ("trust", True)])
def test_the_help_page_stands(device, served, path, plain):
    """What a stranger sees, over https and over plain http: every light and size, without a complaint."""
    phone = device(user_agent=IPHONE)
    joining = served[1]
    base = f"http://{joining.name}:{joining.help.bind_addr[1]}/" if plain else joining.address()
    phone.page.goto(f"{base}{path}")
    assert phone.page.locator("h1").count() == 1
    stands(phone, f"phone-{path}{'-plain' if plain else ''}", (*SIZES, *WIDE))


def stands(opened, name, sizes):
    """Draws a screen, and measures what is pressed."""
    opened.complaints = [c for c in opened.complaints if "status of 401" not in c]
    page = opened.page
    page.set_viewport_size({"width": PHONE[0], "height": PHONE[1]})
    page.evaluate("() => document.fonts.ready.then(() => true)")
    look(opened, name, sizes)
    for light in LIGHTS:
        set_light(page, light)
        assert faults(page, FULL if light == "day" else CONTRAST) == [], light
    assert [one for one in page.evaluate(TARGETS, TAPPED) if one[2] < 48 and one[0]] == []


def begin(laptop, served):
    """Starts a drive in real time."""
    sha = laptop.page.request.get(f"{served[0]}/api/recipes").json()["recipes"][0]["sha256"]
    body = {"recipe": sha, "source": "replay:everything-qualifies", "speed": 1, "role": "passenger"}
    assert laptop.page.request.post(f"{served[0]}/api/drives", data=body).status == 201


def state(laptop, served):
    return laptop.page.request.get(f"{served[0]}/api/state").json()


def finish(laptop, served):
    """Ends it."""
    laptop.page.request.post(f"{served[0]}/api/drives/current/finish", data={})
    while state(laptop, served)["drive"]["phase"] != "ended":
        laptop.page.wait_for_timeout(20)
