"""A naive judge, written from the rules of docs/explanation/how-judgement-works.md and from nothing else.

Every question is answered by scanning the whole history again. It is slow and it is meant to be readable.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from coach.core.derive import AT_CEILING, AT_FLOOR, OUT_OF_RANGE, UNREADABLE
from coach.core.events import (
    Alarm,
    AlarmOver,
    Attempt,
    Began,
    Code,
    Collected,
    Ended,
    Event,
    Excursion,
    ExcursionBegan,
    ExcursionEnded,
    LimitAhead,
    LimitAheadOver,
    Outcome,
    Reason,
    Secured,
    Withdrawn,
)
from coach.core.spec import Asked, Band, Capture, JudgePlan, Limit
from coach.recording import US, Mark, Recording
from tests.core.oracle_history import History, Sample

AGAIN_US = 3_000_000
SMALL_US = 3_000_000
LATE_US = 400_000
SLOPE_US = 400_000
SLOPE_SAMPLES = 4


@dataclass(frozen=True)
class Looked:
    """A sample held against a band: `code` None is good; `excess` is how far beyond the bound."""

    t: int
    value: float
    code: Code | None
    excess: float = 0.0
    bound: float | None = None

    @property
    def rank(self) -> int:
        """Saturated is worse than beyond a bound, and that is worse than unreadable."""
        if self.code is Code.SATURATED:
            return 2
        return 0 if self.code in (Code.UNREADABLE, Code.OUT_OF_RANGE) else 1

    @property
    def shown(self) -> float | None:
        return None if self.code is Code.UNREADABLE else self.value


@dataclass(frozen=True)
class Spell:
    """A row of bad samples of one signal; `end` is the first good one after it, or None."""

    signal: str
    first: int
    end: int | None
    last_good: int
    bad: tuple[Looked, ...]

    @property
    def worst(self) -> Looked:
        best = self.bad[0]
        for look in self.bad[1:]:
            if (look.rank, look.excess) > (best.rank, best.excess):
                best = look
        return best


@dataclass(frozen=True)
class Break:
    """Something that ends an attempt at `t`. `order` is the place in rule 39 or rule 40."""

    t: int
    order: int
    signal: str | None
    code: Code
    last_good: int
    value: float | None = None
    bound: float | None = None
    since: int | None = None


@dataclass
class Running:
    """The attempt that runs."""

    start: int
    number: int
    first: float | None = None
    from_us: int | None = None
    secured: int | None = None


@dataclass(frozen=True)
class Story:
    """How far a sweep has come."""

    furthest: float
    reached: int | None = None
    to_us: int | None = None


@dataclass(frozen=True)
class Over:
    """An attempt that ended, with the moment at which it did and everything that broke it."""

    t: int
    attempt: Attempt
    breaks: tuple[Break, ...]


def _first(pair: tuple[int, int]) -> int:
    return pair[0]


def look(band: Band, sample: Sample) -> Looked:
    """Rule 9."""
    if sample.flag == UNREADABLE:
        return Looked(sample.t, sample.value, Code.UNREADABLE)
    if sample.flag == OUT_OF_RANGE:
        return Looked(sample.t, sample.value, Code.OUT_OF_RANGE)
    if sample.flag in (AT_CEILING, AT_FLOOR):
        ends = (band.high, band.low) if sample.flag == AT_CEILING else (band.low, band.high)
        bound = ends[0] if ends[0] is not None else ends[1]
        return Looked(sample.t, sample.value, Code.SATURATED, bound=bound)
    if band.low is not None and sample.value < band.low:
        return Looked(sample.t, sample.value, Code.LOW, band.low - sample.value, band.low)
    if band.high is not None and sample.value > band.high:
        return Looked(sample.t, sample.value, Code.HIGH, sample.value - band.high, band.high)
    return Looked(sample.t, sample.value, None)


def beyond(limit: Limit, sample: Sample) -> bool:
    """Rule 30, for a readable sample."""
    if limit.high is not None:
        return sample.value > limit.high or sample.flag == AT_CEILING
    return sample.value < limit.bound or sample.flag == AT_FLOOR


def slope(points: list[tuple[int, float]]) -> float:
    """Least-squares slope, units a microsecond, on centred times."""
    n = len(points)
    t_mean = sum(t for t, _ in points) / n
    v_mean = sum(v for _, v in points) / n
    over = sum((t - t_mean) * (v - v_mean) for t, v in points)
    return over / sum((t - t_mean) ** 2 for t, _ in points)


@dataclass
class Trial:
    """One capture, walked through a drive."""

    plan: JudgePlan
    capture: Capture
    history: History
    marks: list[Mark]
    people: bool
    secured_of: dict[str, list[int]]
    events: list[Event] = field(default_factory=list)
    running: Running | None = None
    over: list[Over] = field(default_factory=list)
    armed: bool = False
    open_cases: set[str] = field(default_factory=set)
    walks: dict[tuple[str, int], list[Looked]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        c = self.capture
        self.bands = {b.signal: b for b in c.keep}
        if c.sweep is not None:
            self.bands.setdefault(c.sweep.signal, Band(c.sweep.signal))
        self.names = sorted(self.bands)
        self.limits = sorted(c.limits, key=lambda limit: limit.signal)
        self.way = -1 if c.sweep is not None and not c.sweep.rising else 1

    # ---- conditions -------------------------------------------------------------------------------------------------

    def walk(self, signal: str, start: int) -> list[Looked]:
        """The samples of a keep signal since `start`, the one that held at the start included (rule 10)."""
        if (signal, start) not in self.walks:
            band = self.bands[signal]
            samples = self.history.of.get(signal, [])
            held = [s for s in samples if s.t <= start][-1:]
            looked: list[Looked] = []
            for sample in held + [s for s in samples if s.t > start]:
                this = look(band, sample)
                if this.code is None and band.wander is not None:
                    values = [g.value for g in looked if g.code is None] + [sample.value]
                    spread = max(values) - min(values)
                    if spread > band.wander:
                        this = Looked(sample.t, sample.value, Code.WANDER, spread - band.wander, band.wander)
                looked.append(this)
            self.walks[signal, start] = looked
        return self.walks[signal, start]

    def spells(self, signal: str, start: int, t: int) -> list[Spell]:
        """The excursions of a signal in an attempt, as known at `t`."""
        spells: list[Spell] = []
        last_good = start
        bad: list[Looked] = []
        for this in self.walk(signal, start):
            if this.t > t:
                break
            if this.code is not None:
                bad.append(this)
                continue
            if bad:
                spells.append(Spell(signal, bad[0].t, this.t, last_good, tuple(bad)))
            last_good, bad = this.t, []
        if bad:
            spells.append(Spell(signal, bad[0].t, None, last_good, tuple(bad)))
        return spells

    def allowed_s(self, sample: Sample, holds_us: Mapping[str, int]) -> float:
        """How long the input that runs out first may hold."""
        return min(((stamp + holds_us[name], holds_us[name]) for name, stamp in sample.stamps), key=_first)[1] / US

    def all_spells(self, start: int, t: int) -> list[Spell]:
        return [spell for name in self.names for spell in self.spells(name, start, t)]

    def standing(self, attempt: Running, now: int) -> list[str]:
        """The conditions that must hold: the swept signal by itself only until it has reached `to` (rule 28)."""
        keep = {b.signal for b in self.capture.keep}
        arrived = self.capture.sweep is not None and self.story(attempt, now).reached is not None
        return [name for name in self.names if name in keep or not arrived]

    def excursions(self, attempt: Running, t: int) -> list[Spell]:
        """The excursions of an attempt, as known at `t`, by signal."""
        spells = self.all_spells(attempt.start, t)
        standing = self.standing(attempt, t)
        if len(standing) == len(self.names):
            return spells
        reached = self.story(attempt, t).reached
        assert reached is not None
        return [s for s in spells if s.signal in standing or s.first <= reached]

    def still_open(self, attempt: Running, t: int) -> list[Spell]:
        return [spell for spell in self.excursions(attempt, t) if spell.end is None]

    def open_spells(self, start: int, t: int) -> list[Spell]:
        return [spell for spell in self.all_spells(start, t) if spell.end is None]

    def last_good(self, signal: str, start: int, t: int) -> int:
        return max([this.t for this in self.walk(signal, start) if this.t <= t and this.code is None] + [start])

    def met(self, band: Band, t: int) -> bool:
        """Rule 11, outside an attempt."""
        sample = self.history.last(band.signal, t)
        if sample is None or look(band, sample).code is not None:
            return False
        return self.history.until(band.signal, sample, self.capture.stale_us, t) >= t

    def kept(self, start: int, t: int) -> bool:
        """Whether every keep condition is met at `t` in the attempt since `start`."""
        for name in self.names:
            last = [this for this in self.walk(name, start) if this.t <= t][-1]
            sample = self.history.last(name, t)
            assert sample is not None
            if last.code is not None or self.history.until(name, sample, self.capture.stale_us, t) < t:
                return False
        return True

    def open_time(self, spells: Iterable[Spell], t: int) -> int:
        """For how long until `t` at least one excursion was open."""
        total, covered = 0, 0
        for spell in sorted(spells, key=lambda s: s.first):
            end = t if spell.end is None else min(spell.end, t)
            begin = max(spell.first, covered)
            if end > begin:
                total += end - begin
                covered = end
        return total

    # ---- limits -----------------------------------------------------------------------------------------------------

    def seen(self, limit: Limit, t: int) -> list[Sample]:
        """The samples of a limit's signal that are seen (rule 30), up to `t`."""
        return [s for s in self.history.upto(limit.signal, t) if s.readable and self.here(s, limit.unseen_us)]

    def seen_until(self, limit: Limit, t: int) -> int | None:
        seen = self.seen(limit, t)
        return self.out_of_sight(limit, seen[-1]) if seen else None

    def out_of_sight(self, limit: Limit, sample: Sample) -> int:
        """Up to when a limit counts as seen after `sample`."""
        return min(stamp + limit.unseen_us[name] for name, stamp in sample.stamps)

    def last_inside(self, limit: Limit, t: int) -> int:
        return max([s.t for s in self.seen(limit, t) if not beyond(limit, s)], default=-1)

    def passing_since(self, limit: Limit, t: int) -> int:
        """When the passing began to which the sample beyond at `t` belongs (rule 32)."""
        since, inside_since = t, None
        for sample in reversed(self.seen(limit, t)):
            if beyond(limit, sample):
                if inside_since is not None and since - inside_since > AGAIN_US:
                    break
                since, inside_since = sample.t, None
            else:
                inside_since = sample.t
        return since

    def alarms(self, limit: Limit) -> list[int]:
        return [e.t_us for e in self.events if isinstance(e, Alarm) and not e.unseen and e.signal == limit.signal]

    def alarm_open(self, limit: Limit) -> int | None:
        """The time of the last alarm if it is not over."""
        alarms = self.alarms(limit)
        overs = [e.since_us for e in self.events if isinstance(e, AlarmOver) and e.signal == limit.signal]
        return alarms[-1] if alarms and alarms[-1] not in overs else None

    def ahead_said(self, limit: Limit) -> bool:
        said = [e for e in self.events if isinstance(e, LimitAhead | LimitAheadOver) and e.signal == limit.signal]
        return bool(said) and isinstance(said[-1], LimitAhead)

    def is_ahead(self, limit: Limit, t: int) -> bool:
        """Rule 36, without the watching."""
        seen = self.seen(limit, t)
        value, bound = seen[-1].value, limit.bound
        if beyond(limit, seen[-1]) or abs(bound - value) > 0.15 * abs(bound):
            return False
        for n in range(SLOPE_SAMPLES, len(seen) + 1):
            row = seen[-n:]
            if any(b.t > self.out_of_sight(limit, a) for a, b in itertools.pairwise(row)):
                return False
            if row[-1].t - row[0].t >= SLOPE_US:
                then = value + slope([(s.t, s.value) for s in row]) * self.capture.warn_ahead_us
                if abs(then - bound) <= 1e-9 * max(1.0, abs(bound)):
                    self.open_cases.add("slope")
                return then >= bound if limit.high is not None else then <= bound
        return False

    def beyond_since(self, limit: Limit, attempt: Running, t: int) -> int | None:
        """The first of the row of samples beyond up to `t`, within the attempt and from `after` on (rule 33)."""
        since = None
        for sample in reversed(self.seen(limit, t)):
            if not beyond(limit, sample) or sample.t <= attempt.start or sample.t < attempt.start + limit.after_us:
                break
            since = sample.t
        return since

    # ---- sweep ------------------------------------------------------------------------------------------------------

    def plausible(self, t: int) -> list[Sample]:
        """The plausible samples of the swept signal up to `t` (rule 25)."""
        sweep = self.capture.sweep
        assert sweep is not None
        chain: list[Sample] = []
        for s in self.history.upto(sweep.signal, t):
            if not s.readable or s.flag in (AT_CEILING, AT_FLOOR):
                continue
            if not self.here(s, self.capture.stale_us):
                continue
            if chain and sweep.fastest is not None:
                rise = self.way * (s.value - chain[-1].value)
                if rise > sweep.fastest * (s.t - chain[-1].t) / US:
                    continue
            chain.append(s)
        return chain

    def past(self, value: float, bound: float) -> float:
        """How far `value` is past `bound` in the direction of the sweep; negative before it."""
        return self.way * (value - bound)

    def cross(self, a: Sample, b: Sample, bound: float) -> int:
        return a.t + round((bound - a.value) / (b.value - a.value) * (b.t - a.t))

    def story(self, attempt: Running, t: int) -> Story:
        """How far the sweep of this attempt has come by `t` (rule 28)."""
        sweep = self.capture.sweep
        assert sweep is not None
        assert attempt.first is not None
        furthest = attempt.first
        chain = self.plausible(t)
        for before, s in itertools.pairwise(chain):
            if s.t <= attempt.start:
                continue
            if not self.kept(attempt.start, s.t) or self.open_spells(attempt.start, s.t):
                continue
            if self.past(s.value, furthest) > 0:
                furthest = s.value
            if self.past(s.value, sweep.to) >= 0:
                late = self.past(before.value, sweep.to) >= 0
                return Story(furthest, s.t, s.t if late else self.cross(before, s, sweep.to))
        return Story(furthest)

    def came_far(self, attempt: Running, t: int) -> bool:
        sweep = self.capture.sweep
        if sweep is None:
            return False
        return self.past(self.story(attempt, t).furthest, sweep.start) > sweep.span / 10

    # ---- data -------------------------------------------------------------------------------------------------------

    def numbers(self, asked: Asked, t: int) -> list[Sample]:
        return [s for s in self.history.upto(asked.signal, t) if s.flag != UNREADABLE]

    def needed(self) -> list[Asked]:
        return [asked for asked in self.capture.record if asked.need]

    def too_thin(self, attempt: Running, t: int) -> list[Break]:
        """Rule 38; the one furthest below what was asked comes first."""
        found = []
        for asked in self.needed():
            lasted_s = (t - attempt.start) / US
            if lasted_s * asked.rate_hz < 10:
                continue
            rate = len([s for s in self.numbers(asked, t) if s.t > attempt.start]) / lasted_s
            if rate < asked.least * asked.rate_hz:
                found.append((rate / asked.rate_hz, asked.signal, rate, asked))
        found.sort(key=lambda f: f[:2])
        return [
            Break(t, 4 + i, name, Code.RATE, t, rate, asked.least * asked.rate_hz)
            for i, (_, name, rate, asked) in enumerate(found)
        ]

    # ---- time passing -----------------------------------------------------------------------------------------------

    def deadlines(self, attempt: Running, now: int) -> list[Break]:
        """All deadlines of the attempt as they stand after everything up to `now` (rule 39)."""
        c, start = self.capture, attempt.start
        found: list[Break] = []
        for limit in self.limits:
            inside = self.last_inside(limit, now)
            since = self.beyond_since(limit, attempt, now)
            if limit.for_us and since is not None:
                row = [s.value for s in self.seen(limit, now) if s.t >= since]
                worst = max(row) if limit.high is not None else min(row)
                found.append(Break(since + limit.for_us, 0, limit.signal, Code.LIMIT, inside, worst, limit.bound))
            until = self.seen_until(limit, now)
            assert until is not None
            allowed = self.allowed_s(self.seen(limit, now)[-1], limit.unseen_us)
            found.append(Break(until, 1, limit.signal, Code.LIMIT_UNSEEN, inside, None, allowed))
        for name in self.standing(attempt, now):
            sample = self.history.last(name, now)
            assert sample is not None
            until = self.history.until(name, sample, c.stale_us, now)
            good = self.last_good(name, start, now)
            cut = self.history.cut_before_stale(name, sample, c.stale_us, now)
            if cut is not None:
                found.append(Break(until, 2, name, Code.UNKNOWN, good, since=cut.since_us))
            else:
                found.append(Break(until, 2, name, Code.STALE, good, None, self.allowed_s(sample, c.stale_us)))
        spells = self.excursions(attempt, now)
        for spell in spells:
            if spell.end is None:
                worst_look = spell.worst
                assert worst_look.code is not None
                found.append(
                    Break(
                        spell.first + c.grace_us, 3, spell.signal, worst_look.code, spell.last_good,
                        worst_look.shown, worst_look.bound,
                    )
                )  # fmt: skip
                if c.hold_us is not None and attempt.secured is None:
                    tenth = c.hold_us // 10
                    left = tenth - self.open_time(spells, now)
                    found.append(
                        Break(now + left, 4, spell.signal, Code.EXCURSIONS, spell.last_good, tenth / US, tenth / US)
                    )
        if c.sweep is not None and c.sweep.within_us is not None and self.story(attempt, now).reached is None:
            found.append(
                Break(
                    start + c.sweep.within_us, 5, c.sweep.signal, Code.SLOW,
                    self.last_good(c.sweep.signal, start, now), c.sweep.within_us / US, c.sweep.within_us / US,
                )
            )  # fmt: skip
        for asked in self.needed():
            last = max([s.t for s in self.numbers(asked, now)], default=None)
            if last is None or last + asked.gap_us <= start:
                last = start
            found.append(Break(last + asked.gap_us, 6, asked.signal, Code.GAP, last, None, asked.gap_us / US))
        return found

    def pass_time(self, now: int, before: int) -> None:
        """Deadlines that fall due before `before`; the last judged moment was `now`."""
        if self.running is None:
            return
        due = self.deadlines(self.running, now)
        first = min((d.t for d in due), default=before)
        if first < before:
            breaks = [d for d in due if d.t == first]
            for d in sorted(breaks, key=lambda d: d.signal or ""):
                if d.code is Code.LIMIT_UNSEEN and d.signal is not None:
                    bound = next(limit.bound for limit in self.limits if limit.signal == d.signal)
                    self.events.append(Alarm(first, self.capture.id, d.signal, None, bound, unseen=True))
            self.close(first, now, breaks, self.still_open(self.running, now))

    def close(self, t: int, now: int, breaks: list[Break], open_spells: list[Spell]) -> None:
        """The attempt ends at `t` (rules 18, 19, 42); `now` is up to when its sweep was looked at."""
        attempt = self.running
        assert attempt is not None
        cause = min(breaks, key=lambda b: (b.order, b.signal or ""))
        end = min([b.last_good for b in breaks] + [s.last_good for s in open_spells])
        end = max(end, attempt.start, attempt.secured or attempt.start)
        outcome = Outcome.MISSED
        if attempt.secured is not None:
            outcome = Outcome.SECURED
        elif cause.code is Code.LIMIT:
            outcome = Outcome.STOPPED
        elif cause.code in (Code.GAP, Code.RATE):
            outcome = Outcome.SPARSE
        reason: Reason | None = Reason(
            cause.code, t if cause.since is None else cause.since, cause.signal, cause.value, cause.bound
        )
        if attempt.secured is not None and cause.code is Code.DRIVE_ENDED:
            reason = None
        self.finish(t, now, attempt, outcome, end, reason, tuple(breaks))

    def finish(self, t, now, attempt, outcome, end, reason, breaks) -> None:
        c, start = self.capture, attempt.start
        far = self.came_far(attempt, now)
        story = self.story(attempt, now) if c.sweep is not None else None
        if story is not None:
            progress = min(1.0, max(0.0, self.past(story.furthest, c.sweep.start) / c.sweep.span))
        else:
            progress = 1.0 if attempt.secured is not None else min(1.0, (end - start) / c.hold_us)
        closed = [e.excursion for e in self.events if isinstance(e, ExcursionEnded) and e.number == attempt.number]
        closed = [x for x in closed if x.start_us >= start]
        made = Attempt(
            capture=c.id,
            number=attempt.number,
            outcome=outcome,
            start_us=start,
            end_us=end,
            secured_us=attempt.secured,
            reason=reason,
            excursions=tuple(closed),
            from_us=attempt.from_us,
            to_us=story.to_us if story is not None else None,
            covers=(attempt.first, story.furthest) if story is not None else None,
            progress=progress,
            small=outcome in (Outcome.MISSED, Outcome.SPARSE) and end - start < SMALL_US and not far,
        )
        self.events.append(Ended(t, c.id, made))
        self.over.append(Over(t, made, breaks))
        self.leave(t)

    def leave(self, t: int) -> None:
        """Nobody runs any more: the warnings of limits that only an attempt watches are over."""
        self.running = None
        for limit in self.limits:
            if limit.scope == "attempt" and self.ahead_said(limit):
                self.events.append(LimitAheadOver(t, self.capture.id, limit.signal))

    # ---- an instant -------------------------------------------------------------------------------------------------

    def instant(self, t: int, frame: dict[str, Sample]) -> None:
        """Rule 40."""
        if not self.is_instant(t, frame):
            return
        attempt = self.running
        breaks = self.look_at_limits(t, frame)
        ended_here = any(o.t == t for o in self.over)
        if attempt is not None:
            before_open = self.still_open(attempt, t - 1)
            stopped = bool(breaks)
            breaks += self.look_at_conditions(t, attempt, quiet=stopped)
            step = self.look_at_sweep(t, frame, attempt)
            if isinstance(step, Break):
                breaks.append(step)
            if breaks:
                open_now = before_open if stopped else self.still_open(attempt, t)
                self.close(t, t - 1, breaks, open_now)
                ended_here = True
            elif step == "back":
                self.events.append(Withdrawn(t, self.capture.id, attempt.number))
                self.leave(t)
            else:
                ended_here = self.secure(t, attempt)
        self.collect(t)
        if self.running is not None:
            self.armed = False
            return
        free = not ended_here and self.may_begin(t)
        if free and attempt is None:
            self.begin(t, frame)
        self.armed = free and self.running is None and self.on_near_side(t)

    def is_instant(self, t: int, frame: dict[str, Sample]) -> bool:
        """Rule 4; a derived sample is none where an input is stale already in this place (rule 7)."""
        names = [*self.bands, *(b.signal for b in self.capture.start)]
        if self.capture.collect is not None:
            names += [axis.signal for axis in self.capture.collect.axes]
        places = [(name, self.capture.stale_us) for name in names]
        if any(name in frame and self.here(frame[name], holds) for name, holds in places):
            return True
        return any(x.signal in frame and self.here(frame[x.signal], x.unseen_us) for x in self.limits)

    def here(self, sample: Sample, holds_us: Mapping[str, int]) -> bool:
        """Whether a sample counts in a place where the inputs hold that long."""
        return all(sample.t - stamp <= holds_us[name] for name, stamp in sample.stamps)

    def look_at_limits(self, t: int, frame: dict[str, Sample]) -> list[Break]:
        attempt, c = self.running, self.capture
        breaks: list[Break] = []
        for limit in self.limits:
            seen = self.seen(limit, t)
            if limit.signal not in frame or not seen or seen[-1].t != t:
                continue
            sample = seen[-1]
            acting = attempt is not None and t >= attempt.start + limit.after_us
            watched = acting or limit.scope == "drive"
            if beyond(limit, sample):
                since = self.passing_since(limit, t)
                if watched and not any(a >= since for a in self.alarms(limit)):
                    self.events.append(Alarm(t, c.id, limit.signal, sample.value, limit.bound))
                if acting and not limit.for_us:
                    inside = self.last_inside(limit, t)
                    breaks.append(Break(t, 0, limit.signal, Code.LIMIT, inside, sample.value, limit.bound))
            else:
                since_alarm = self.alarm_open(limit)
                if since_alarm is not None:
                    row = [s.value for s in seen if s.t >= since_alarm and beyond(limit, s)]
                    peak = max(row) if limit.high is not None else min(row)
                    self.events.append(AlarmOver(t, c.id, limit.signal, since_alarm, len(row), peak))
            ahead = watched and self.is_ahead(limit, t)
            if ahead and not self.ahead_said(limit):
                self.events.append(LimitAhead(t, c.id, limit.signal, sample.value, limit.bound))
            elif not ahead and self.ahead_said(limit):
                self.events.append(LimitAheadOver(t, c.id, limit.signal))
        return breaks

    def look_at_conditions(self, t: int, attempt: Running, *, quiet: bool) -> list[Break]:
        """Excursions that end, then excursions that begin; `quiet` when a limit has ended the attempt already."""
        c = self.capture
        spells = self.excursions(attempt, t)
        if not quiet:
            for spell in spells:
                if spell.end == t:
                    worst = spell.worst
                    assert worst.code is not None
                    gone = Excursion(spell.signal, spell.first, t, worst.shown, worst.code)
                    self.events.append(ExcursionEnded(t, c.id, attempt.number, gone))
        breaks: list[Break] = []
        count = len([spell for spell in spells if spell.first < t])
        for spell in spells:
            if spell.first != t:
                continue
            count += 1
            bad = spell.bad[0]
            assert bad.code is not None
            if c.grace_us == 0 or quiet:
                breaks.append(Break(t, 1, spell.signal, bad.code, spell.last_good, bad.shown, bad.bound))
            elif c.max_excursions is not None and attempt.secured is None and count > c.max_excursions:
                breaks.append(Break(t, 1, spell.signal, Code.EXCURSIONS, spell.last_good, count, c.max_excursions))
            else:
                self.events.append(ExcursionBegan(t, c.id, attempt.number, spell.signal, bad.code, bad.shown))
        return breaks

    def look_at_sweep(self, t: int, frame: dict[str, Sample], attempt: Running) -> Break | str | None:
        """`back` when the attempt is withdrawn."""
        sweep = self.capture.sweep
        if sweep is None or sweep.signal not in frame:
            return None
        story = self.story(attempt, t - 1)
        chain = self.plausible(t)
        if story.reached is not None or not chain or chain[-1].t != t:
            return None
        value = chain[-1].value
        dipped = self.past(story.furthest, value) > sweep.dip
        gone_far = self.past(story.furthest, sweep.start) > sweep.span / 10
        if self.past(value, sweep.start) < 0 and not (gone_far and dipped):
            return "back"
        if dipped:
            before = self.last_good(sweep.signal, attempt.start, t - 1)
            return Break(t, 2, sweep.signal, Code.DIP, before, value, story.furthest - self.way * sweep.dip)
        return None

    def secure(self, t: int, attempt: Running) -> bool:
        """Rules 17, 24, 29, 38. Says whether the attempt ended here."""
        c, start = self.capture, attempt.start
        if attempt.secured is not None or self.still_open(attempt, t):
            return False
        since = None
        if c.sweep is None:
            assert c.hold_us is not None
            since = start + c.hold_us
        else:
            reached = self.story(attempt, t).reached
            if reached is None:
                return False
            if c.sweep.then_us is not None:
                since = reached + c.sweep.then_us
        if since is not None and (t < since or any(self.last_good(b.signal, start, t) < since for b in c.keep)):
            return False
        spells = self.excursions(attempt, t)
        filled = self.open_time(spells, t)
        if c.sweep is not None and filled * 10 > t - start:
            name, tenth = min(spell.signal for spell in spells), (t - start) / 10
            self.close(t, t, [Break(t, 3, name, Code.EXCURSIONS, t, filled / US, tenth / US)], [])
            return True
        thin = self.too_thin(attempt, t)
        if thin:
            self.close(t, t, thin, [])
            return True
        attempt.secured = t
        if c.collect is None:
            self.secured_of.setdefault(c.id, []).append(t)
        self.events.append(Secured(t, c.id, attempt.number, start))
        if c.sweep is not None:
            self.finish(t, t, attempt, Outcome.SECURED, t, None, ())
            return True
        return False

    # ---- collecting -------------------------------------------------------------------------------------------------

    def collect(self, t: int) -> None:
        """Rules 44 and 45."""
        c = self.capture
        if c.collect is None or self.secured_of.get(c.id):
            return
        pieces = [(o.attempt.start_us, o.attempt.end_us) for o in self.over if o.attempt.secured_us is not None]
        attempt = self.running
        if attempt is not None and attempt.secured is not None and not self.still_open(attempt, t):
            pieces.append((attempt.start, min([self.last_good(b.signal, attempt.start, t) for b in c.keep], default=t)))
        total = sum(end - start for start, end in pieces)
        dwell: dict[tuple[int, ...], int] = {}
        for start, end in pieces if c.collect.axes else []:
            self.visit(start, end, dwell)
        if total >= c.collect.total_us and all(dwell.get(x, 0) >= c.collect.dwell_us for x in c.collect.wanted):
            self.secured_of.setdefault(c.id, []).append(t)
            self.events.append(Collected(t, c.id, total))

    def visit(self, start: int, end: int, dwell: dict[tuple[int, ...], int]) -> None:
        """Rule 46: adds the time in each cell from `start` to `end`."""
        holds = self.capture.stale_us
        assert self.capture.collect is not None
        axes = self.capture.collect.axes
        rows = [[s for s in self.history.upto(a.signal, end) if self.here(s, holds)] for a in axes]
        turns = {start, end}
        for samples in rows:
            for s in samples:
                turns |= {s.t, self.ends(s)}
        turns = {turn for turn in turns if start <= turn <= end}
        for a, b in itertools.pairwise(sorted(turns)):
            cell = tuple(self.place(axis.edges, samples, a) for axis, samples in zip(axes, rows, strict=True))
            if None not in cell:
                dwell[cell] = dwell.get(cell, 0) + b - a

    def ends(self, sample: Sample) -> int:
        """Up to when a sample holds, nothing being said after the fact."""
        return min(stamp + self.capture.stale_us[name] for name, stamp in sample.stamps)

    def place(self, edges: tuple[float, ...], samples: list[Sample], t: int) -> int | None:
        """Between which edges the value lies just after `t`."""
        past = [s for s in samples if s.t <= t]
        if not past or self.ends(past[-1]) <= t or look(Band(""), past[-1]).code is not None:
            return None
        return next((i for i, (a, b) in enumerate(itertools.pairwise(edges)) if a <= past[-1].value < b), None)

    # ---- beginning --------------------------------------------------------------------------------------------------

    def said(self, t: int, on: str, off: str) -> bool:
        """Whether the last word of two kinds, up to `t`, was `on`."""
        words = [m.kind for m in self.marks if m.t_us <= t and m.kind in (on, off) and self.concerns(m)]
        return bool(words) and words[-1] == on

    def concerns(self, mark: Mark) -> bool:
        return mark.kind in ("pause", "resume") or mark.capture == self.capture.id

    def gate_open(self, t: int) -> bool:
        """Rule 14."""
        c = self.capture
        if c.arming and self.people and not self.said(t, "arm", "disarm"):
            return False
        if self.said(t, "skip", "unskip") or self.said(t, "pause", "resume"):
            return False
        times = {other.id: other.times for other in self.plan.captures}
        for need in c.needs:
            if need not in times or len([s for s in self.secured_of.get(need, []) if s < t]) < times[need]:
                return False
        confirmed = {m.text for m in self.marks if m.t_us <= t and m.kind == "confirm" and self.concerns(m)}
        if not set(c.confirm) <= confirmed:
            return False
        notable = [o for o in self.over if not o.attempt.small]
        if notable and t < notable[-1].t + c.rest_us:
            return False
        if c.wait_after_limit and any(o.attempt.outcome is Outcome.STOPPED for o in self.over):
            return False
        for stop in self.over:
            for b in stop.breaks:
                if b.code is Code.LIMIT:
                    limit = next(limit for limit in self.limits if limit.signal == b.signal)
                    if self.last_inside(limit, t) <= stop.t:
                        return False
        for one in self.over:
            for b in one.breaks:
                if b.code is Code.GAP:
                    asked = next(a for a in c.record if a.signal == b.signal)
                    if not any(s.t > one.t for s in self.numbers(asked, t)):
                        return False
        return True

    def may_begin(self, t: int) -> bool:
        """Rule 13, apart from attempts that run or ended."""
        if not all(self.met(band, t) for band in [*self.capture.start, *self.bands.values()]):
            return False
        for limit in self.limits:
            until = self.seen_until(limit, t)
            if until is None or until < t:
                return False
            if not limit.after_us and beyond(limit, self.seen(limit, t)[-1]):
                return False
        return self.gate_open(t)

    def on_near_side(self, t: int) -> bool:
        """The last part of rule 26's first sentence."""
        sweep = self.capture.sweep
        if sweep is None:
            return False
        chain = self.plausible(t)
        if not chain or self.past(chain[-1].value, sweep.start) >= 0:
            return False
        return self.history.until(sweep.signal, chain[-1], self.capture.stale_us, t) >= t

    def begin(self, t: int, frame: dict[str, Sample]) -> None:
        """Rule 13; for a sweep rules 26 and 27."""
        sweep = self.capture.sweep
        number = len(self.over)
        if sweep is None:
            self.running = Running(t, number)
        else:
            chain = self.plausible(t)
            if not chain or self.past(chain[-1].value, sweep.start) < 0:
                return
            near = [i for i, s in enumerate(chain) if self.past(s.value, sweep.start) < 0]
            if not near:
                return
            last_near, first_past = chain[near[-1]], chain[near[-1] + 1]
            crossing = self.cross(last_near, first_past, sweep.start)
            value = chain[-1].value
            if self.armed and sweep.signal in frame and chain[-1].t == t:
                self.running = Running(t, number, value, crossing)
            else:
                far = max(self.past(s.value, sweep.start) for s in chain[near[-1] + 1 :])
                if sweep.late is not None:
                    in_time = far <= sweep.late
                else:
                    in_time = t - crossing <= LATE_US and far <= sweep.span / 10
                if not in_time or self.history.until(sweep.signal, chain[-1], self.capture.stale_us, t) < t:
                    return
                self.running = Running(t, number, value)
        self.events.append(Began(t, self.capture.id, number))

    # ---- people and the end -----------------------------------------------------------------------------------------

    def word(self, mark: Mark, now: int) -> None:
        """What someone said ends an attempt that runs."""
        if self.running is None or not self.concerns(mark):
            return
        codes = {"pause": Code.PAUSED, "skip": Code.SKIPPED}
        if self.capture.arming and self.people:
            codes["disarm"] = Code.DISARMED
        if mark.kind in codes:
            self.by_hand(mark.t_us, now, codes[mark.kind])

    def by_hand(self, t: int, now: int, code: Code) -> None:
        assert self.running is not None
        last = max([s.t for name in self.names for s in self.history.upto(name, now)], default=self.running.start)
        self.close(t, now, [Break(t, 0, None, code, last)], self.still_open(self.running, now))


