"""The queue before the loop: it holds a source back, and lets one work at a time."""

import threading

import pytest

from coach.drive.inbox import Closed, Inbox
from coach.sources.base import Advance, Instant


def test_a_full_inbox_makes_the_source_wait_and_loses_nothing():
    """The bounded queue holds a source back until the loop has taken."""
    inbox = Inbox(2)
    done = []

    def push():
        for k in range(5):
            inbox.put(Instant(k, {}))
        done.append(True)

    thread = threading.Thread(target=push)
    thread.start()
    got = []
    while len(got) < 5:
        got += inbox.take(10)[1]
        assert len(got) <= 5
    thread.join(60)
    assert [i.t_us for i in got] == [0, 1, 2, 3, 4]
    assert done == [True]
    inbox.put(Instant(9, {}))
    question = inbox.ask(lambda: 1)
    inbox.close()
    assert question.cancelled()
    with pytest.raises(Closed):
        inbox.put(Instant(9, {}))
    with pytest.raises(Closed):
        inbox.ask(lambda: 1)


def test_instants_are_taken_at_once_while_nothing_waits():
    """By the thread that puts them; behind the reader's back nothing is: then they wait for it, in order."""
    took = []
    inbox = Inbox(at_once=lambda event: took.append((event.t_us, threading.current_thread())))
    here = threading.current_thread()
    inbox.put(Instant(0, {}))
    assert took == [(0, here)]
    inbox.put(Advance(5))
    inbox.put(Instant(6, {}))
    assert inbox.take(0)[1] == [Advance(5), Instant(6, {})]
    inbox.put(Instant(7, {}))  # the reader is at work until it comes again
    assert inbox.take(0)[1] == [Instant(7, {})]
    assert inbox.take(0) == ([], [])
    inbox.put(Instant(8, {}))
    assert inbox.take(0)[1] == [Instant(8, {})]
    inbox.prompt = False
    inbox.put(Instant(9, {}))
    assert inbox.take(0)[1] == [Instant(9, {})]
    assert len(took) == 1


def test_a_reader_waits_for_what_is_being_taken():
    """Commands come between two instants, never within one, however fast these come; and none is kept waiting."""
    took, told, over = [], [], threading.Event()
    at_work = threading.Lock()

    def work(what):
        assert at_work.acquire(blocking=False)
        took.append(what)
        at_work.release()

    inbox = Inbox(at_once=lambda event: work(event.t_us))

    def read():
        while not over.is_set():
            commands, events = inbox.take(0.01)
            for command, result in commands:
                result.set_result(command())
            for event in events:
                work(event.t_us)

    reader = threading.Thread(target=read)
    reader.start()

    def ask():
        told.extend(inbox.ask(lambda k=k: work(f"ask {k}")).exception(60) for k in range(200))

    asking = threading.Thread(target=ask)
    asking.start()
    count = 0
    while asking.is_alive():
        inbox.put(Instant(count, {}))
        count += 1
    asking.join()
    assert inbox.ask(lambda: None).exception(60) is None
    over.set()
    reader.join()
    assert told == [None] * 200
    assert [x for x in took if isinstance(x, int)] == list(range(count))
    assert [x for x in took if isinstance(x, str)] == [f"ask {k}" for k in range(200)]
