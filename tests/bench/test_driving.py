"""What is asked of the server while it drives, and how what came of it is counted."""

from __future__ import annotations

import io
import threading
from pathlib import Path

import pytest

from coach.bench import driving, watched
from coach.bench.client import Client, Loading
from coach.bench.driving import Phase, percentile
from coach.bench.watched import Stamps, stamped
from coach.clock import HandClock
from coach.drive import drive as drive_module
from coach.drive.inbox import Inbox
from coach.sources.base import Advance, Instant


def test_percentiles() -> None:
    """The smallest that so many do not exceed; none of nothing."""
    assert percentile([3.0, 1.0, 2.0, 4.0], 0.5) == 3.0
    assert percentile([float(n) for n in range(100)], 0.99) == 99.0
    assert percentile([1.0], 0.99) == 1.0
    assert percentile([], 0.99) == 0.0


def test_a_phase_counts_its_own_samples_and_verdicts() -> None:
    """By the steady clock; both ends included."""
    phase = Phase(1_000_000, 3_000_000, 0.03, 300, 90.0)
    assert phase.rate_hz == 150.0
    took = [(999_999, 9.0), (1_000_000, 1.0), (3_000_000, 2.0), (3_000_001, 9.0)]
    assert driving._within(took, phase) == [1.0, 2.0]


def test_on_less_says_what_was_kept_and_what_a_smaller_machine_would_need() -> None:
    """Rates against those with all of a core; shares by the assumed ratio of the cores."""
    quiet = Phase(0, 1_000_000, 0.03, 150, 90.0)
    small = {0.25: Phase(2_000_000, 3_000_000, 0.03, 75, 90.0)}
    rows = {f.what: f for f in driving._on_less(quiet, small, "turns", [(2_500_000, 7.0)])}
    kept = rows["with 25 % of a core: samples, of those recorded with all of it"]
    assert (kept.value, kept.met) == (50.0, False)
    assert rows["with 25 % of a core: 99 of 100 verdicts are faster than"].value == 7.0
    need = rows["Raspberry Pi 4, if its core is 4 times slower: share of one core"]
    assert need.value == pytest.approx(12.0)
    assert need.met is True


def test_where_no_core_can_be_chosen_the_row_says_so() -> None:
    """Not a failure."""
    (row,) = driving._on_less(Phase(0, 1, 0.1, 1, 1.0), {}, "none: this system cannot", [])
    assert (row.what, row.value) == ("not measured: none: this system cannot", None)


def test_stamps_take_the_time_from_the_queue_to_the_verdict(tmp_path: Path) -> None:
    """An instant is stamped when it comes and when it is judged; a promise of the source is no sample."""
    stamps = Stamps(HandClock(now_us=5))
    instant = Instant(1, {"road_speed": 80.0})
    stamps.came(instant)
    stamps.came(Advance(2))
    stamps.judged(Advance(2))
    stamps.judged(Instant(1, {}))
    assert stamps.took == []
    stamps.judged(instant)
    ((at_us, took_us),) = stamps.took
    assert at_us == 5
    assert took_us > 0
    stamps.write(tmp_path / "stamps")
    assert (tmp_path / "stamps").read_text().split() == ["5", f"{took_us:.1f}"]


def test_only_drives_begun_inside_are_stamped() -> None:
    """The product is left as it was."""
    stamps = Stamps(HandClock())
    with stamped(stamps):
        inbox = drive_module.Inbox()
        assert isinstance(inbox, Inbox)
        assert type(inbox) is not Inbox
        event = Instant(1, {})
        inbox.put(event)
        assert inbox.take(0.0)[1] == [event]
    assert drive_module.Inbox is Inbox


def test_the_watched_server_serves_until_its_input_ends(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """It says its address first, and leaves its stamps."""

    def serve(**given: object) -> None:
        ready, stop = given["on_ready"], given["stop"]
        assert callable(ready)
        assert isinstance(stop, threading.Event)
        ready("http://127.0.0.1:1/")
        assert stop.wait(60)

    monkeypatch.setattr(watched, "serve", serve)
    monkeypatch.setattr("sys.stdin", io.StringIO(""))
    watched.main(tmp_path, tmp_path / "recipe.toml", "socket://127.0.0.1:1")
    assert capsys.readouterr().out == "http://127.0.0.1:1/\n"
    assert (tmp_path / watched.STAMPS).read_text() == ""


def test_an_answer_that_is_an_error_is_raised(monkeypatch: pytest.MonkeyPatch) -> None:
    """A benchmark of refusals measures nothing; a drive that never ends is given up."""

    class Answer:
        status = 409

        def read(self) -> bytes:
            return b'{"error": {"code": "conflict"}}'

    class Connection:
        def __init__(self, *_: object, **__: object) -> None: ...
        def request(self, *_: object) -> None: ...
        def close(self) -> None: ...
        def getresponse(self) -> Answer:
            return Answer()

    monkeypatch.setattr("coach.bench.client.HTTPConnection", Connection)
    client = Client("http://127.0.0.1:1/")
    with pytest.raises(OSError, match=r"GET /api/drives/x.*conflict"):
        client.samples("x")
    monkeypatch.setattr(client, "drive", lambda _: {"phase": "recording"})
    with pytest.raises(TimeoutError, match="the drive x does not end"):
        client.over(HandClock(), "x")
    assert Loading(client, "x").files == 0
