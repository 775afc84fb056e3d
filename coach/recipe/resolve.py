"""From the file's texts to numbers in the catalogue's units. Collects what does not fit and goes on."""

from __future__ import annotations

import hashlib
from bisect import bisect_right
from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import pairwise, product
from typing import Any

from coach.core.spec import Axis, Band
from coach.errors import UnitError
from coach.recipe.findings import Finding, nearest, path_words
from coach.recipe.lines import Path, line_of
from coach.recipe.model import BandTable, CaptureTable, CellsTable, LimitTable, RateTable, RecipeFile, SweepTable
from coach.recipe.recipe import CaptureAsked, CellsAsked, LimitAsked, Recipe, RecordAsked, SweepAsked
from coach.signals import Catalogue, Quantity, Signal
from coach.units import parse_duration_us, parse_quantity, parse_rate_hz


def resolve_file(
    file: RecipeFile, data: dict[str, Any], lines: Mapping[Path, int], source: bytes, name: str, catalogue: Catalogue
) -> tuple[Recipe, list[Finding]]:
    """The recipe in canonical units, without what could not be resolved, and what was wrong with that."""
    reader = _Reader(catalogue, data, lines)
    recipe = Recipe(
        title=file.title,
        revision=file.revision,
        captures=tuple(reader.capture(c, ("capture", i)) for i, c in enumerate(file.capture)),
        record=reader.record(file.record, ("record",)),
        note=file.note,
        vehicle=file.vehicle,
        calibration=tuple(file.calibration),
        settle_km=reader.amount(file.settle, "distance", ("settle",)),
        name=name,
        source=source,
        sha256=hashlib.sha256(source).hexdigest(),
        lines=dict(lines),
    )
    return recipe, reader.findings


