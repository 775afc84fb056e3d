"""The adviser: the judge's view and events in, the live state of the page out. It reads no clock."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from coach.advice.captures import alarm_state, capture_state, kind_of
from coach.advice.choose import Chooser
from coach.advice.hold_back import NUMBER_US, HoldBack
from coach.advice.instruct import instruct, unmet
from coach.advice.lane import lane, rows, warm_lane
from coach.advice.lines import Lines, standing
from coach.advice.moments import Moment, Moments, alarm_line, missed_line, secured_line
from coach.advice.readout import Readouts
from coach.advice.reasons import short_reason
from coach.advice.situation import Situation
from coach.advice.state import US, DriveState, Instruction, LinkState, RecipeWords
from coach.advice.steer import Nudge, steer
from coach.advice.trend import WarmUp
from coach.advice.voice import Voice
from coach.core.events import Event, LimitAhead, Outcome
from coach.core.spec import Capture, JudgePlan
from coach.core.view import CaptureView, ConditionView, JudgeView
from coach.shown import METRIC, Units
from coach.signals import Catalogue
from coach.vehicle.dial import Dial
from coach.words import Words

MISSING_US = 3 * US
"""How long after the drive's start a signal may take to come for the first time before it is called missing."""
_SLOW_IN_ROWS = ("value", "unit", "spare", "status", "signal", "name", "asked")
_NO_LINK = LinkState()
_RECORDING = DriveState()


