"""Events and attempts as JSON and back: exact integers for the store, seconds for people and for the page."""

from __future__ import annotations

import json
import re
from dataclasses import fields, is_dataclass
from typing import Any

from coach.core import events as kinds
from coach.core.events import Attempt, Code, Event, Excursion, Outcome, Reason

US = 1_000_000
_EVENTS = (
    kinds.Began, kinds.Withdrawn, kinds.ExcursionBegan, kinds.ExcursionEnded, kinds.Secured, kinds.Collected,
    kinds.Ended, kinds.Alarm, kinds.AlarmOver, kinds.LimitAhead, kinds.LimitAheadOver,
)  # fmt: skip


def type_name(event: Event) -> str:
    """The event's name in JSON, e.g. `excursion_began`."""
    return re.sub(r"(?<!^)(?=[A-Z])", "_", type(event).__name__).lower()


_BY_NAME: dict[str, Any] = {re.sub(r"(?<!^)(?=[A-Z])", "_", k.__name__).lower(): k for k in _EVENTS}


def _plain(value: Any) -> Any:
    if is_dataclass(value) and not isinstance(value, type):
        return {f.name: _plain(getattr(value, f.name)) for f in fields(value)}
    if isinstance(value, (list, tuple)):
        return [_plain(v) for v in value]
    return value


def _seconds(value: Any) -> Any:
    """The same with every key that ends in `_us` in seconds."""
    if isinstance(value, dict):
        out = {}
        for key, item in value.items():
            if key.endswith("_us"):
                out[key[:-3] + "_s"] = None if item is None else item / US
            else:
                out[key] = _seconds(item)
        return out
    if isinstance(value, list):
        return [_seconds(v) for v in value]
    return value


def event_json(event: Event) -> dict[str, Any]:
    """For the page: `{"type": "began", "t_s": 1.5, ...}`, times in seconds since the drive's first sample."""
    body = _seconds(_plain(event))
    return {"type": type_name(event), **body}


def dump_event(event: Event) -> str:
    """For the store: microseconds, without the type."""
    return json.dumps(_plain(event), separators=(",", ":"))


def load_event(name: str, body: str) -> Event:
    """What `dump_event` wrote. Raises KeyError for a type that this version does not know."""
    kind = _BY_NAME[name]
    data = json.loads(body)
    if "attempt" in data:
        data["attempt"] = _attempt(data["attempt"])
    if isinstance(data.get("excursion"), dict):
        data["excursion"] = _excursion(data["excursion"])
    if "code" in data:
        data["code"] = Code(data["code"])
    event: Event = kind(**data)
    return event


def dump_attempt(attempt: Attempt) -> str:
    """For the store: microseconds."""
    return json.dumps(_plain(attempt), separators=(",", ":"))


def load_attempt(body: str) -> Attempt:
    """What `dump_attempt` wrote."""
    return _attempt(json.loads(body))


def _excursion(data: dict[str, Any]) -> Excursion:
    return Excursion(**{**data, "code": Code(data["code"])})


def _attempt(data: dict[str, Any]) -> Attempt:
    reason = data["reason"]
    return Attempt(
        **{
            **data,
            "outcome": Outcome(data["outcome"]),
            "reason": None if reason is None else Reason(**{**reason, "code": Code(reason["code"])}),
            "excursions": tuple(_excursion(e) for e in data["excursions"]),
            "covers": None if data["covers"] is None else tuple(data["covers"]),
        }
    )
