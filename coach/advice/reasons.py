"""Reasons as sentences: what it was, against what, and when; bounds as the readings that pass."""

from __future__ import annotations

from coach.advice.readout import Readout, Readouts
from coach.core.events import Attempt, Code, Outcome, Reason
from coach.core.spec import Capture
from coach.shown import show_difference
from coach.words import Words

_SECONDS = (Code.STALE, Code.GAP, Code.SLOW, Code.LIMIT_UNSEEN, Code.EXCURSIONS)


def drive_time(t_us: int) -> str:
    """A time from the drive's start, as `14:32` or `1:04:09`, rounded down as a clock is read."""
    seconds = max(0, t_us) // 1_000_000
    hours, minutes = seconds // 3600, seconds // 60 % 60
    return f"{hours}:{minutes:02d}:{seconds % 60:02d}" if hours else f"{minutes}:{seconds % 60:02d}"


def reason_text(
    readouts: Readouts, words: Words, reason: Reason, *, max_excursions: int | None = None, upper: bool = True
) -> str:
    """The sentence for a reason, as in: Too fast: 91 km/h against 88 at 14:32.

    Args:
        readouts: signals in the reader's units.
        words: the language.
        reason: what ended the attempt.
        max_excursions: the capture's cap, to tell a count of excursions from seconds.
        upper: whether a limit is an upper one.
    """
    base = f"reason.{reason.code.value}"
    family = ""
    if reason.signal is not None:
        family = "gear" if readouts[reason.signal].family == "gear" else reason.signal
    kinds = [family] if family else []
    if reason.code is Code.EXCURSIONS and max_excursions is not None and reason.bound == max_excursions:
        kinds.insert(0, "counted")
    keys = [f"{base}.{kind}" for kind in kinds]
    return words.either(*keys, f"{base}.text", **_values(readouts, words, reason, upper=upper))


def short_reason(readouts: Readouts, words: Words, attempt: Attempt, capture: Capture) -> str:
    """The same without the time, for the page, as in: 91 km/h against 88."""
    reason = attempt.reason
    if reason is None:
        return ""
    upper = next((x.high is not None for x in capture.limits if x.signal == reason.signal), True)
    return short_text(readouts, words, reason, upper=upper)


def short_text(readouts: Readouts, words: Words, reason: Reason, *, upper: bool = True) -> str:
    """A reason without the time; `upper` says whether a limit is an upper one."""
    base = f"reason.{reason.code.value}"
    gear = reason.signal is not None and readouts[reason.signal].family == "gear"
    key = f"{base}.short_gear" if gear and f"{base}.short_gear" in words else f"{base}.short"
    return words(key, **_values(readouts, words, reason, upper=upper))


def remedy_text(readouts: Readouts, words: Words, attempt: Attempt) -> str:
    """One sentence on what to do next time; empty for an attempt that lacks nothing."""
    reason = attempt.reason
    if reason is None or attempt.outcome is Outcome.SECURED:
        return ""
    family = readouts[reason.signal].family if reason.signal is not None else "other"
    base = f"reason.{reason.code.value}"
    return words.either(f"{base}.remedy_{family}", f"{base}.remedy", **_values(readouts, words, reason, upper=True))


def _values(readouts: Readouts, words: Words, reason: Reason, *, upper: bool) -> dict[str, str]:
    """What the sentences may name."""
    filled = {"time": drive_time(reason.t_us), "name": "", "unit": "", "value": "", "bound": "", "Value": ""}
    readout = readouts[reason.signal] if reason.signal is not None else None
    if readout is not None:
        filled |= {"name": words.title(readout.signal), "unit": readout.unit}
    if reason.code in _SECONDS or reason.code is Code.RATE:
        filled |= {"value": _plain(reason.value), "bound": _plain(reason.bound)}
    elif readout is not None:
        filled |= _in_units(readout, words, reason, upper=upper)
    filled["Value"] = filled["value"][:1].upper() + filled["value"][1:]
    return filled


def _in_units(readout: Readout, words: Words, reason: Reason, *, upper: bool) -> dict[str, str]:
    value, bound = reason.value, reason.bound
    if readout.family == "gear":
        return {
            "value": "" if value is None else words.ordinal(round(value)),
            "bound": "" if bound is None else words.ordinal(round(bound)),
        }
    if reason.code is Code.WANDER:
        wander = "" if bound is None else show_difference(bound, readout.signal.unit, readout.units).text
        return {"value": readout.value(value), "bound": wander}
    if readout.signal.states:
        return {"value": readout.value(value), "bound": readout.value(bound)}
    low = reason.code is Code.LOW or (reason.code is Code.LIMIT and not upper)
    # A sample that came back inside, or one at the end of its scale, is shown as it is.
    beyond = value is not None and bound is not None and (value < bound if low else value > bound)
    edges = (bound, None) if low else (None, bound)
    shown = readout.value(value, *edges) if beyond else readout.value(value, value, value)
    return {"value": shown, "bound": "" if bound is None else readout.bounds(*edges)[0 if low else 1] or ""}


def _plain(value: float | None) -> str:
    return "" if value is None else f"{value:.2f}".rstrip("0").rstrip(".")
