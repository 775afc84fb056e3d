"""What to ask a car for next: the most overdue first, what is judged together in one request, missed ticks dropped.

A link runs it in real time; the rates that a link will give are found by playing it through. It talks to nobody.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

US = 1_000_000
VOLTAGE = -1
"""Stands for the adapter's own voltage among parameters; it is asked for alone."""

SLACK_US = US // 2
"""A slow signal is overdue by this much as a fast one is by a whole period: it costs so little."""


def batched(key: int) -> bool:
    """Whether this key may share a request: mode-01 parameters may, the adapter's voltage and identifiers may not."""
    return 0 <= key <= 0xFF


@dataclass(frozen=True, slots=True)
class Want:
    """One parameter: how often, and with which others it belongs together."""

    pid: int
    period_us: int
    group: int = 0


class Schedule:
    """Which parameters are due. Times are microseconds of one steady clock, handed in.

    Args:
        wants: in order of importance.
        batch: how many parameters a request may ask for.
        start_us: when everything is due for the first time.
    """

    def __init__(self, wants: Sequence[Want], batch: int, start_us: int) -> None:
        self._wants = {w.pid: w for w in wants}
        self._order = {w.pid: n for n, w in enumerate(wants)}
        self._batch = max(1, batch)
        self._due = dict.fromkeys(self._wants, start_us)
        self._slowed: frozenset[int] = frozenset()
        self._slower = 1

    @property
    def next_us(self) -> int | None:
        """When the next parameter is due, or None when nothing is wanted."""
        return min(self._due.values(), default=None)

    def favour(self, pids: Iterable[int], slower: int = 3) -> None:
        """Leaves more room for `pids`: all others are asked for so many times more rarely. Nothing: all are equal."""
        running = frozenset(pids)
        self._slowed = frozenset(self._wants) - running if running else frozenset()
        self._slower = slower

    def _period_us(self, pid: int) -> int:
        return self._wants[pid].period_us * (self._slower if pid in self._slowed else 1)

    def _slack_us(self, pid: int) -> int:
        return min(self._period_us(pid), SLACK_US)

    def _overdue(self, pid: int, now_us: int) -> float:
        """How long ago it fell due, in periods of its own."""
        return (now_us - self._due[pid]) / self._slack_us(pid)

    def take(self, now_us: int) -> tuple[int, ...]:
        """The parameters of the next request, or none; they count as asked for from now on.

        The most overdue one leads, counted in periods of its own: a link that is too slow gives every signal the same
        share of what is asked for it. Then come the others of its group, even those that fall due within half a
        period, then whatever else is due.
        """
        ready = [p for p, due in self._due.items() if due <= now_us]
        if not ready:
            return ()
        lead = min(ready, key=lambda p: (-self._overdue(p, now_us), self._order[p]))
        if not batched(lead) or self._batch == 1:
            return self._asked((lead,), now_us)
        group = self._wants[lead].group
        near = [
            p for p, due in self._due.items()
            if batched(p) and p != lead
            and (due <= now_us or (self._wants[p].group == group and due <= now_us + self._period_us(p) // 2))
        ]  # fmt: skip
        near.sort(key=lambda p: (self._wants[p].group != group, -self._overdue(p, now_us), self._order[p]))
        return self._asked((lead, *near[: self._batch - 1]), now_us)

    def _asked(self, pids: tuple[int, ...], now_us: int) -> tuple[int, ...]:
        """Sets each one's next tick. Of the ticks that were missed at most one is made up for.

        Without that one, whatever is a little late would lose a whole tick, and come half as often as it could.
        """
        for pid in pids:
            self._due[pid] = max(self._due[pid] + self._period_us(pid), now_us - self._slack_us(pid) // 2)
        return pids


def wants(asked_hz: Mapping[str, float], pid_of: Mapping[str, int], batch: int) -> list[Want]:
    """Rates of signals into rates of parameters, fastest first, in groups that fit one request.

    Args:
        asked_hz: signal to rate in hertz, in order of importance; signals without a parameter are left out.
        pid_of: the parameter of each signal.
        batch: how many parameters a request may ask for.
    """
    rates: dict[int, float] = {}
    for name, rate in asked_hz.items():
        if name in pid_of:
            rates[pid_of[name]] = max(rates.get(pid_of[name], 0.0), rate)
    ordered = sorted(rates, key=lambda p: -rates[p])
    found, group, members, last = [], -1, 0, None
    for pid in ordered:
        if rates[pid] != last or members == max(1, batch) or not batched(pid):
            group, members, last = group + 1, 0, rates[pid]
        members += 1
        found.append(Want(pid, max(1, round(US / rates[pid])), group))
    return found


def expected_hz(
    some: Sequence[Want], batch: int, cost_us: Callable[[int], int], seconds: float = 20.0
) -> dict[int, float]:
    """The rate of each parameter that a link gives, by playing the schedule through.

    Args:
        cost_us: round trip of a request by the number of its parameters.
    """
    schedule, now_us, end_us = Schedule(some, batch, 0), 0, round(seconds * US)
    counts = dict.fromkeys((w.pid for w in some), 0)
    while some and now_us < end_us:
        pids = schedule.take(now_us)
        if not pids:
            now_us = max(now_us + 1, schedule.next_us or 0)
            continue
        now_us += max(1, cost_us(len(pids)))
        for pid in pids:
            counts[pid] += 1
    return {pid: count / seconds for pid, count in counts.items()}
