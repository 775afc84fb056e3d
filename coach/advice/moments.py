"""What happened and is shown for a while: secured, missed, stopped; and alarms, which stay until they are closed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from coach.advice.lines import Lines
from coach.advice.readout import clock_text
from coach.advice.state import US, Instruction
from coach.core.events import Alarm, AlarmOver, Attempt, Code, Collected, Ended, Event, Outcome, Secured
from coach.core.spec import Band, Capture
from coach.core.view import CaptureView, JudgeView

SECURED_US = 4 * US
MISSED_US = 6 * US
ALARM_INSIDE_US = 8 * US
"""An alarm closes by itself when the value has been inside for so long, or when an unseen one is so old."""
LONGEST = 56
"""Letters of a caption that two lines of a phone hold (342 px at 23 px a letter's height)."""
_PERSON = (Code.DISARMED, Code.PAUSED, Code.SKIPPED, Code.DRIVE_ENDED)
"""Ends that a person chose: nobody needs to be told that they missed."""
_DATA = (Code.STALE, Code.UNKNOWN, Code.GAP, Code.RATE)


@dataclass(slots=True)
class ActiveAlarm:
    """An alarm on the screen. `inside_us` is since when the value is back inside (None: not yet)."""

    alarm: Alarm
    upper: bool
    since_us: int
    inside_us: int | None = None
    over: bool = False


@dataclass(slots=True)
class Moment:
    """Something that happened: `attempt` is None for a capture secured."""

    capture: str
    attempt: Attempt | None
    since_us: int | None = None

    @property
    def lasts_us(self) -> int:
        """How long it is shown."""
        return SECURED_US if self.attempt is None else MISSED_US


class Moments:
    """Collects events and says what of them is to be shown now. Times are the watcher's clock, not the drive's."""

    def __init__(self, captures: Mapping[str, Capture]) -> None:
        self._captures = captures
        self._alarms: list[ActiveAlarm] = []
        self._shown: Moment | None = None
        self._waiting: list[Moment] = []

    def feed(self, events: Sequence[Event], view: JudgeView, now_us: int) -> None:
        """Takes in what the judge said, and looks at whether alarms are over."""
        for event in events:
            if isinstance(event, Collected):
                self._waiting.append(Moment(event.capture, None))
            elif isinstance(event, Secured):
                if self._captures[event.capture].collect is not None:
                    continue  # one piece of many: what is left to collect says it
                self._waiting.append(Moment(event.capture, None))
            elif isinstance(event, Alarm):
                self._raise(event, now_us)
            elif isinstance(event, AlarmOver):
                for active in self._of(event.capture, event.signal):
                    active.inside_us = now_us
            elif isinstance(event, Ended):
                self._ended(event.attempt)
        self._look(view, now_us)
        self._move_on(now_us)

    def close_alarms(self) -> None:
        """Somebody has seen them."""
        self._alarms.clear()

    @property
    def alarm(self) -> ActiveAlarm | None:
        """The alarm to show: the one raised last."""
        return self._alarms[-1] if self._alarms else None

    @property
    def moment(self) -> Moment | None:
        """What is to be shown after alarms and warnings, or None."""
        return self._shown

    def _raise(self, event: Alarm, now_us: int) -> None:
        self._alarms = [a for a in self._alarms if (a.alarm.capture, a.alarm.signal) != (event.capture, event.signal)]
        limits = self._captures[event.capture].limits
        upper = next((x.high is not None for x in limits if x.signal == event.signal), True)
        self._alarms.append(ActiveAlarm(event, upper, now_us))

    def _ended(self, attempt: Attempt) -> None:
        reason = attempt.reason
        if attempt.outcome is Outcome.SECURED or attempt.small or (reason is not None and reason.code in _PERSON):
            return
        if reason is not None and reason.code in {Code.LIMIT, Code.LIMIT_UNSEEN} and reason.signal is not None:
            for active in self._of(attempt.capture, reason.signal):
                active.over = True
        # A miss that nobody has seen yet is replaced by the newer one; a secured capture never is.
        self._waiting = [m for m in self._waiting if m.attempt is None]
        self._waiting.append(Moment(attempt.capture, attempt))

    def _of(self, capture: str, signal: str) -> list[ActiveAlarm]:
        return [a for a in self._alarms if a.alarm.signal == signal and a.alarm.capture == capture]

    def _look(self, view: JudgeView, now_us: int) -> None:
        beyond = {(c.id, x.signal): x.status for c in view.captures for x in c.limits}
        for active in self._alarms:
            status = beyond.get((active.alarm.capture, active.alarm.signal), "inside")
            if status != "inside":
                active.inside_us = None
            elif active.inside_us is None:
                active.inside_us = now_us
        self._alarms = [a for a in self._alarms if not _closes(a, now_us)]

    def _move_on(self, now_us: int) -> None:
        if self._alarms:
            return  # what happened meanwhile is shown when the alarm is closed
        shown = self._shown
        if shown is not None and shown.since_us is not None:
            age = now_us - shown.since_us
            # A capture secured may take the place of a miss, once that could be read.
            better = shown.attempt is not None and any(m.attempt is None for m in self._waiting) and age >= 1.5 * US
            if age < shown.lasts_us and not better:
                return
            self._shown = None
        if self._waiting:
            self._shown = self._waiting.pop(0)
            self._shown.since_us = now_us


def _closes(active: ActiveAlarm, now_us: int) -> bool:
    if active.inside_us is not None and now_us - active.inside_us >= ALARM_INSIDE_US:
        return True
    # What is not seen can not be seen to come back: such an alarm ends by its age.
    return active.alarm.unseen and now_us - active.since_us >= ALARM_INSIDE_US


def alarm_line(lines: Lines, active: ActiveAlarm) -> Instruction:
    """The whole screen when a limit was passed: one thing to do."""
    alarm = active.alarm
    readout = lines.readouts[alarm.signal]
    family = readout.family
    if family in {"engine", "load", "pedal"} or readout.signal.quantity.startswith("pressure"):
        code = "limit_pedal"
    elif family == "temperature":
        code = "limit_temperature"
    elif family == "speed":
        code = "limit_speed"
    else:
        code = "limit_other"
    text = alarm_text(lines, active)
    about = (alarm.capture, alarm.signal, alarm.t_us)
    line = lines.make(code, ground="alarm", mark="octagon", rank="at_once", about=about)
    return replace(line, caption=text)


def alarm_text(lines: Lines, active: ActiveAlarm) -> str:
    """What was passed, as in: Boost 99 kPa, limit 95. This attempt is over."""
    alarm, words = active.alarm, lines.words
    readout = lines.readouts[alarm.signal]
    low, high = (None, alarm.bound) if active.upper else (alarm.bound, None)
    bound = readout.bounds(low, high)[1 if active.upper else 0] or ""
    if alarm.unseen or alarm.value is None:
        text = words("face.limit_text.unseen", name=readout.name, bound=bound)
    else:
        value = readout.value(alarm.value, low, high)
        text = words("face.limit_text.passed", name=readout.name, value=value, unit=readout.unit, bound=bound)
    return f"{text} {words('face.limit_text.over')}" if active.over else text


def secured_line(
    lines: Lines, moment: Moment, capture: Capture, view: CaptureView, left: int, next_title: str, *, course: bool
) -> Instruction:
    """`Secured`, with how many captures are still to go and which is next."""
    again = view.secured_count < capture.times
    key = "caption_again" if again else "caption_course" if course else "caption"
    line = lines.make(
        "secured", number=str(left), kind="count", ground="secured", mark="tick", rank="moment", caption=key,
        about=(moment.capture, view.secured_count), title=next_title, Count=lines.words.spelled(left).capitalize(),
    )  # fmt: skip
    if capture.sweep is None:
        return line
    return replace(line, speech=lines.words("face.secured.speech_sweep"))


def missed_line(lines: Lines, attempt: Attempt, capture: Capture, why: str) -> Instruction:
    """`Missed, too fast`: how much was short, by how much it was off, and where to settle."""
    words = lines.words
    stopped = attempt.outcome is Outcome.STOPPED
    line = words(f"face.missed.{missed_key(lines, attempt)}", name=_name(lines, attempt))
    number = "" if stopped else _short(lines, attempt, capture)
    aim = "" if stopped else _aim(lines, attempt, capture) or _remedy(lines, attempt)
    key = f"face.missed.{'caption' if number else 'caption_bare'}"
    caption = words(key, why=why, aim=aim)
    if aim and len(caption) > LONGEST:
        # Two lines are all there is: the line has said what went wrong, so what to do differently stays.
        caption = words(key, why="", aim=aim.strip())
    clock = capture.sweep is None
    return Instruction(
        "missed", line, number, ("clock" if clock else "amount") if number else "none", caption,
        words(f"face.missed.{'speech_stopped' if stopped else 'speech'}", line=line),
        "calm", "octagon" if stopped else "broken", "moment", (attempt.capture, attempt.number),
    )  # fmt: skip


def missed_key(lines: Lines, attempt: Attempt) -> str:
    """Which words under `face.missed` say why."""
    reason = attempt.reason
    if attempt.outcome is Outcome.STOPPED:
        return "stopped"
    if attempt.outcome is Outcome.SPARSE:
        return "gap" if reason is not None and reason.code is Code.GAP else "sparse"
    if reason is None:
        return "other"
    family = lines.readouts[reason.signal].family if reason.signal is not None else "other"
    if family == "gear" and reason.code in {Code.UNKNOWN, Code.STALE}:
        return "gear_unknown"
    if reason.code in _DATA:
        return "data"
    if reason.code in {Code.UNREADABLE, Code.OUT_OF_RANGE}:
        return "unreadable"
    if reason.code in {Code.LOW, Code.HIGH, Code.SATURATED}:
        return f"{'other' if family == 'load' else family}_{'low' if reason.code is Code.LOW else 'high'}"
    return reason.code.value if f"face.missed.{reason.code.value}" in lines.words else "other"


def _remedy(lines: Lines, attempt: Attempt) -> str:
    """What to do differently, in two or three words; empty where nobody in the car can."""
    key = f"face.missed_do.{missed_key(lines, attempt)}"
    return f" {lines.words(key)}" if key in lines.words else ""


def _name(lines: Lines, attempt: Attempt) -> str:
    signal = attempt.reason.signal if attempt.reason is not None else None
    return lines.readouts[signal].inside if signal is not None else ""


def _short(lines: Lines, attempt: Attempt, capture: Capture) -> str:
    missing = 1.0 - min(1.0, max(0.0, attempt.progress))
    if capture.sweep is not None:
        return lines.readouts[capture.sweep.signal].distance(missing * capture.sweep.span)
    return clock_text(missing * (capture.hold_us or 0))


def _aim(lines: Lines, attempt: Attempt, capture: Capture) -> str:
    """Where to settle: the middle of a two-sided band, or the gear."""
    reason = attempt.reason
    if reason is None or reason.code not in {Code.LOW, Code.HIGH}:
        return ""
    band: Band | None = next((b for b in capture.keep if b.signal == reason.signal), None)
    if band is None or band.low is None or band.high is None:
        return ""
    readout = lines.readouts[band.signal]
    if readout.family == "gear":
        return lines.words("face.missed.aim_gear", gear=lines.words.ordinal(round(band.low)))
    if readout.family not in {"speed", "engine", "pedal", "load"} or band.low >= band.high:
        return ""
    return lines.words("face.missed.aim", value=readout.value((band.low + band.high) / 2))
