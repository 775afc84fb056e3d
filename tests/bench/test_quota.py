"""Part of the processor can be taken away, by a group or in turns, and is given back."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from coach.bench.quota import PERIOD_US, Group, Turns, quota
from coach.clock import HandClock

pytestmark = pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="only Linux says what runs")


@pytest.fixture
def child() -> Iterator[int]:
    """A process that waits for the end of its input."""
    with subprocess.Popen([sys.executable, "-c", "input()"], stdin=subprocess.PIPE) as process:
        yield process.pid
        assert process.stdin is not None
        process.stdin.write(b"\n")


def second(root: Path) -> Path:
    (root / "cgroup.controllers").write_text("cpu memory\n")
    return root


def first(root: Path) -> Path:
    (root / "cpu").mkdir()
    (root / "cpu" / "cpu.cfs_quota_us").write_text("-1\n")
    return root


def test_a_group_of_version_2_holds_the_process_to_its_share(tmp_path: Path, child: int) -> None:
    """`cpu.max` has the microseconds of a period; all of a core is no limit."""
    group = Group(child, second(tmp_path))
    own = tmp_path / f"coach-bench-{child}"
    assert (own / "cgroup.procs").read_text() == f"{child}\n"
    assert (own / "cpu.max").read_text() == f"max {PERIOD_US}"
    group.set(0.25)
    assert (own / "cpu.max").read_text() == f"25000 {PERIOD_US}"
    assert group.name == "a control group, version 2"
    group.close()
    assert (tmp_path / "cgroup.procs").read_text() == f"{child}\n"


def test_a_group_of_version_1_too(tmp_path: Path, child: int) -> None:
    """There it is `cpu.cfs_quota_us`, and -1 is no limit."""
    group = Group(child, first(tmp_path))
    own = tmp_path / "cpu" / f"coach-bench-{child}"
    assert (own / "cpu.cfs_quota_us").read_text() == "-1"
    group.set(0.1)
    assert (own / "cpu.cfs_quota_us").read_text() == "10000"
    group.close()
    assert (tmp_path / "cpu" / "cgroup.procs").read_text() == f"{child}\n"


def test_where_no_group_can_be_made_it_is_turns(tmp_path: Path, child: int) -> None:
    """No such folder, or no right to write there: the process is stopped and continued instead."""
    with pytest.raises(FileNotFoundError, match="no group for processor time"):
        Group(child, tmp_path)
    limit = quota(child, HandClock(), tmp_path)
    assert isinstance(limit, Turns)
    limit.close()
    made = quota(child, HandClock(), second(tmp_path))
    assert isinstance(made, Group)
    made.close()


def test_a_group_that_cannot_be_set_is_taken_away_again(
    tmp_path: Path, child: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nothing is left behind."""

    def refuse(self: Group, share: float) -> None:
        raise PermissionError(13, "not yours")

    monkeypatch.setattr(Group, "set", refuse)
    with pytest.raises(PermissionError):
        Group(child, second(tmp_path))
    assert not (tmp_path / f"coach-bench-{child}").exists()


class Slow(HandClock):
    """A hand clock that ends the test after so many waits, and keeps how long each was."""

    def __init__(self, waits: int, over: threading.Event) -> None:
        super().__init__()
        self.waited: list[float] = []
        self._waits, self._over = waits, over

    def wait(self, event: threading.Event, seconds: float) -> bool:
        self.waited.append(round(seconds, 6))
        if len(self.waited) >= self._waits:
            self._over.set()
            return event.wait(60)
        return super().wait(event, seconds)


def test_turns_stop_the_process_for_the_rest_of_every_period(child: int) -> None:
    """A quarter: stopped for 75 ms, running for 25 ms; at the end it runs."""
    sent: list[tuple[int, int]] = []
    over = threading.Event()
    clock = Slow(6, over)
    ready = threading.Event()

    class Quarter(Turns):
        def _run(self) -> None:
            ready.wait(60)
            super()._run()

    turns = Quarter(child, clock, lambda pid, number: sent.append((pid, number)))
    turns.set(0.25)
    ready.set()
    assert over.wait(60)
    turns.close()
    assert clock.waited == [0.075, 0.025] * 3
    assert sent == [(child, signal.SIGSTOP), (child, signal.SIGCONT)] * 3
    assert turns.name == "stopped and continued in turns"


def test_all_of_a_core_stops_nobody(child: int) -> None:
    """And a process that has ended is no error."""
    over = threading.Event()
    sent: list[int] = []
    turns = Turns(child, Slow(2, over), lambda _pid, number: sent.append(number))
    assert over.wait(60)
    turns.close()
    assert sent == []

    def gone(_pid: int, _number: int) -> None:
        raise ProcessLookupError

    turns._send = gone
    turns._all(signal.SIGSTOP)
    assert os.getpid() != child
