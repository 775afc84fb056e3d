"""The review of a drive, verdict first: what qualified, how close the rest came, which attempt to send."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from coach.advice.reasons import drive_time, reason_text, remedy_text
from coach.clock import wall_text
from coach.core.events import Attempt, Outcome
from coach.facts import confirmed_revision, facts_of
from coach.recipe import CaptureAsked
from coach.recording import US
from coach.review.kinds import kind_of
from coach.review.never import never_text
from coach.review.power import weather_json
from coach.review.subject import Subject
from coach.review.verdict import best_of


def review_json(subject: Subject) -> dict[str, Any]:
    """The review of a drive, JSON-able, in the reader's units."""
    captures = [_capture(subject, c) for c in subject.recipe.captures]
    best = {(c["id"], c["best"]) for c in captures}
    strip = [
        {"capture": a.capture, "number": a.number, "outcome": a.outcome.value, "start_s": a.start_us / US,
         "end_s": a.end_us / US, "best": (a.capture, a.number) in best}
        for some in subject.attempts.values() for a in some if not a.small
    ]  # fmt: skip
    headline, under = _headline(subject, captures)
    return {
        "drive": {
            "id": subject.id, "name": subject.name, "title": subject.recipe.title, "note": subject.note,
            "revision": subject.recipe.revision, "started_at": started_at(subject),
            "duration_s": subject.recording.duration_us / US, "vehicle": vehicle_name(subject),
        },
        "head": head_json(subject), "headline": headline, "under": under, "captures": captures,
        "strip": sorted(strip, key=lambda s: (s["start_s"], s["capture"])),
        "alarms": [_alarm(subject, a.capture, a.t_us, a.signal, a.value, a.bound, unseen=a.unseen)
                   for a in subject.alarms],
        "notes": list(dict.fromkeys([*_warnings(subject), *(n.text for n in subject.notes)])),
    }  # fmt: skip


def _warnings(subject: Subject) -> list[str]:
    """What was said before the drive about the car's identity."""
    return [str(x["text"]) for x in subject.identity.get("warnings") or [] if isinstance(x, Mapping) and x.get("text")]


def started_at(subject: Subject) -> str:
    """When the drive began, UTC, ISO 8601 to the second; empty where nobody knows."""
    if subject.started_wall_us is None:
        return ""
    return wall_text(subject.started_wall_us)


def vehicle_name(subject: Subject) -> str:
    """What the car is called: its label, else its file's name."""
    label = None if subject.vehicle is None else subject.vehicle.label
    return label or subject.vehicle_name or ""


def head_json(subject: Subject) -> list[dict[str, str]]:
    """Identity, codes, declared facts and weather: what each figure rests on. What is not known says so."""
    w = subject.words
    found: list[dict[str, str]] = []

    def put(id_: str, text: str, why: str = "", name: str = "") -> None:
        found.append({
            "id": id_, "name": name or w(f"review.head.{id_}"), "text": text,
            "why": "" if text else w(f"review.why.{why or 'nobody_said'}"),
        })  # fmt: skip

    put("vehicle", vehicle_name(subject), "no_vehicle")
    put("calibration", identity_text(subject), "no_identity")
    flashed = subject.identity.get("flashed")
    if isinstance(flashed, Mapping):
        put("flashed", w("review.flashed", revision=flashed.get("revision"), date=flashed.get("date")))
    put("codes", codes_text(subject), "no_codes")
    marks = subject.recording.marks or ()
    facts = facts_of(marks)
    revision = confirmed_revision(marks)
    if facts:
        said = w("review.confirmed", revision=revision) if revision is not None else ""
        put("confirmed", said, "not_confirmed")
        for name, value in facts.items():
            unit = w.get(f"facts.{name}.unit") or ""
            put(name, f"{value} {unit}".strip(), name=w.either(f"facts.{name}.name", "review.head.fact"))
    else:
        put("facts", "", "no_facts")
    put("weather", weather_json(subject)["text"], "no_weather")
    return found


def codes_text(subject: Subject) -> str:
    """Stored and pending codes as the car told them, else how many are stored; empty where nobody knows."""
    w = subject.words
    told = subject.identity.get("codes")
    if isinstance(told, Mapping):
        named = [str(c) for c in told.get("stored") or []]
        named += [w("review.pending", code=c) for c in told.get("pending") or []]
        return ", ".join(named) or w("review.codes_none")
    count = subject.series("code_count").value
    if not len(count):
        return ""
    return w("review.codes_none") if count[-1] == 0 else w.counted("review.codes", int(count[-1]))


def identity_text(subject: Subject) -> str:
    """Calibration identities and their check numbers as the car told them; empty where it did not."""
    units = subject.identity.get("ecus") or []
    told = []
    for unit in units:
        pairs = list(unit.get("calibrations") or [])
        checks = list(unit.get("verifications") or [])
        told += [f"{c} ({checks[i]})" if i < len(checks) else str(c) for i, c in enumerate(pairs)]
    return ", ".join(told)


def _headline(subject: Subject, captures: list[dict[str, Any]]) -> tuple[str, str]:
    """The one line, and the one under it: whether to drive again."""
    w = subject.words
    good = [c for c in captures if c["qualified"] >= c["asked"]]
    rest = [c for c in captures if c["qualified"] < c["asked"]]
    if not rest:
        return w("review.headline.all"), w("review.headline.send")
    if good:
        line = w("review.headline.some", good=w.spelled(len(good)).capitalize(), all=w.spelled(len(captures)))
    else:
        line = w("review.headline.none")
    first = rest[0]
    return line, f"{first['title']}: {first['sentence']}".strip()


