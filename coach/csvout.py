"""A recording as CSV, wide or long: the same bytes for the same samples, and the same samples when read back."""

from __future__ import annotations

import gzip
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO, Literal

import numpy as np
from numpy.typing import NDArray

from coach.recording import US, Recording
from coach.signals import Catalogue

Form = Literal["wide", "long"]

UNREADABLE = "#N/A"
"""What stands for a sample that could not be read; an empty cell is no sample."""

_ROWS = 20_000
_MOST_DECIMALS = 6
_EXACT = 2.0**53


def write_table(recording: Recording, path: Path, catalogue: Catalogue, *, form: Form = "wide") -> None:
    """Writes `recording` to `path`, packed when the name ends in `.gz`.

    Args:
        recording: what people said is not part of a table and is left out.
        path: an existing file is replaced. Where a crash must not leave half a file, write `table_chunks` to a
            temporary one instead.
        catalogue: gives the unit that stands in the header.
        form: `wide` has a column a signal, `long` a row a sample.

    Raises:
        OSError: the file cannot be written.
    """
    with Path(path).open("wb") as file:
        if Path(path).suffix == ".gz":
            # No name and no time in the packed file, so that its bytes depend on the samples only.
            with gzip.GzipFile(filename="", fileobj=file, mode="wb", mtime=0) as packed:
                _write(packed, recording, catalogue, form)
        else:
            _write(file, recording, catalogue, form)


def _write(file: BinaryIO | gzip.GzipFile, recording: Recording, catalogue: Catalogue, form: Form) -> None:
    for chunk in table_chunks(recording, catalogue, form=form):
        file.write(chunk)


def table_chunks(recording: Recording, catalogue: Catalogue, *, form: Form = "wide") -> Iterator[bytes]:
    """The table in pieces of UTF-8, in order: the header, then whole lines ending in a line feed (RFC 4180 quoting).

    Times are seconds from the recording's zero, in milliseconds where every stamp is whole milliseconds, else in
    microseconds. A signal has as many decimals as its step needs, or more where its values have them; values that no
    six decimals can say are written with as many digits as bring back the same number.
    """
    series = {name: s for name, s in recording.series.items() if len(s)}
    values = {name: _texts(s.value, _step(catalogue, name)) for name, s in series.items()}
    none = np.zeros(0, dtype=np.int64)
    if form == "wide":
        yield (",".join(["time [s]", *(_cell(_header(catalogue, name)) for name in series)]) + "\n").encode()
        # A stable sort is quick on runs that are in order; numpy's own `unique` is not.
        stamps = np.sort(np.concatenate([none, *(s.t_us for s in series.values())]), kind="stable")
        stamps = stamps[np.diff(stamps, prepend=stamps[:1] - 1) > 0]
        decimals = _time_decimals(stamps)
        for at in range(0, len(stamps), _ROWS):
            yield _wide_rows(stamps[at : at + _ROWS], decimals, recording, values)
        return
    yield b"time [s],signal,value,unit\n"
    names = list(series)
    t_us = np.concatenate([none, *(s.t_us for s in series.values())])
    which = np.repeat(np.arange(len(names)), [len(series[n]) for n in names])
    place = np.concatenate([none, *(np.arange(len(s)) for s in series.values())])
    order = np.argsort(t_us, kind="stable")
    decimals = _time_decimals(t_us)
    units = [_cell(catalogue[n].unit) if n in catalogue else "" for n in names]
    cells = [_cell(n) for n in names]
    for at in range(0, len(order), _ROWS):
        rows = order[at : at + _ROWS]
        lines = [
            f"{stamp},{cells[k]},{values[names[k]].text(i)},{units[k]}\n"
            for stamp, k, i in zip(
                _stamps(t_us[rows], decimals), which[rows].tolist(), place[rows].tolist(), strict=True
            )
        ]
        yield "".join(lines).encode()


class _Texts:
    """The values of one signal as text, made when asked for."""

    def __init__(self, value: NDArray[np.float64], decimals: int | None) -> None:
        self._value = value + 0.0  # a negative zero is a zero
        self._format = "{!r}" if decimals is None else f"{{:.{decimals}f}}"

    def text(self, i: int) -> str:
        value = float(self._value[i])
        return self._format.format(value) if np.isfinite(value) else UNREADABLE

    def texts(self, begin: int, end: int) -> list[str]:
        say = self._format.format
        part = self._value[begin:end]
        good = np.isfinite(part).tolist()
        return [say(v) if ok else UNREADABLE for v, ok in zip(part.tolist(), good, strict=True)]


def _texts(value: NDArray[np.float64], step: float | None) -> _Texts:
    """Text with the fewest decimals that lose nothing, and no fewer than the signal's step has."""
    good = value[np.isfinite(value)]
    largest = float(np.max(np.abs(good), initial=0.0))
    for decimals in range(_decimals(step), _MOST_DECIMALS + 1):
        # Below 2^53 the quotient is the double nearest to the decimal, which is what any reader of the text gets.
        if largest * 10.0**decimals >= _EXACT:
            break
        if np.array_equal(np.rint(good * 10.0**decimals) / 10.0**decimals, good):
            return _Texts(value, decimals)
    return _Texts(value, None)


def _decimals(step: float | None) -> int:
    """Decimals of a resolution such as 0.25; 0 for one that no few decimals can say, such as 100/255."""
    if step is None:
        return 0
    return next((d for d in range(_MOST_DECIMALS + 1) if round(step, d) == step), 0)


def _step(catalogue: Catalogue, name: str) -> float | None:
    return catalogue[name].step if name in catalogue else None


def _header(catalogue: Catalogue, name: str) -> str:
    unit = catalogue[name].unit if name in catalogue else ""
    return f"{name} [{unit}]" if unit else name


def _cell(text: str) -> str:
    """`text` as a cell: quoted only where it must be."""
    if any(c in text for c in ',"\r\n'):
        return '"' + text.replace('"', '""') + '"'
    return text


def _time_decimals(t_us: NDArray[np.int64]) -> int:
    return 3 if not np.any(t_us % 1000) else 6


def _stamps(t_us: NDArray[np.int64], decimals: int) -> list[str]:
    """Seconds as text, by whole numbers: no binary fraction comes between."""
    unit = 10**decimals
    ticks = (t_us // (US // unit)).tolist()
    return [f"{'-' if n < 0 else ''}{abs(n) // unit}.{abs(n) % unit:0{decimals}d}" for n in ticks]


def _wide_rows(stamps: NDArray[np.int64], decimals: int, recording: Recording, values: dict[str, _Texts]) -> bytes:
    columns = [_stamps(stamps, decimals)]
    for name, texts in values.items():
        t_us = recording.series[name].t_us
        begin = int(np.searchsorted(t_us, stamps[0]))
        end = int(np.searchsorted(t_us, stamps[-1], side="right"))
        column = [""] * len(stamps)
        rows = np.searchsorted(stamps, t_us[begin:end]).tolist()
        for row, text in zip(rows, texts.texts(begin, end), strict=True):
            column[row] = text
        columns.append(column)
    return "".join([",".join(row) + "\n" for row in zip(*columns, strict=True)]).encode()
