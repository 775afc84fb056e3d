"""What a customer's capture still lacks, in a few words, and what to ask for next. Words only: the check has judged."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from coach.advice.readout import Readouts
from coach.advice.reasons import drive_time, short_text
from coach.core.events import Code, Reason
from coach.core.spec import Band
from coach.recording import US
from coach.review.never import never_part
from coach.shown import METRIC, Units
from coach.signals import Catalogue
from coach.words import Words

ROUND_RPM = 100
LEAST_SPAN_RPM = 500
"""A sweep that would end so soon after the engine speed now is not worth asking for."""


def wanting(
    nearest: Mapping[str, Any], catalogue: Catalogue, words: Words, units: Units = METRIC
) -> dict[str, str]:  # fmt: skip
    """`outcome`; `text` says behind the capture's name how near it came and why, `next` what may be asked for.

    Args:
        nearest: as `coach.bundle.nearest` tells it.
        catalogue: the signals that this desk knows; of another one the name is given.
        words: the language.
        units: the reader's.
    """
    readouts = Readouts(catalogue, words, units)
    reason = _reason(nearest, catalogue)
    said = [_far(nearest, readouts, words)]
    if reason is not None and (reason.signal is None or reason.signal in catalogue):
        said.append(_why(reason, readouts, words, upper=bool(nearest["reason"]["upper"])))
    elif reason is not None:
        said.append(words("desk.wanting.of", name=reason.signal))
    asks = _next(nearest, reason, readouts, words)
    return {"outcome": nearest["outcome"], "text": " ".join(said), "next": asks}


def _why(reason: Reason, readouts: Readouts, words: Words, *, upper: bool) -> str:
    """The reason; on the phone the signal's row stands beside it, here its name must."""
    text = short_text(readouts, words, reason, upper=upper)
    signal = reason.signal
    if reason.code in (Code.LOW, Code.HIGH) and signal is not None and readouts[signal].family != "gear":
        return f"{words.title(readouts[signal].signal)} {text}"
    return text


def _reason(nearest: Mapping[str, Any], catalogue: Catalogue) -> Reason | None:
    told = nearest["reason"]
    if told is None:
        return None
    code = Code(told["code"])
    if code is Code.DRIVE_ENDED or (told["signal"] is not None and told["signal"] not in catalogue):
        # Of a signal of the car's own only the name is known here.
        return Reason(code, round(told["t_s"] * US), told["signal"])
    return Reason(code, round(told["t_s"] * US), told["signal"], told["value"], told["bound"])


def _far(nearest: Mapping[str, Any], readouts: Readouts, words: Words) -> str:
    """How far the best attempt came."""
    outcome, did, of, swept = (nearest[k] for k in ("outcome", "did", "of", "swept"))
    if outcome == "todo":
        parts = [
            never_part(readouts[b["signal"]], words, Band(b["signal"], b["low"], b["high"], b["wander"]))
            for b in nearest["never"]
            if b["signal"] in readouts
        ]
        if parts:
            return words("desk.wanting.never", conditions=words("reason.never.and").join(parts))
        return words("desk.wanting.todo")
    if outcome == "sparse":
        return words("desk.wanting.sparse")
    rpm = nearest["engine_speed"]
    if outcome == "stopped":
        if swept is not None and rpm is not None:
            return words("desk.wanting.stopped_at", rpm=round(rpm / 10) * 10)
        return words("desk.wanting.stopped")
    if swept is not None:
        if swept not in readouts:
            return words("desk.wanting.came", did=f"{did:g}", of=f"{of:g}", unit="")
        readout = readouts[swept]
        return words("desk.wanting.came", did=readout.value(did), of=readout.value(of), unit=readout.unit)
    if did is None or of is None:
        return words("desk.wanting.missed")
    left_s = math.ceil(round(of - did, 6))
    if outcome == "part":
        return words("desk.wanting.part", left=_length(left_s))
    return words("desk.wanting.short", left=_length(left_s))


def _length(seconds: int) -> str:
    return f"{seconds} s" if seconds < 60 else drive_time(seconds * US)


def _next(nearest: Mapping[str, Any], reason: Reason | None, readouts: Readouts, words: Words) -> str:
    """What to ask for, by what ended it."""
    if nearest["outcome"] == "part":
        return words("desk.next.part")
    if reason is None:
        never = next((b for b in nearest["never"] if b["signal"] in readouts), None)
        if never is None:
            return words("desk.next.todo")
        side = "high" if never["low"] is None else "low"
        return words.either(f"desk.next.{side}_{readouts[never['signal']].family}", "desk.next.todo")
    base = f"desk.next.{reason.code.value}"
    rpm = nearest["engine_speed"]
    if reason.code is Code.LIMIT and nearest["swept"] == "engine_speed" and rpm is not None:
        end = math.floor(rpm / ROUND_RPM) * ROUND_RPM
        # It is worth asking for only while most of the sweep is left before it.
        if nearest["progress"] > 0 and end < nearest["of"] and _worth(nearest, end):
            return words(f"{base}_sweep", rpm=end)
    known = reason.signal is not None and reason.signal in readouts
    family = readouts[reason.signal].family if known and reason.signal is not None else "other"
    return words.either(f"{base}_{family}", base)


def _worth(nearest: Mapping[str, Any], end: float) -> bool:
    """Whether a sweep that ends there still has a span; its beginning follows from how far it came."""
    did, of, progress = nearest["did"], nearest["of"], nearest["progress"]
    if not 0 < progress < 1:
        return False
    start = (did - progress * of) / (1 - progress)
    return bool(end - start >= LEAST_SPAN_RPM)
