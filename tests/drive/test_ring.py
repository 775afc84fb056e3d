"""The ring of messages: gapless for who keeps up, honest for who does not."""

import threading

from hypothesis import given
from hypothesis import strategies as st

from coach.drive.ring import Ring


@given(st.integers(1, 8), st.integers(0, 20), st.integers(0, 25))
def test_who_asks_gets_all_that_came_since_or_is_told_that_some_is_gone(capacity, count, since):
    """Never a gap without saying so."""
    ring = Ring(capacity)
    for k in range(count):
        ring.publish("judge", {"k": k})
    got = ring.since(since)
    if since > count or count - since > capacity:
        assert got is None
    else:
        assert [m.sequence for m in got] == list(range(since + 1, count + 1))
        assert [m.data["k"] for m in got] == list(range(since, count))


def test_the_newest_state_is_kept_however_old_it_is():
    """A listener that comes late gets a snapshot."""
    ring = Ring(2)
    ring.publish("state", {"a": 1})
    for _ in range(5):
        ring.publish("judge", {})
    assert ring.state == {"a": 1}
    assert ring.last == 6


def test_a_message_is_turned_into_text_once():
    """All listeners share the text."""
    ring = Ring()
    ring.publish("state", {"a": "é"})
    (message,) = ring.since(0)
    assert message.text() == '{"a":"é"}'
    assert message.text() is message.text()


def test_waiting_ends_with_a_message_and_with_close():
    """A listener sleeps until there is something to tell."""
    ring = Ring()
    got = []
    thread = threading.Thread(target=lambda: got.append(ring.wait(0, 30)))
    thread.start()
    ring.publish("judge", {"a": 1})
    thread.join(60)
    assert [m.data for m in got[0]] == [{"a": 1}]
    thread = threading.Thread(target=lambda: got.append(ring.wait(1, 30)))
    thread.start()
    ring.close()
    thread.join(60)
    assert got[1] == []
    assert ring.closed
