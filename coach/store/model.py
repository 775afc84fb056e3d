"""Rows of the store as frozen records."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from coach.core.events import Event

Phase = Literal["recording", "paused", "stopping", "ended"]


@dataclass(frozen=True, slots=True)
class RecipeRow:
    """A recipe as received. `title` and `revision` are copied out of it for lists."""

    sha: str
    name: str
    body: bytes
    title: str
    revision: int
    added_wall_us: int


AROUND_US = 10_000_000
"""What a window's file carries before and after it, unless the recipe says otherwise."""


@dataclass(frozen=True, slots=True)
class Around:
    """How much a window's file carries around it, in microseconds."""

    before_us: int = AROUND_US
    after_us: int = AROUND_US


@dataclass(frozen=True)
class NewDrive:
    """All that a verdict of the drive will depend on besides samples and marks.

    Attributes:
        recipe: bytes as received, with their SHA-256 and file name.
        vehicle: bytes of the vehicle file as received, or None.
        plan: the resolved plan as JSON (see `coach.store.planjson`).
        catalogue: the resolved catalogue as JSON.
        source: facts about where the samples come from, JSON-able.
        around: by capture, what its windows' files carry around them; `Around()` where it is missing.
    """

    recipe: bytes
    recipe_sha: str
    recipe_name: str
    title: str
    revision: int
    plan: str
    catalogue: str
    rules: int
    vehicle: bytes | None = None
    vehicle_name: str | None = None
    source: Mapping[str, Any] = field(default_factory=dict)
    around: Mapping[str, Around] = field(default_factory=dict)


@dataclass(frozen=True)
class DriveRow:
    """A drive as listed.

    Attributes:
        id: what it is called in addresses: UTC time of its creation, e.g. `20260504-093000`.
        anchor_wall_us: wall clock at t=0, or None while no sample has come or where it is not known.
        last_us: time of the last stored sample.
        promised_us: every sample before this time is stored; None when its source never promised that.
        recovered: it was left open by a crash and closed when the folder was opened again.
        error: the sentence why recording stopped early, or None.
    """

    id: str
    key: int
    created_wall_us: int
    ended_wall_us: int | None
    anchor_wall_us: int | None
    last_us: int
    samples: int
    promised_us: int | None
    phase: Phase
    recovered: bool
    error: str | None
    recipe: bytes
    recipe_sha: str
    recipe_name: str
    title: str
    revision: int
    vehicle: bytes | None
    vehicle_name: str | None
    plan: str
    catalogue: str
    rules: int
    source: Mapping[str, Any]
    around: Mapping[str, Around]


@dataclass(frozen=True, slots=True)
class StoredEvent:
    """An event of the judge with its place in the drive."""

    sequence: int
    event: Event


@dataclass(frozen=True, slots=True)
class WindowRow:
    """A window's file that is durable. `whole` once its seconds after the end are in."""

    capture: str
    number: int
    whole: bool
    path: str
    sha256: str
    size: int
    saved_wall_us: int
