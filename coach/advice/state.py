"""What the adviser is told besides the judge's view, and the one instruction it makes."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal, Protocol

US = 1_000_000

Ground = Literal["calm", "steer", "warn", "alarm", "secured", "lost"]
FaceMark = Literal["none", "up", "down", "tick", "octagon", "broken", "wall", "dashed"]
NumberKind = Literal["clock", "count", "amount", "gear", "none"]
Rank = Literal["at_once", "moment", "steer", "plain"]


class CaptureWords(Protocol):
    """What the adviser reads of a recipe's capture; the rest is in the judge's plan."""

    @property
    def id(self) -> str:
        """The capture's id, as in the plan."""
        ...

    @property
    def title(self) -> str:
        """A few words for a person."""
        ...

    @property
    def place(self) -> str:
        """`road`, `closed course` or `parked`."""
        ...


class RecipeWords(Protocol):
    """What the adviser reads of a recipe."""

    @property
    def captures(self) -> Sequence[CaptureWords]:
        """Its captures, in order."""
        ...


@dataclass(frozen=True, slots=True)
class LinkState:
    """The connection to the car: `none` for a source without one; `age_s` is how long ago it last answered.

    `reason` is one sentence on why it is lost, or empty.
    """

    state: Literal["up", "lost", "none"] = "none"
    age_s: float | None = None
    reason: str = ""

    def json(self) -> dict[str, Any]:
        """The `link` of the live state."""
        age_s = None if self.age_s is None else round(self.age_s, 1)
        return {"state": self.state, "age_s": age_s, **({"reason": self.reason} if self.reason else {})}


@dataclass(frozen=True, slots=True)
class DriveState:
    """What the drive loop knows of itself. `t_us` is the drive's time now, `stop_left_us` while it is stopping."""

    id: str | None = None
    phase: Literal["recording", "stopping", "paused", "ended", "none"] = "recording"
    t_us: int | None = None
    stop_left_us: int | None = None
    source: str = "replay"
    speed: float | None = 1.0

    def json(self, t_us: int) -> dict[str, Any]:
        """The `drive` of the live state; `t_us` is the judge's time, used where the drive's own is not known."""
        left = self.stop_left_us
        return {
            "id": self.id,
            "phase": self.phase,
            "t_s": round(max(t_us, self.t_us or 0) / US, 3),
            "stop_left_s": None if left is None else round(left / US, 1),
            "source": self.source,
            "speed": self.speed,
        }


@dataclass(frozen=True, slots=True)
class Instruction:
    """One face of the page: one line, at most one number, one line of explanation.

    Attributes:
        code: key of the words it is made of.
        line: at most six words, without figures.
        number: what is left or how far off, counting to zero (a gear is named); empty with `number_kind` `none`.
        rank: how it may take the screen: at once, as a moment that lasts, as a correction, or in its turn.
        about: what tells it apart from another of the same code (signal, capture, attempt).
        unit: of the number in `speech`, as it is spoken; empty where there is none.
    """

    code: str
    line: str
    number: str = ""
    number_kind: NumberKind = "none"
    caption: str = ""
    speech: str = ""
    ground: Ground = "calm"
    mark: FaceMark = "none"
    rank: Rank = "plain"
    about: Hashable = field(default=None)
    unit: str = ""

    @property
    def key(self) -> Hashable:
        """Equal for two states of the same line: between them only the number moves."""
        return (self.code, self.line, self.about)

    def json(self) -> dict[str, Any]:
        """The `face` of the live state, without what the adviser adds about speech."""
        return {
            "ground": self.ground,
            "mark": self.mark,
            "code": self.code,
            "line": self.line,
            "number": self.number,
            "number_kind": self.number_kind,
            "caption": self.caption,
            "speech": self.speech,
        }
