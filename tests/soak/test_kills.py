"""Twenty servers killed while recording: everything that the page had been told is there. `run.py soak` kills 200."""

import os
from threading import Event

import pytest

from coach.soak.kills import Kills, Page, kill

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="servers are forked")


@pytest.fixture(scope="module")
def kills(tmp_path_factory) -> Kills:
    return kill(tmp_path_factory.mktemp("kills"), 20, seed=7)


def test_every_promise_is_kept(kills):
    """Every acknowledged sample, every saved window, recovered, and the verdict of exactly these samples."""
    assert kills.broken == []
    assert kills.survived == kills.kills == 20
    assert kills.lost_samples == 0


def test_the_kills_came_while_something_was_going_on(kills):
    """Else they would prove nothing: drives were being recorded, with samples in them and windows saved."""
    assert kills.recording >= 15
    assert kills.samples > 20_000
    assert kills.saved >= 5


def test_a_page_remembers_what_it_was_told():
    """Only what was said: a window is saved when it was said to be, not when it was secured."""
    page = Page.__new__(Page)
    page.drive, page.stored_us, page.shown_us, page.saved = None, -1, 0, set()
    page.secured, page.any_saved = Event(), Event()
    page._take("state", {"drive": {"id": None, "t_s": 0.0}})
    assert page.drive is None
    page._take("state", {"drive": {"id": "d", "t_s": 2.5, "stored_s": 0.0}})
    assert (page.drive, page.stored_us, page.shown_us) == ("d", -1, 2_500_000)
    page._take("state", {"drive": {"id": "d", "t_s": 3.0, "stored_s": 2.75}})
    page._take("judge", {"type": "secured", "capture": "a", "number": 0})
    assert (page.stored_us, page.saved) == (2_750_000, set())
    assert not page.any_saved.is_set()
    page._take("saved", {"capture": "a", "number": 0})
    assert page.saved == {("a", 0)}
    assert page.secured.is_set()
    assert page.any_saved.is_set()
