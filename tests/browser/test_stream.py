"""The link between phone and server, counted at both ends: cut, asleep, out of reach, started anew, seven tabs."""

from __future__ import annotations

import re
import time

import pytest

from tests.browser.conftest import Opened, note, was_said
from tests.browser.real_server import RealServer, until
from tests.browser.test_page_does import HIDE, wait_for_line
from tests.conftest import PATIENCE_MS

LISTEN = """async () => {
  const live = await import('/js/live.js');
  window.heard = []; window.late = [];
  live.onEvent((name, data, late) => {
    if (data === null || name === 'gap') return;
    window.heard.push(live.lastId());
    if (late) window.late.push(live.lastId());
  });
  return live.lastId();
}"""
HAS = "(id) => window.heard.includes(id)"
LEADS = "async () => (await import('/js/live.js')).isLeader()"
QUIET = """async () => {
  const { lastId } = await import('/js/live.js');
  const before = lastId();
  await new Promise((done) => setTimeout(done, 300));
  return lastId() === before;
}"""
"""Whether nothing comes any more, nor is on its way."""


@pytest.fixture(scope="module")
def server(tmp_path_factory):
    """One real server for all; each test has its own wire state."""
    made = RealServer(tmp_path_factory.mktemp("data"))
    yield made
    made.close()


@pytest.fixture
def tab(browser, server):
    """Opens tabs of one phone on Drive, with a listener in each; a drive runs."""
    server.wire.dark = False
    if server.services.current is None or server.services.current.phase == "ended":
        server.drive(speed=1.0)
    context = browser.new_context(viewport={"width": 390, "height": 844}, service_workers="block")

    def open_tab(clock=False):
        page = Opened(context.new_page()).page
        if clock:
            page.clock.install()
        page.goto(f"{server.url}/?light=day#/drive")
        page.wait_for_selector("[data-screen=drive] .words")
        until(page, "async () => (await import('/js/live.js')).lastId() !== ''")
        page.evaluate(LISTEN)
        return page

    yield open_tab
    context.close()


def say(server, count, at=0):
    """Publishes events as a judge would; gives the id of the last."""
    for k in range(count):
        server.services.ring.publish("judge", {"type": "noted", "k": at + k})
    return server.said()[-1]


def compare(page, server, first):
    """What the page heard after the id `first` is what the server said up to now, each once, in order."""
    newest = server.said()[-1]
    page.wait_for_function(HAS, arg=newest)
    # A drive is going on: it may have said something between the listening and the look at `first`.
    heard = [one for one in page.evaluate("() => window.heard") if number(one) > number(first)]
    after = [one for one in server.said() if number(one) > number(first)]
    assert heard == after[: len(heard)]
    assert number(heard[-1]) >= number(newest)


def number(one):
    """The number in an id."""
    return int(one.rpartition("-")[2])


def test_a_stream_that_is_cut_misses_nothing_and_doubles_nothing(tab, server):
    """Cut five times between and amid events: the page's list is the server's, event by event."""
    page = tab()
    first = page.evaluate("async () => (await import('/js/live.js')).lastId()")
    for k in range(5):
        say(server, 40, k * 40)
        server.wire.cut()
        say(server, 40, k * 40)
    page.wait_for_function(HAS, arg=server.said()[-1])
    compare(page, server, first)
    assert page.evaluate("() => window.late.length") > 0


def test_after_sleep_everything_is_there_and_marked_late(tab, server):
    """Hidden, the page holds no stream; seen again, it gets what happened, marked so that nothing of it is sounded."""
    page = tab(clock=True)
    say(server, 1)
    page.wait_for_function(HAS, arg=server.said()[-1])
    page.evaluate(HIDE, True)
    until(page, "async () => !(await import('/js/live.js')).isLeader()")
    before = page.evaluate("() => window.heard.length")
    slept = say(server, 30)
    asleep = server.said()[-30:]
    began = time.monotonic()
    page.clock.run_for(42_000)
    assert page.evaluate("() => window.heard.length") == before
    note(page, ".rec")
    page.evaluate(HIDE, False)
    page.wait_for_function(HAS, arg=slept)
    late = page.evaluate("() => window.late")
    assert [one for one in late if one in set(asleep)] == asleep
    said = was_said(page, "Back. ")
    # As long as it slept, and what has passed besides by the clock of the world.
    slept_s = int(re.fullmatch(r"Back\. (\d+) s filled in\.", said)[1])
    assert 42 <= slept_s <= 42 + time.monotonic() - began + 1
    page.clock.run_for(3_100)
    page.wait_for_function("(said) => document.querySelector('.rec').textContent !== said", arg=said)


