"""What the system says of a process: its children, its processor time, its memory, the core that it is kept on."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from coach.bench.processes import family, memory_mb, pin, processor_s

STAT = "{pid} (a (strange) name) S {parent} 1 1 0 -1 0 0 0 0 0 {user} {system} {waited} 5 20 0 1 0 9\n"


@pytest.fixture
def proc(tmp_path: Path) -> Path:
    """Process 1 with 2 below it and 3 below that; 4 is a stranger's."""
    for pid, parent, user in ((1, 0, 100), (2, 1, 20), (3, 2, 3), (4, 0, 5000)):
        folder = tmp_path / str(pid)
        folder.mkdir()
        (folder / "stat").write_text(STAT.format(pid=pid, parent=parent, user=user, system=7, waited=2))
        (folder / "statm").write_text("1000 250 10 1 0 5 0\n")
    return tmp_path


def test_a_family_is_a_process_and_all_below_it(proc: Path) -> None:
    """Names with brackets confuse nobody; a process that is gone has no family."""
    assert family(1, proc) == [1, 2, 3]
    assert family(2, proc) == [2, 3]
    assert family(9, proc) == []


def test_processor_time_counts_the_family_and_those_it_waited_for(proc: Path) -> None:
    """In ticks of the system: user, system, and both of children that have ended."""
    ticks = (100 + 20 + 3) + 3 * 7 + 3 * 2 + 3 * 5
    assert processor_s(1, proc) == pytest.approx(ticks / os.sysconf("SC_CLK_TCK"))
    assert processor_s(9, proc) == 0.0


def test_memory_is_what_is_resident(proc: Path) -> None:
    """Pages, in millions of bytes; nothing where the system does not say."""
    assert memory_mb(3, proc) == pytest.approx(250 * os.sysconf("SC_PAGE_SIZE") / 1e6)
    assert memory_mb(9, proc) == 0.0


def test_a_process_that_ends_meanwhile_is_left_out(proc: Path) -> None:
    """Its folder may be there a moment longer than what stands in it."""
    (proc / "3" / "stat").unlink()
    assert family(1, proc) == [1, 2]
    assert processor_s(2, proc) == pytest.approx((20 + 7 + 2 + 5) / os.sysconf("SC_CLK_TCK"))


@pytest.mark.skipif(not hasattr(os, "sched_setaffinity"), reason="this system keeps no process on a core")
def test_a_process_is_kept_on_one_core() -> None:
    """Every thread of it."""
    with subprocess.Popen([sys.executable, "-c", "input()"], stdin=subprocess.PIPE) as process:
        core = max(os.sched_getaffinity(0))
        pin(process.pid, core)
        assert os.sched_getaffinity(process.pid) == {core}
        process.communicate(b"\n")
