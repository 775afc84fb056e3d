"""The summary of one window by its kind of capture, as JSON."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from coach.errors import BadInput
from coach.recording import US
from coach.review.figures import Group, group_json
from coach.review.idle import idle
from coach.review.kinds import KINDS, Kind, kind_of
from coach.review.part_load import STEADY, part_load
from coach.review.passing import decel_idle, overrun, start, tip_in
from coach.review.subject import Subject
from coach.review.sweep import sweep
from coach.review.window import LAMBDA_DELAY_S, Window, every_kind, plain_figures, rates_of


def free(w: Window) -> list[Group]:
    """Means of whatever was recorded."""
    names = tuple(n for n, s in w.subject.recording.series.items() if len(s) and not w.subject.signal(n).discrete)
    derived = tuple(n for n in STEADY if n not in names)
    return [
        Group("steady", w.word("group.steady"), plain_figures(w, (*names, *derived)).take(), note=w.word("note.error"))
    ]


READ: dict[Kind, Callable[[Window], list[Group]]] = {
    "part_load": part_load, "sweep": sweep, "idle": idle, "tip_in": tip_in, "overrun": overrun, "start": start,
    "decel_idle": decel_idle, "free": free,
}  # fmt: skip


def window_of(subject: Subject, capture: str, number: int, lambda_delay_s: float = LAMBDA_DELAY_S) -> Window:
    """A window. Raises NotFound."""
    asked, judged = subject.capture(capture)
    return Window(subject, asked, judged, subject.attempt(capture, number), lambda_delay_s)


def groups_of(w: Window, kind: Kind) -> list[Group]:
    """All groups of figures of a window."""
    return [*READ[kind](w), every_kind(w)]


def summary_json(
    subject: Subject, capture: str, number: int, *, kind: str | None = None, lambda_delay_s: float = LAMBDA_DELAY_S
) -> dict[str, Any]:
    """The summary of an attempt, in the reader's units.

    Args:
        subject: the drive.
        capture, number: which attempt.
        kind: read it as a capture of this kind; what it asks for decides if left out.
        lambda_delay_s: by how much lambda is shifted back.

    Raises:
        NotFound: no such capture or attempt.
        BadInput: no such kind.
    """
    w = window_of(subject, capture, number, lambda_delay_s)
    known: Kind = kind_of(w.capture)
    if kind is not None:
        named = next((k for k in KINDS if k == kind), None)
        if named is None:
            raise BadInput(f"there is no kind {kind!r} of capture; there are: {', '.join(KINDS)}", where="kind")
        known = named
    return {
        "drive": subject.id, "capture": capture, "number": number, "kind": known,
        "kind_name": w.word(f"kind.{known}"), "title": w.asked.title, "outcome": w.attempt.outcome.value,
        "start_s": w.first_us / US, "end_s": w.last_us / US,
        "groups": [group_json(g, subject.words, subject.units) for g in groups_of(w, known)],
        "rates": rates_of(w),
    }  # fmt: skip
