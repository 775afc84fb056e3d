"""The shape of a verdict as JSON, for other programs: what `verdict_json` writes (docs/reference/verdict.md)."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field


class _Part(BaseModel):
    model_config = ConfigDict(extra="allow", strict=True)


class RecipePart(_Part):
    """Which request was judged."""

    title: str
    revision: int
    sha256: str = Field(description="Of the file as it was received, in hexadecimal.")


class SignalPart(_Part):
    """How often a signal came."""

    count: int
    rate_hz: float
    max_gap_s: float


class DrivePart(_Part):
    """The drive."""

    duration_s: float
    samples: int
    signals: dict[str, SignalPart] = Field(description="By signal that was read; derived ones are not in it.")


class AlarmPart(_Part):
    """A limit that was passed, or could no longer be seen."""

    capture: str
    signal: str
    value: float | None
    bound: float | None
    t_s: float
    unseen: bool


class ReasonPart(_Part):
    """What ended an attempt."""

    code: str
    signal: str | None
    value: float | None
    bound: float | None
    t_s: float
    text: str


class ExcursionPart(_Part):
    """A stay outside a band that grace covered."""

    signal: str
    start_s: float
    duration_s: float
    peak: float | None
    code: str


class CrossingsPart(_Part):
    """When a sweep crossed its ends."""

    from_s: float
    to_s: float | None
    interpolated: bool


class AttemptPart(_Part):
    """One attempt; times are seconds from the drive's first sample."""

    number: int
    outcome: Literal["secured", "missed", "stopped", "sparse"]
    start_s: float
    end_s: float
    duration_s: float
    secured_s: float | None
    reason: ReasonPart | None
    remedy: str
    excursions: list[ExcursionPart]
    crossings: CrossingsPart | None
    covers: list[float | None] | None
    progress: float = Field(ge=0, le=1)
    small: bool


class CollectedPart(_Part):
    """How much of a sum of pieces is there."""

    asked_s: float
    total_s: float
    pieces: int
    t_s: float | None


class CapturePart(_Part):
    """What one capture came to; it qualifies when `qualified` is at least `asked`."""

    id: str
    title: str
    kind: Literal["hold", "collect", "sweep"]
    place: Literal["road", "closed course", "parked"]
    asked: int
    qualified: int
    collected: CollectedPart | None
    best: int | None
    attempts: list[AttemptPart]
    never: str | None


class NotePart(_Part):
    """Something that the reader or the judge noticed."""

    code: str
    text: str
    signal: str | None
    count: int


class VerdictPart(_Part):
    """The verdict on a drive."""

    recipe: RecipePart
    drive: DrivePart
    rules: int = Field(description="Version of the rules of judgement.")
    alarms: list[AlarmPart]
    captures: list[CapturePart]
    notes: list[NotePart]


def verdict_schema() -> dict[str, Any]:
    """The JSON Schema of a verdict. Later versions may add keys; none of these goes or changes its meaning."""
    schema = VerdictPart.model_json_schema(mode="serialization")
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema, "title": "Verdict"}