def _capture(subject: Subject, asked: CaptureAsked) -> dict[str, Any]:
    attempts = subject.attempts.get(asked.id, ())
    judged = next(c for c in subject.plan.captures if c.id == asked.id)
    secured = [a for a in attempts if a.secured_us is not None]
    number = best_of(attempts)
    best = next((a for a in attempts if a.number == number), None)
    never = None if attempts else _never(subject, asked.id)
    w = subject.words
    qualified = len(secured) if judged.collect is None else int(asked.id in subject.collected_us)
    sentence = never or w("review.no_attempt")
    if judged.collect is not None and secured:
        total_us = subject.collected_us.get(asked.id, sum(a.end_us - a.start_us for a in secured))
        sentence = w("review.collected", total=length(total_us), asked=length(judged.collect.total_us))
    elif best is not None:
        sentence = attempt_sentence(subject, asked, best)
        if len(secured) > 1:
            sentence = w("review.repeated", count=w.spelled(len(secured)).capitalize(), sentence=w.inside(sentence))
    send = None
    if best is not None and best.secured_us is not None:
        others = len([a for a in attempts if not a.small]) - 1
        key = "review.send_only" if others == 0 else "review.send_best"
        send = {"number": best.number, "sentence": w(key, count=others + 1, time=drive_time(best.start_us))}
    outcome = "todo" if best is None else best.outcome.value
    done = qualified >= asked.times
    return {
        "id": asked.id, "title": asked.title, "kind": kind_of(judged), "place": asked.place, "asked": asked.times,
        "qualified": qualified, "outcome": "secured" if done else outcome if outcome != "secured" else "part",
        "sentence": sentence, "remedy": "" if done or best is None else remedy_text(subject.readouts, w, best),
        "best": number, "send": send, "never": never,
        "attempts": [
            {
                "number": a.number, "outcome": a.outcome.value, "start_s": a.start_us / US, "end_s": a.end_us / US,
                "duration_s": (a.end_us - a.start_us) / US, "sentence": attempt_sentence(subject, asked, a),
                "small": a.small,
            }
            for a in attempts
        ],
    }  # fmt: skip


def _never(subject: Subject, capture: str) -> str:
    judged = next(c for c in subject.plan.captures if c.id == capture)
    secured = {n for n, some in subject.attempts.items() if any(a.secured_us is not None for a in some)}
    titles = {c.id: c.title for c in subject.recipe.captures}
    return never_text(
        subject.plan, judged, subject.recording, subject.readouts, subject.words, titles=titles, secured=secured
    )


def length(us: float) -> str:
    """A length of time as people read it: `9.8 s` under a minute, else `2:41`."""
    return f"{us / US:.1f} s" if us < 60 * US else drive_time(round(us))


def attempt_sentence(subject: Subject, asked: CaptureAsked, a: Attempt) -> str:
    """An attempt in one sentence with numbers: held 2:41 of 3:00; 91 km/h against 88 at 14:32."""
    w, readouts = subject.words, subject.readouts
    upper = True
    if a.reason is not None:
        signal = a.reason.signal
        upper = next((x.high is not None for x in asked.limits if x.signal == signal), True)
    reason = ""
    if a.reason is not None:
        reason = reason_text(readouts, w, a.reason, max_excursions=asked.max_excursions, upper=upper)
    held_us = a.end_us - a.start_us
    if asked.sweep is not None:
        if a.outcome is Outcome.SECURED:
            seconds = ((a.to_us or a.end_us) - (a.from_us if a.from_us is not None else a.start_us)) / US
            return w("review.swept", seconds=f"{seconds:.1f}")
        reached = ""
        if a.covers is not None:
            reached = readouts[asked.sweep.signal].value(a.covers[1])
        unit = readouts[asked.sweep.signal].unit
        to = readouts[asked.sweep.signal].value(asked.sweep.to)
        return w("review.swept_short", reached=reached, to=to, unit=unit, reason=reason).strip()
    target = asked.hold_us or asked.piece_us or 0
    if a.outcome is Outcome.SECURED:
        return w("review.held", held=length(held_us), asked=length(target))
    # both written alike: 0:59 of 1:30, not 59.5 s of 1:30
    held = length(held_us) if target < 60 * US else drive_time(round(held_us))
    return w("review.held_short", held=held, asked=length(target), reason=reason).strip()


def _alarm(
    subject: Subject, capture: str, t_us: int, signal: str, value: float | None, bound: float, *, unseen: bool
) -> dict[str, Any]:
    w, readout = subject.words, subject.readouts[signal]
    over = value is not None and value > bound
    edges = (None, bound) if over or value is None else (bound, None)
    limit = next((text for text in readout.bounds(*edges) if text is not None), "")
    key = "verdict.alarm_unseen" if unseen else "verdict.alarm"
    text = w(key, time=drive_time(t_us), name=w.title(readout.signal), value=readout.value(value, *edges),
             unit=readout.unit, bound=limit)  # fmt: skip
    return {"capture": capture, "t_s": t_us / US, "sentence": text}
