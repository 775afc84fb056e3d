"""The pieces of a capture that collects: their time together, and how long each cell was visited (rules 44 to 46).

Keeps no samples: a row of visits, as long as what may still turn out not to belong to the running piece's window.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import deque
from collections.abc import Sequence

from coach.core.spec import Axis, Collect
from coach.core.tracks import Condition

Visit = tuple[int, int, int]
"""From, at most until, and the cell as an index into all cells, row by row."""


class Pieces:
    """Sums up the pieces of one capture. It must be told every instant of its axes while an attempt runs.

    Attributes:
        total_us: time of the pieces that ended.
        dwell_us: by cell, within the pieces that ended; empty without cells.
        axes: the signals whose values name the cell, as tracks; of no derivation that says things after the fact.
    """

    def __init__(self, spec: Collect, axes: Sequence[Condition]) -> None:
        self.spec = spec
        self.axes = list(axes)
        self.total_us = 0
        cells = 1
        for axis in spec.axes:
            cells *= axis.cells
        self.dwell_us = [0] * (cells if spec.axes else 0)
        self.wanted = [index_of(spec.axes, cell) for cell in spec.wanted]
        self._visits: deque[Visit] = deque()
        self._sure = list(self.dwell_us)

    def visit(self, t_us: int) -> None:
        """Note the cell at `t_us`, the judge's present, in the running attempt."""
        cell, until = self._cell(t_us), min([c.until for c in self.axes])
        visits = self._visits
        if visits:
            began, last_until, last_cell = visits[-1]
            if cell == last_cell and t_us <= last_until:
                visits[-1] = began, until, last_cell
                return
            visits[-1] = began, min(last_until, t_us), last_cell
        if cell is not None:
            visits.append((t_us, until, cell))

    def _cell(self, t_us: int) -> int | None:
        found = []
        for axis, c in zip(self.spec.axes, self.axes, strict=True):
            last = c.latest(t_us)
            if last is None or not c.good or t_us > c.until:
                return None
            i = bisect_right(axis.edges, last[1]) - 1
            if not 0 <= i < axis.cells:
                return None
            found.append(i)
        return index_of(self.spec.axes, found)

    def forget(self, sure_us: int) -> None:
        """The running window will not end before `sure_us`: visits up to there need not be kept one by one."""
        visits = self._visits
        while visits and visits[0][1] <= sure_us:
            began, until, cell = visits.popleft()
            self._sure[cell] += until - began

    def running(self, vouched_us: int) -> list[int]:
        """Dwell by cell in the running attempt up to `vouched_us`."""
        made = list(self._sure)
        for began, until, cell in self._visits:
            if began >= vouched_us:
                break
            made[cell] += min(until, vouched_us) - began
        return made

    def end(self, start_us: int, end_us: int, *, piece: bool) -> None:
        """The attempt ended with this window; `piece` says whether it was secured."""
        if piece:
            self.total_us += end_us - start_us
            if self.dwell_us:
                self.dwell_us = [a + b for a, b in zip(self.dwell_us, self.running(end_us), strict=True)]
        self._visits.clear()
        self._sure = [0] * len(self.dwell_us)

    def reached(self, start_us: int | None, vouched_us: int) -> bool:
        """Whether all is collected, the running secured piece counted up to `vouched_us` if there is one."""
        total, dwell = self.sums(start_us, vouched_us)
        return total >= self.spec.total_us and all(dwell[i] >= self.spec.dwell_us for i in self.wanted)

    def sums(self, start_us: int | None, vouched_us: int) -> tuple[int, list[int]]:
        """Time in all and by cell, the running secured piece counted up to `vouched_us` if there is one."""
        if start_us is None or vouched_us <= start_us:
            return self.total_us, self.dwell_us
        total = self.total_us + vouched_us - start_us
        if not self.dwell_us:
            return total, self.dwell_us
        return total, [a + b for a, b in zip(self.dwell_us, self.running(vouched_us), strict=True)]

    @property
    def backlog(self) -> int:
        """How many visits are kept one by one."""
        return len(self._visits)


def index_of(axes: Sequence[Axis], cell: Sequence[int]) -> int:
    """A cell's place among all cells, row by row."""
    found = 0
    for axis, i in zip(axes, cell, strict=True):
        found = found * axis.cells + i
    return found
