"""The edits that write a smaller demand into a recipe as it stands in its file; see `coach.desk.relax`."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from coach.desk.editing import Edit
from coach.signals import Catalogue

_ENDS = ("min", "max")


def edits_of(data: Mapping[str, Any], place: int, key: str, old: float, new: float, catalogue: Catalogue) -> list[Edit]:
    """Edits of one relaxation.

    Args:
        data: the recipe as read from its file.
        place: which capture, from 0.
        key: as a `Relaxation` names it, as in `keep.road_speed.max`.
        old: the value now, in the signal's unit, seconds or hertz.
        new: the value after.
        catalogue: whose units values are in.
    """
    capture = data["capture"][place]
    parts: tuple[str, ...] = tuple(key.split("."))
    if parts[0] == "record":
        return _rate(data, capture, place, parts[1], new)
    if parts[0] in ("hold", "piece", "collect", "grace", "rest", "cells"):
        return [Edit("set", ("capture", place, *parts), f"{new:g} s")]
    path: tuple[str | int, ...] = ("capture", place, *parts)
    if parts[-1] == "within":
        name = next(iter(capture["sweep"]))
        return [Edit("set", ("capture", place, "sweep", name, "within"), f"{new:g} s")]
    signal = catalogue[parts[1]]

    def text(value: float) -> Any:
        unit = signal.unit
        if not unit or signal.discrete:
            return int(value) if value == int(value) else value
        # A difference of temperatures is one of degrees, whatever the scale begins with.
        return f"{value:g} {unit}"

    band = capture[parts[0]].get(parts[1])
    if parts[0] in ("start", "keep") and not isinstance(band, Mapping):
        # One value was both bounds.
        whole = {end: new if end == parts[-1] else old for end in _ENDS}
        if isinstance(band, list):
            whole = {parts[-1]: new}
        return [Edit("remove", path[:-1]), *(Edit("set", (*path[:-1], end), text(v)) for end, v in whole.items())]
    return [Edit("set", path, text(new))]


def _rate(data: Mapping[str, Any], capture: Mapping[str, Any], place: int, signal: str, hz: float) -> list[Edit]:
    own = "record" in capture
    base: tuple[str | int, ...] = ("capture", place, "record", signal) if own else ("record", signal)
    asked = (capture if own else data).get("record", {}).get(signal)
    path = (*base, "rate") if isinstance(asked, Mapping) else base
    return [Edit("set", path, f"{hz:g} Hz")]