def test_out_of_reach_the_page_does_not_claim_to_know(tab, server):
    """Nothing comes through and nothing is closed: the page says so, and Stop sends people to the laptop.

    The recording goes on; in reach again, the page has everything and says how much was filled in.
    """
    page = tab(clock=True)
    first = page.evaluate("async () => (await import('/js/live.js')).lastId()")
    server.wire.dark = True
    recorded = server.services.ring.last
    page.clock.run_for(9_000)
    wait_for_line(page, "Phone lost the laptop")
    assert page.locator(".rec").inner_text() == "Not known"
    assert page.locator(".what").inner_text().endswith("s old. The laptop records on its own.")
    page.get_by_role("button", name="Stop", exact=True).click()
    page.clock.run_for(600)
    wait_for_line(page, "Stop it at the laptop")
    say(server, 25)
    assert server.services.current.phase == "recording"
    assert server.services.ring.last > recorded
    note(page, ".rec")
    server.wire.dark = False
    server.wire.cut()
    was_said(page, "Back. ")
    page.wait_for_function("() => document.querySelector('.words')?.textContent !== 'Stop it at the laptop'")
    compare(page, server, first)


def test_stop_that_cannot_be_sent_is_said_at_once(tab, server):
    """Pressed before the silence was noticed, Stop does not vanish: the page says where to stop it."""
    page = tab()
    page.route("**/api/drives/current/stop", lambda route: route.abort())
    server.wire.dark = True
    until(page, QUIET)
    page.get_by_role("button", name="Stop", exact=True).click()
    wait_for_line(page, "Stop it at the laptop")
    server.wire.dark = False
    server.wire.cut()


def test_seven_tabs_share_one_stream(tab, server):
    """Seven tabs hold one stream, all live; the one that leads is closed, and another goes on without a gap."""
    pages = [tab() for _ in range(7)]
    firsts = [page.evaluate("async () => (await import('/js/live.js')).lastId()") for page in pages]
    wait(lambda: server.streams == 1, server)
    last = say(server, 20)
    for page in pages:
        page.wait_for_function(HAS, arg=last)
    # What another tab says once more is not taken once more.
    said = "(id) => new BroadcastChannel('coach-live').postMessage({ name: 'judge', id, data: '{}', late: false })"
    pages[3].evaluate(said, server.said()[-2])
    leading = [page.evaluate(LEADS) for page in pages]
    assert leading.count(True) == 1
    leader = leading.index(True)
    pages.pop(leader).close()
    firsts.pop(leader)
    last = say(server, 20, 20)
    for page, first in zip(pages, firsts, strict=True):
        page.wait_for_function(HAS, arg=last)
        compare(page, server, first)
    wait(lambda: server.streams == 1, server)
    assert [page.evaluate(LEADS) for page in pages].count(True) == 1


def test_a_tab_that_is_seen_again_takes_the_lead(tab, server):
    """Whoever comes back goes on from its own last event, and the others miss nothing by it."""
    one, other = tab(), tab()
    first = other.evaluate("async () => (await import('/js/live.js')).lastId()")
    one.evaluate(HIDE, True)
    until(other, "async () => (await import('/js/live.js')).isLeader()")
    away = one.evaluate("async () => (await import('/js/live.js')).lastId()")
    last = say(server, 30)
    other.wait_for_function(HAS, arg=last)
    one.evaluate("() => { window.heard = []; }")
    one.evaluate(HIDE, False)
    until(one, "async () => (await import('/js/live.js')).isLeader()")
    last = say(server, 10, 30)
    for page in (one, other):
        page.wait_for_function(HAS, arg=last)
    compare(other, server, first)
    assert away
    assert len(set(one.evaluate("() => window.heard"))) == len(one.evaluate("() => window.heard"))


def test_a_server_that_is_started_anew_is_heard_from_its_first_word(tab, server):
    """Another boot: the page is told of the gap, and gets everything of the new life, each once."""
    page = tab()
    say(server, 5)
    page.wait_for_function(HAS, arg=server.said()[-1])
    server.kill()
    page.evaluate("() => { window.heard = []; }")
    server.start()
    server.services.ring.publish("judge", {"type": "noted", "k": 1})
    server.drive(speed=1.0)
    last = say(server, 20)
    page.wait_for_function(HAS, arg=last)
    said = server.said()
    heard = page.evaluate("() => window.heard")
    assert heard[: said.index(last) + 1] == said[: said.index(last) + 1]


def wait(condition, server):
    """Waits for something that a connection's end brings about; publishing lets the server notice."""
    end = time.monotonic() + PATIENCE_MS / 1000
    while not condition():
        assert time.monotonic() < end, "it never came true"
        server.services.ring.publish("judge", {"type": "noted"})
        time.sleep(0.02)