class _Reader:
    """Reads one file; every method takes the path of what it reads."""

    def __init__(self, catalogue: Catalogue, data: dict[str, Any], lines: Mapping[Path, int]) -> None:
        self.catalogue = catalogue
        self.data = data
        self.lines = lines
        self.findings: list[Finding] = []

    def fault(self, code: str, message: str, path: Path) -> None:
        where = path_words(path, self.data)
        self.findings.append(Finding("error", code, message, where, line_of(self.lines, path), path))

    def signal(self, name: str, path: Path) -> Signal | None:
        if name in self.catalogue:
            return self.catalogue[name]
        known = [s.name for s in self.catalogue]
        same = self.catalogue.by_column(name)
        hint = f"; did you mean {same.name}?" if same is not None else nearest(name, known)
        self.fault("unknown_signal", f'there is no signal "{name[:60]}"{hint}', path)
        return None

    def amount(self, text: Any, what: Signal | Quantity, path: Path, *, difference: bool = False) -> float | None:
        if text is None:
            return None
        try:
            value = parse_quantity(text, what, difference=difference)
        except UnitError as error:
            self.fault("bad_unit", error.message, path)
            return None
        if difference and value < 0:
            self.fault("negative", f'"{text}" is negative; write the distance without a sign', path)
            return None
        return value

    def time(self, text: Any, path: Path, default: int | None = None) -> int | None:
        if text is None:
            return default
        try:
            return parse_duration_us(text)
        except UnitError as error:
            self.fault("bad_unit", error.message, path)
            return default

    def record(self, tables: Mapping[str, RateTable], path: Path) -> dict[str, RecordAsked]:
        found = {}
        for name, table in tables.items():
            here = (*path, name)
            least = self.amount(table.least, "percent", (*here, "least"))
            if least is not None and not 0 < least <= 100:
                self.fault("out_of_range", "least is a share above 0 % and up to 100 %", (*here, "least"))
                least = None
            gap_us = self.time(table.gap, (*here, "gap"))
            if gap_us == 0:
                self.fault("out_of_range", "a gap of no length can never be kept", (*here, "gap"))
            signal = self.signal(name, here)
            try:
                rate_hz = parse_rate_hz(table.rate)
            except UnitError as error:
                self.fault("bad_unit", error.message, (*here, "rate"))
                continue
            if signal is not None:
                share = 0.8 if least is None else least / 100
                found[name] = RecordAsked(name, rate_hz, gap_us, share, table.need)
        return found

    def bands(self, tables: Mapping[str, BandTable], path: Path) -> tuple[Band, ...]:
        found = []
        for name, table in tables.items():
            here = (*path, name)
            signal = self.signal(name, here)
            if signal is None:
                continue
            low = self.amount(table.min, signal, (*here, "min"))
            # One value alone stands for both bounds: what is wrong with it is said once.
            high = low if table.max is table.min else self.amount(table.max, signal, (*here, "max"))
            wander = self.amount(table.wander, signal, (*here, "wander"), difference=True)
            if table.min is table.max is table.wander is None:
                self.fault("empty_band", "a band needs at least one of min, max and wander", here)
            else:
                found.append(Band(name, low, high, wander))
        return tuple(found)

    def limits(self, tables: Mapping[str, LimitTable], path: Path) -> tuple[LimitAsked, ...]:
        found = []
        for name, table in tables.items():
            here = (*path, name)
            signal = self.signal(name, here)
            after_us = self.time(table.after, (*here, "after"), 0) or 0
            for_us = self.time(table.for_, (*here, "for"), 0) or 0
            if (table.min is None) == (table.max is None):
                self.fault("limit_ends", "a limit needs exactly one of min and max", here)
            elif signal is not None:
                low = self.amount(table.min, signal, (*here, "min"))
                high = self.amount(table.max, signal, (*here, "max"))
                if low is not None or high is not None:
                    found.append(LimitAsked(name, high, low, table.scope, after_us, for_us))
        return tuple(found)

    def sweep(self, tables: Mapping[str, SweepTable], path: Path) -> SweepAsked | None:
        if len(tables) != 1:
            self.fault("sweep_signals", f"a sweep runs exactly one signal; here are {len(tables)}", path)
            return None
        ((name, table),) = tables.items()
        here = (*path, name)
        signal = self.signal(name, here)
        within_us = self.time(table.within, (*here, "within"))
        if signal is None:
            return None
        start = self.amount(table.from_, signal, (*here, "from"))
        to = self.amount(table.to, signal, (*here, "to"))
        dip = self.amount(table.dip, signal, (*here, "dip"), difference=True)
        late = self.amount(table.late, signal, (*here, "late"), difference=True)
        if start is None or to is None:
            return None
        return SweepAsked(name, start, to, dip, within_us, late)

    def cells(self, table: CellsTable, path: Path) -> CellsAsked | None:
        axes = []
        for name, texts in table.edges.items():
            here = (*path, "edges", name)
            signal = self.signal(name, here)
            if signal is None:
                continue
            edges = [self.amount(text, signal, here) for text in texts]
            known = tuple(edge for edge in edges if edge is not None)
            if any(a >= b for a, b in pairwise(known)):
                self.fault("cell_edges", "the edges of cells rise from each to the next", here)
            elif len(known) == len(edges):
                axes.append(Axis(name, known))
        dwell_us = self.time(table.dwell, (*path, "dwell"))
        if len(axes) < len(table.edges) or dwell_us is None:
            return None
        left_out = {self.cell(point, axes, (*path, "without", i)) for i, point in enumerate(table.without)}
        every = product(*(range(axis.cells) for axis in axes))
        return CellsAsked(tuple(axes), dwell_us, tuple(cell for cell in every if cell not in left_out))

    def cell(self, point: Mapping[str, Any], axes: Sequence[Axis], path: Path) -> tuple[int, ...] | None:
        """The cell in which a point lies, or None with what is wrong."""
        if set(point) != {axis.signal for axis in axes}:
            names = " and ".join(axis.signal for axis in axes)
            self.fault("cell_point", f"a cell that needs no visit is named by a value of {names}", path)
            return None
        found = []
        for axis in axes:
            value = self.amount(point[axis.signal], self.catalogue[axis.signal], (*path, axis.signal))
            if value is None:
                return None
            i = bisect_right(axis.edges, value) - 1
            if not 0 <= i < axis.cells:
                self.fault("cell_point", "this value lies in none of the cells", (*path, axis.signal))
                return None
            found.append(i)
        return tuple(found)

    def capture(self, table: CaptureTable, path: Path) -> CaptureAsked:
        stale = {}
        for name, text in (table.stale_after or {}).items():
            here = (*path, "stale_after", name)
            us = self.time(text, here)
            if us is not None and (name == "" or self.signal(name, here) is not None):
                stale[name] = us
        asked = CaptureAsked(
            id=table.id,
            title=table.title or table.id,
            ask=table.ask,
            place=table.place,
            times=table.times,
            hold_us=self.time(table.hold, (*path, "hold")),
            collect_us=self.time(table.collect, (*path, "collect")),
            piece_us=self.time(table.piece, (*path, "piece")),
            cells=None if table.cells is None else self.cells(table.cells, (*path, "cells")),
            sweep=None if table.sweep is None else self.sweep(table.sweep, (*path, "sweep")),
            start=self.bands(table.start, (*path, "start")),
            keep=self.bands(table.keep, (*path, "keep")),
            limits=self.limits(table.limit, (*path, "limit")),
            record=None if table.record is None else self.record(table.record, (*path, "record")),
        )
        return self._more(asked, table, path, stale)

    def _more(self, asked: CaptureAsked, table: CaptureTable, path: Path, stale: Mapping[str, int]) -> CaptureAsked:
        """The keys that say how the capture is judged, not what."""

        def time(key: str, default: int) -> int:
            us = self.time(getattr(table, key), (*path, key), default)
            return default if us is None else us

        return replace(
            asked,
            grace_us=time("grace", 0),
            max_excursions=table.max_excursions,
            stale_after_us=stale,
            warn_ahead_us=time("warn_ahead", 700_000),
            then_us=self.time(table.then, (*path, "then")),
            rest_us=time("rest", 0),
            needs=tuple(table.needs),
            after_limit=table.after_limit,
            confirm=tuple(table.confirm),
            before_us=time("before", 10_000_000),
            after_us=time("after", 10_000_000),
        )
