"""Checks of a capture that collects: its pieces, and whether its cells can be visited."""

from __future__ import annotations

from collections.abc import Iterator

from coach.recipe.check_values import Fault, bounds
from coach.recipe.reach import reach
from coach.recipe.recipe import PIECE_US, CaptureAsked
from coach.shown import show
from coach.signals import Catalogue


def check_collect(capture: CaptureAsked, catalogue: Catalogue) -> Iterator[Fault]:
    """Everything about `collect`, `piece` and `cells`."""
    if capture.collect_us is None:
        for key, there in (("piece", capture.piece_us is not None), ("cells", capture.cells is not None)):
            if there:
                yield Fault("kind", f"{key} belongs to collect", (key,))
        return
    if capture.hold_us is None and capture.sweep is None and not capture.keep:
        yield Fault("no_condition", "pieces need something to keep: give a band under keep", ())
    if capture.times != 1:
        yield Fault("kind", "what is collected is collected once; ask for a longer time instead", ("times",))
    piece = PIECE_US if capture.piece_us is None else capture.piece_us
    where = ("collect",) if capture.piece_us is None else ("piece",)
    if capture.collect_us == 0:
        yield Fault("no_time", "collecting takes time; it must be above 0", ("collect",))
    elif piece == 0:
        yield Fault("no_time", "a piece takes time; it must be above 0", ("piece",))
    elif piece > capture.collect_us:
        yield Fault("piece_over_collect", "one piece is longer than all that is collected", where)
    elif piece <= capture.grace_us:
        yield Fault("hold_under_grace", "a piece is no longer than the grace: any stay outside is excused", where)
    yield from _cells(capture, catalogue)


def _cells(capture: CaptureAsked, catalogue: Catalogue) -> Iterator[Fault]:
    cells = capture.cells
    if cells is None:
        return
    if not cells.wanted:
        yield Fault("no_cell", "every cell is left out: nothing would have to be visited", ("cells", "without"))
    if cells.dwell_us == 0:
        yield Fault("no_time", "a visit takes time; it must be above 0", ("cells", "dwell"))
    kept = {band.signal: bounds(band) for band in capture.keep}
    for place, axis in enumerate(cells.axes):
        signal, path = catalogue[axis.signal], ("cells", "edges", axis.signal)
        if signal.discrete:
            yield Fault("cell_signal", f"{axis.signal} is no measure to cut into cells; ask for it under keep", path)
            continue
        seen = reach(signal, catalogue)
        low, high = kept.get(axis.signal, (seen.low, seen.high))
        for i in sorted({cell[place] for cell in cells.wanted}):
            begin, end = axis.edges[i], axis.edges[i + 1]
            if begin > min(high, seen.high) or end <= max(low, seen.low):
                edges = f"{show(begin, signal.unit)} to {show(end, signal.unit)}"
                why = "under keep" if axis.signal in kept else f"of {axis.signal}"
                yield Fault("cell_never_visited", f"{edges} lies outside what is good {why}; leave that cell out", path)
                break