def oracle(plan: JudgePlan, recording: Recording) -> list[Event]:
    """The events of a drive by the rules, in order of time, capture and emission."""
    return examine(plan, recording)[0]


def examine(plan: JudgePlan, recording: Recording) -> tuple[list[Event], set[str]]:
    """The events, and which cases came up that rounding decides."""
    history = History(plan, recording)
    if not history.instants:
        return [], set()
    marks = sorted(recording.marks or (), key=lambda m: m.t_us)
    secured_of: dict[str, list[int]] = {}
    people = recording.marks is not None
    trials = [Trial(plan, c, history, marks, people, secured_of) for c in plan.captures]
    last = history.instants[-1][0]
    end = max(last, recording.end_us or last, *(m.t_us for m in marks))
    steps: list[tuple[int, int, object]] = [(t, 1, frame) for t, frame in history.instants]
    steps += [(m.t_us, 0, m) for m in marks]
    steps.sort(key=lambda step: step[:2])
    now = -1
    for t, _, what in steps:
        for trial in trials:
            trial.pass_time(now, t)
            if isinstance(what, Mark):
                trial.word(what, now)
            else:
                assert isinstance(what, dict)
                trial.instant(t, what)
        if not isinstance(what, Mark):
            now = t
    events: list[tuple[int, int, Event]] = []
    for place, trial in enumerate(trials):
        trial.pass_time(last, end)
        if trial.running is not None:
            trial.by_hand(last, last, Code.DRIVE_ENDED)
        trial.collect(last)
        events += [(e.t_us, place, e) for e in trial.events]
    events.sort(key=lambda e: e[:2])
    return [e for _, _, e in events], set().union(*(trial.open_cases for trial in trials))