class Adviser:
    """Makes the one instruction that matters now.

    Args:
        recipe: titles and places of the captures.
        plan: what is judged.
        catalogue: the signals.
        words: the language.
        units: what the driver reads.
        dial: what the dial shows for a speed, where that was learned: then speeds are shown and spoken as it reads.
    """

    def __init__(
        self, recipe: RecipeWords, plan: JudgePlan, catalogue: Catalogue, words: Words, units: Units = METRIC,
        dial: Dial | None = None,
    ) -> None:  # fmt: skip
        self._plan = plan
        self._catalogue = catalogue
        self._words, self._units, self._dial = words, units, dial
        self._captures: Mapping[str, Capture] = {c.id: c for c in plan.captures}
        self._titles = {c.id: c.title for c in recipe.captures}
        self._places = {c.id: c.place for c in recipe.captures}
        self._lines = Lines(words, Readouts(catalogue, words, units, dial))
        self._chooser = Chooser(plan.captures)
        self._moments = Moments(self._captures)
        self._hold_back = HoldBack()
        self._voice = Voice(words)
        self._nudge = Nudge()
        self._warm: dict[str, WarmUp] = {}
        self._shown_id: str | None = plan.captures[0].id if plan.captures else None
        self._ran_when_lost: str | None = None
        self._was_lost = False
        self._slow: dict[str, Any] = {}
        self._slow_key: object = None
        self._slow_at = 0

    def read_as(self, words: Words | None = None, units: Units | None = None, dial: Dial | None = None) -> None:
        """Goes on in another language or other units, or with what the dial shows; what is left out stays."""
        self._words = words or self._words
        self._units = units or self._units
        self._dial = dial or self._dial
        self._lines = Lines(self._words, Readouts(self._catalogue, self._words, self._units, self._dial))
        self._voice.words = self._words
        self._slow_key = None

    def seen(self) -> None:
        """Somebody has seen the alarm and closes it."""
        self._moments.close_alarms()

    def update(
        self,
        view: JudgeView,
        events: Sequence[Event],
        now_us: int,
        link: LinkState = _NO_LINK,
        drive: DriveState = _RECORDING,
    ) -> dict[str, Any]:
        """The live state, JSON-able.

        Args:
            view: the judge's view now.
            events: what the judge has said since the last call.
            now_us: a steady clock of the watcher, never the drive's own time: at eight times real speed a line still
                stays long enough to be read.
            link: the connection to the car.
            drive: what the drive loop knows of itself.
        """
        lost = link.state == "lost"
        self._moments.feed(self._told(events), view, now_us)
        left = self._chooser.open_captures(view)
        leading = self._chooser.choose(view, now_us)
        moment = self._moments.moment
        if moment is not None:
            self._shown_id = moment.capture
        elif leading is not None:
            self._shown_id = leading.id
        shown = next((c for c in view.captures if c.id == self._shown_id), None)
        self._note_loss(shown, lost=lost)
        wanted = self._wanted(view, events, shown, left, lost=lost, drive=drive)
        correction = None
        if shown is not None and not lost:
            correction = steer(self._lines, self._captures[shown.id], shown)
        running = shown is not None and shown.phase == "running"
        face = self._hold_back.update(wanted, correction, now_us, running=running)
        state = {
            "drive": drive.json(view.t_us),
            "face": self._face(face, shown, now_us),
            "lead": None,
            "captures": [
                capture_state(self._captures[c.id], self._titles[c.id], self._places[c.id], c, view.t_us)
                for c in view.captures
            ],
            "alarm": alarm_state(self._lines, self._moments.alarm),
            "link": link.json(),
        }
        if shown is not None:
            t_us = max(view.t_us, drive.t_us or 0)
            state["lead"] = self._lead(shown, t_us, face, now_us, lost=lost)
        return state

    def _told(self, events: Sequence[Event]) -> list[Event]:
        """Events without the misses of captures that nobody was led through."""
        told = []
        for event in events:
            attempt = getattr(event, "attempt", None)
            missed = attempt is not None and attempt.outcome in {Outcome.MISSED, Outcome.SPARSE}
            if not (missed and event.capture != self._chooser.lead):
                told.append(event)
        return told

    def _note_loss(self, shown: CaptureView | None, *, lost: bool) -> None:
        if lost and not self._was_lost:
            self._ran_when_lost = shown.id if shown is not None and shown.phase == "running" else None
        self._was_lost = lost

    def _wanted(
        self, view: JudgeView, events: Sequence[Event], shown: CaptureView | None, left: list[CaptureView], *,
        lost: bool, drive: DriveState,
    ) -> Instruction:  # fmt: skip
        """The instruction called for, by the written order; corrections apart."""
        lines = self._lines
        if drive.phase in {"ended", "none"}:
            return lines.make("not_recording", ground="lost", mark="dashed", rank="at_once")
        if self._moments.alarm is not None:
            return alarm_line(lines, self._moments.alarm)
        ahead = self._ahead(view, events)
        if ahead is not None:
            name = lines.readouts[ahead].name
            return lines.make("limit_ahead", ground="warn", mark="wall", rank="at_once", about=ahead, name=name)
        if lost:
            return self._lost(shown)
        if drive.phase == "stopping":
            return self._stopping(shown, drive)
        if drive.phase == "paused":
            return lines.make("paused", ground="lost", mark="dashed", rank="at_once")
        if shown is None or not left:
            skipped = [c for c in view.captures if c.secured_count < self._captures[c.id].times]
            if skipped:
                return lines.make("skipped_left", number=str(len(skipped)), kind="count", rank="moment")
            done = any(c.secured_count for c in view.captures)
            code = "everything" if done else "nothing_left"
            if done:
                return lines.make(code, ground="secured", mark="tick", rank="moment")
            return lines.make(code, rank="moment")
        if self._moments.moment is not None:
            return self._moment(self._moments.moment, shown, left)
        capture = self._captures[shown.id]
        nudge = self._nudge.look(lines, capture, shown)
        return nudge if nudge is not None else instruct(lines, self._situation(view, shown))

    def _ahead(self, view: JudgeView, events: Sequence[Event]) -> str | None:
        for capture in view.captures:
            for limit in capture.limits:
                if limit.ahead and limit.status == "inside":
                    return limit.signal
        # One that came and went between two looks is shown as well.
        return next((e.signal for e in events if isinstance(e, LimitAhead)), None)

    def _lost(self, shown: CaptureView | None) -> Instruction:
        key = "caption"
        if shown is not None and shown.id == self._ran_when_lost and shown.phase != "running":
            sweep = self._captures[shown.id].sweep is not None
            key = "caption_broken_sweep" if sweep else "caption_broken"
        return self._lines.make("lost_car", ground="lost", mark="dashed", rank="at_once", caption=key)

    def _stopping(self, shown: CaptureView | None, drive: DriveState) -> Instruction:
        number = "" if drive.stop_left_us is None else str(max(0, -(-drive.stop_left_us // US)))
        hold = shown is not None and shown.phase == "running" and self._captures[shown.id].sweep is None
        key = "caption_hold" if hold else "caption"
        return self._lines.make("stopping", number=number, kind="count", rank="at_once", caption=key)

    def _moment(self, moment: Moment, shown: CaptureView, left: list[CaptureView]) -> Instruction:
        capture = self._captures[moment.capture]
        if moment.attempt is not None:
            why = short_reason(self._lines.readouts, self._words, moment.attempt, capture)
            return missed_line(self._lines, moment.attempt, capture, why)
        following = self._chooser.lead or left[0].id
        course = self._places[following] == "closed course"
        title = self._titles[following]
        return secured_line(self._lines, moment, capture, shown, len(left), title, course=course)

    def _situation(self, view: JudgeView, shown: CaptureView) -> Situation:
        capture = self._captures[shown.id]
        patience = {a.signal: max(MISSING_US, a.gap_us) for a in capture.record}
        # A car that has not moved yet has no gear to tell: that is no missing signal.
        awaited = [c.signal for c in shown.conditions if self._lines.readouts[c.signal].family != "gear"]
        never = [*shown.missing, *(c.signal for c in shown.conditions if c.status == "missing" and c.signal in awaited)]
        missing = tuple(dict.fromkeys(s for s in never if view.t_us >= patience.get(s, MISSING_US)))
        roads = any(self._places[c.id] == "road" for c in self._chooser.open_captures(view))
        needed = next((self._titles[n] for n in capture.needs if n in self._titles and not self._is_done(view, n)), "")
        return Situation(
            capture, self._titles[shown.id], self._places[shown.id], shown, view.t_us, missing, _standing(view),
            roads, needed,
        )  # fmt: skip

    def _is_done(self, view: JudgeView, capture: str) -> bool:
        return any(c.id == capture and c.secured_count >= self._captures[capture].times for c in view.captures)

    def _face(self, face: Instruction, shown: CaptureView | None, now_us: int) -> dict[str, Any]:
        hold = attempt = None
        sweep = False
        if shown is not None and shown.phase == "running":
            attempt = (shown.id, shown.number)
            capture = self._captures[shown.id]
            sweep = capture.sweep is not None
            # Of pieces that are collected, first the piece is left and then the whole: there is no one half of it.
            if capture.hold_us and shown.left is not None and capture.collect is None:
                hold = (shown.left, float(capture.hold_us))
        speech, number, unit = self._voice.update(face, now_us, hold=hold, attempt=attempt, sweep=sweep)
        return {**face.json(), "speech": speech, "speech_id": number, "speech_unit": unit}

    def _lead(self, shown: CaptureView, t_us: int, face: Instruction, now_us: int, *, lost: bool) -> dict[str, Any]:
        capture = self._captures[shown.id]
        warming = self._warming(shown) if face.code.startswith("warm_up") else None
        made = warming or lane(self._lines, capture, shown, lost=lost)
        row_list, more = ([], None) if warming else rows(self._lines, capture, shown, t_us, lost=lost)
        slow = {
            "lane": {} if made is None else {k: made[k] for k in ("value", "spare")},
            "rows": [{k: r[k] for k in _SLOW_IN_ROWS} for r in row_list],
            "more": more,
        }
        # Figures change twice a second at most, and all together; marks move at the stream's rate.
        key = (shown.id, None if made is None else made["kind"], lost, face.rank == "at_once")
        if key != self._slow_key or now_us - self._slow_at >= NUMBER_US:
            self._slow, self._slow_key, self._slow_at = slow, key, now_us
        if made is not None:
            made |= self._slow["lane"]
        by_signal = {r["signal"]: r for r in row_list}
        kept = []
        for row in self._slow["rows"]:
            now = by_signal.get(row["signal"])
            rest = {"low": 0.0, "high": 1.0, "at": None, "age_s": None} if now is None else now
            kept.append({**rest, **row})
        return {
            "id": shown.id, "title": self._titles[shown.id], "kind": kind_of(capture),
            "confirm": list(capture.confirm) if shown.gate == "confirm" else [],
            "place": self._places[shown.id], "phase": shown.phase, "gate": shown.gate, "number": shown.number,
            "lane": made, "rows": kept, "more": self._slow["more"],
        }  # fmt: skip

    def _warming(self, shown: CaptureView) -> dict[str, Any] | None:
        cold = [c for c in unmet(shown) if c.status == "low" and c.low is not None]
        for condition in cold:
            if self._lines.readouts[condition.signal].family == "temperature":
                return self._warm_lane(condition)
        return None

    def _warm_lane(self, condition: ConditionView) -> dict[str, Any] | None:
        trend = self._warm.setdefault(condition.signal, WarmUp())
        if condition.value is None or condition.t_us is None or condition.low is None:
            return None
        trend.add(condition.t_us, condition.value)
        minutes = trend.minutes(condition.low)
        spare = "" if minutes is None else self._words("row.minutes", minutes=minutes)
        first = trend.first if trend.first is not None else condition.value
        return warm_lane(self._lines, condition, first, spare)


def _standing(view: JudgeView) -> bool | None:
    """Whether the car stands, from whichever capture shows the road speed; None where none does."""
    return next((known for known in map(standing, view.captures) if known is not None), None)
