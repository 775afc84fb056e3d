"""What the API gives, as models: the description of the API is made from them."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field


class Answer(BaseModel):
    """An answer: more keys may come in later versions, none will go."""

    model_config = ConfigDict(extra="allow")


class ErrorBody(Answer):
    """What went wrong, in one sentence."""

    code: str
    message: str
    where: str | None = None
    errors: list[dict[str, Any]] | None = Field(None, description="All findings, where a recipe has several.")


class Error(Answer):
    """The one shape of every error."""

    error: ErrorBody


class About(Answer):
    """What answers here."""

    name: str
    version: str
    boot: str = Field(description="Changes with each start of the server.")
    rules: int = Field(description="Version of the rules of judgement.")
    languages: list[dict[str, str]] = Field(description="Code and own name of each language there are words in.")


class RecipeItem(Answer):
    """A recipe in a list."""

    sha256: str
    title: str
    revision: int
    name: str
    bundled: bool


class Recipes(Answer):
    """All recipes, uploaded ones first."""

    recipes: list[RecipeItem]


class FindingItem(Answer):
    """Something that is wrong with a recipe, or that its writer should know."""

    level: Literal["error", "warning"]
    code: str
    message: str
    where: str
    line: int | None


class RecipeCapture(Answer):
    """One capture as people read it."""

    id: str
    title: str
    kind: Literal["hold", "collect", "sweep"]
    place: Literal["road", "closed course", "parked"]
    times: int
    sentence: str
    limited: bool
    limits: str = Field(description="Its limits as one phrase; empty without one.")
    confirm: list[str]
    signals: list[str]


class RecipeView(Answer):
    """A recipe as people read it."""

    sha256: str
    title: str
    revision: int
    note: str
    minutes: int = Field(description="About how long it takes, warm-up included.")
    notes: list[str] = Field(description="Codes of the notes that its places call for.")
    signed_by: dict[str, Any] | None = Field(
        description="`good`, `name` of a pinned key or null, `public_key`, `fingerprint`; null: not signed."
    )
    captures: list[RecipeCapture]
    findings: list[FindingItem]


class SourceItem(Answer):
    """Something that can be driven with."""

    id: str
    title: str
    kind: Literal["replay", "simulator", "link"]
    text: str


class Sources(Answer):
    """All sources."""

    sources: list[SourceItem]


class ReadyMark(Answer):
    """One thing that must be right before a drive."""

    id: Literal["link", "identity", "signals", "engine", "road", "room"]
    state: Literal["ok", "warn", "bad", "looking", "todo"]
    text: str
    warnings: list[dict[str, str]] | None = Field(None, description="Of `identity`: code and text of each.")
    flashed: dict[str, Any] | None = Field(None, description="Of `identity`: what was said of this revision last.")
    rates: list[dict[str, Any]] | None = Field(
        None, description="Of `signals` at a car: what each is asked for and expected at, in hertz."
    )
    sweeps: list[dict[str, Any]] | None = Field(
        None, description="Of `signals` at a car: what each sweep needs, in hertz, and what to do where it is not."
    )


class Ready(Answer):
    """Whether a drive can start."""

    marks: list[ReadyMark]


class Retried(Answer):
    """The car is asked again."""

    driving: bool = Field(description="Whether a drive goes on with it; else it is only looked for.")


class CarFacts(Answer):
    """What is kept of the car behind a source."""

    facts: dict[str, str]
    asked: list[dict[str, Any]] = Field(description="Which facts there are, and what each may be.")
    confirmed: str | None = Field(description="SHA-256 of the recipe that they were confirmed for last.")
    pedal: dict[str, float] | None = Field(description="Raw pedal in per cent at its two ends, as learned.")
    dial: dict[str, float] | None = Field(description="What the dial showed beside what the car reported, in km/h.")


class PedalReading(Answer):
    """The raw pedal in per cent."""

    reading: float


class DriveRecipe(Answer):
    """Which recipe a drive was made for."""

    title: str
    revision: int
    sha256: str


class WindowItem(Answer):
    """The durable file of a secured window; `whole` once the seconds after it are in."""

    capture: str
    number: int
    whole: bool
    size: int
    sha256: str


class DriveItem(Answer):
    """A drive."""

    id: str
    title: str
    recipe: DriveRecipe
    started_at: str = Field(description="UTC, ISO 8601.")
    duration_s: float
    samples: int
    phase: Literal["recording", "paused", "stopping", "ended"]
    recovered: bool = Field(description="A crash left it open; it was closed and judged again.")
    error: str | None = Field(description="Why it ended early.")
    source: dict[str, Any]
    asked: int = Field(description="Captures asked for.")
    qualified: int = Field(description="Captures that were secured as often as asked.")


class Drives(Answer):
    """All drives, the newest first."""

    drives: list[DriveItem]


class DriveView(DriveItem):
    """A drive with its window files."""

    windows: list[WindowItem]


class Verdict(Answer):
    """What a drive came to; the same as `coach judge --json`."""

    recipe: DriveRecipe
    drive: dict[str, Any]
    rules: int
    alarms: list[dict[str, Any]]
    captures: list[dict[str, Any]]
    notes: list[dict[str, Any]]


class WindowSignal(Answer):
    """One signal of a window; values are in `unit`, null where nothing is known."""

    signal: str
    name: str
    unit: str
    discrete: bool
    t_s: list[float]
    values: list[float | None]
    low: float | None
    high: float | None
    limit: float | None
    asked: str
    rate_hz: float | None
    max_gap_s: float | None
    mean: float | None
    least: float | None
    most: float | None


class Window(Answer):
    """The signals of an attempt, thinned to at most 1000 points each; peaks stay."""

    drive: str
    capture: str
    number: int
    outcome: Literal["secured", "missed", "stopped", "sparse"]
    start_s: float
    end_s: float
    secured_s: float | None
    signals: list[WindowSignal]


class Lane(Answer):
    """The thread of an attempt in its lane: pairs of x (0 to 1 along) and y (0 low, 1 high, null unknown)."""

    drive: str
    capture: str
    number: int | None
    points: list[tuple[float, float | None]]


class State(Answer):
    """The live state, as in the event `state`."""

    drive: dict[str, Any]
    face: dict[str, Any]
    lead: dict[str, Any] | None
    captures: list[dict[str, Any]]
    alarm: dict[str, Any] | None
    link: dict[str, Any]
    trouble: dict[str, Any] | None


class Done(Answer):
    """What was asked for was done."""

    id: str
    phase: Literal["recording", "paused", "stopping", "ended"]
