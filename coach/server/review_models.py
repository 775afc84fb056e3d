"""What the endpoints of a review take and give; figures are defined in docs/reference/summaries.md."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field, StringConstraints

from coach.server.answers import Answer, DriveItem
from coach.server.models import Asked, Short

Number = Annotated[str, StringConstraints(pattern=r"^[0-9]{1,7}(\.[0-9]{1,6})?$")]
Whole = Annotated[str, StringConstraints(pattern=r"^[0-9]{1,6}$")]
Words = Annotated[str, StringConstraints(max_length=4_000)]


class SummaryQuery(Asked):
    """How a window is read."""

    kind: Short | None = Field(None, description="Read it as this kind of capture; else as what it asks for.")
    lambda_delay: Number = Field("0.2", description="Seconds by which lambda is shifted back.")


class TracesQuery(Asked):
    """Which stretch of a drive."""

    signals: Annotated[str, StringConstraints(max_length=2_000)] | None = Field(
        None, description="Names with commas between; every recorded signal if left out."
    )
    first: Number | None = Field(None, description="Seconds from the drive's first sample.")
    last: Number | None = Field(None, description="Seconds from the drive's first sample.")
    points: Whole = Field("1200", description="At most so many points of each signal; peaks stay.")


class ReportQuery(Asked):
    """In which words."""

    language: Annotated[str, StringConstraints(pattern=r"^[a-z]{2,8}$")] | None = Field(
        None, description="Without it the best for the header Accept-Language."
    )


class OverQuery(Asked):
    """Over which signal."""

    signal: Short = Field("engine_speed", description="The signal that runs across.")


class CoverageQuery(Asked):
    """Which cells of which drives."""

    load: Short | None = Field(None, description="The signal of load; the first that the drives have if left out.")
    step_rpm: Number = Field("500", description="Width of a cell in rpm.")
    step_load: Number = Field("10", description="Height of a cell in the load's own unit.")
    scope: Literal["drive", "revision"] = Field("drive", description="This drive, or all of its revision and car.")


class HealthQuery(Asked):
    """A pair of signals whose delay is wanted."""

    a: Short | None = Field(None, description="The signal that leads; the usual pairs if left out.")
    b: Short | None = Field(None, description="The signal that follows.")


class PowerQuery(Asked):
    """What the estimate is made with."""

    mass_kg: Number | None = Field(None, description="With people; the vehicle file's if left out.")
    road_load: Annotated[str, StringConstraints(pattern=r"^[0-9.]{1,12},[0-9.]{1,12},[0-9.]{1,12}$")] | None = Field(
        None, description="N, N per km/h, N per (km/h)², with commas between; guessed from the mass if left out."
    )


class CompareQuery(Asked):
    """Which windows are compared."""

    capture: Short = Field(description="Id of the capture.")
    a: Short = Field(description="The later drive.")
    b: Short | None = Field(
        None, description="The earlier drive; the last of an earlier revision that qualified if left out."
    )


class LogQuery(Asked):
    """Which drives."""

    text: Short = Field("", description="Words in name, note, title, car or id.")
    recipe: Short | None = Field(None, description="SHA-256 of the recipe, or its beginning.")
    revision: Whole | None = Field(None, description="Revision of the recipe.")
    vehicle: Short | None = Field(None, description="Part of the car's name.")
    since: Short | None = Field(None, description="First day, as 2026-05-04, UTC.")
    until: Short | None = Field(None, description="Last day.")
    complete: Literal["yes", "no"] | None = Field(None, description="Whether everything asked for qualified.")
    limit: Whole = Field("50", description="At most so many, 200 at most.")
    offset: Whole = Field("0", description="How many to leave out at the beginning.")


class WeatherTyped(Asked):
    """Weather that a person typed in; null is not known."""

    pressure_kpa: float | None = Field(
        None, ge=45, le=110, allow_inf_nan=False, description="Absolute, not at sea level."
    )
    temperature_c: float | None = Field(None, ge=-50, le=60, allow_inf_nan=False)
    humidity_pct: float | None = Field(None, ge=0, le=100, allow_inf_nan=False)


class SetLabel(Asked):
    """What people write on a drive; a key that is left out stays as it is."""

    name: Short | None = None
    note: Words | None = None
    weather: WeatherTyped | None = None


class LabelItem(Answer):
    """What people wrote on a drive."""

    name: str
    note: str
    weather: dict[str, Any]


class LogItem(DriveItem):
    """A drive in the log."""

    name: str
    note: str
    vehicle: str


class Log(Answer):
    """Drives that fit, the newest first."""

    total: int
    drives: list[LogItem]


class Review(Answer):
    """The review of a drive, verdict first."""

    drive: dict[str, Any]
    head: list[dict[str, str]] = Field(description="Identity, codes, declared facts, weather.")
    headline: str
    under: str
    captures: list[dict[str, Any]]
    strip: list[dict[str, Any]]
    alarms: list[dict[str, Any]]
    notes: list[str]


class Summary(Answer):
    """The figures of a window, by its kind of capture; those that cannot be said say why."""

    drive: str
    capture: str
    number: int
    kind: Literal["part_load", "sweep", "idle", "tip_in", "overrun", "start", "decel_idle", "free"]
    kind_name: str
    title: str
    outcome: str
    start_s: float
    end_s: float
    groups: list[dict[str, Any]]
    rates: list[dict[str, Any]]


class Traces(Answer):
    """Signals over time, thinned."""

    drive: str
    from_s: float
    to_s: float
    signals: list[dict[str, Any]]


class Over(Answer):
    """Signals over another signal."""

    drive: str
    capture: str
    number: int
    over: dict[str, Any]
    lambda_delay_s: float
    signals: list[dict[str, Any]]


class Coverage(Answer):
    """Seconds in each cell of engine speed over load."""

    drives: list[str]
    x: dict[str, Any] | None
    y: dict[str, Any] | None
    dwell_s: list[list[float]]
    wanted: list[list[bool]]
    empty_wanted: list[dict[str, Any]]
    total_s: float
    left_out_s: float
    loads: list[dict[str, str]]
    why: str


class Health(Answer):
    """Data health."""

    sentence: str
    signals: list[dict[str, Any]]
    order: dict[str, str]
    delays: list[dict[str, Any]]


class Power(Answer):
    """Estimated power at the wheels."""

    drive: str
    capture: str
    number: int
    method: str
    caveat: str
    inputs: list[dict[str, str]]
    points: list[dict[str, Any]]
    peak: dict[str, Any] | None
    weather: dict[str, Any]
    corrections: list[dict[str, Any]]
    why: str


class Compared(Answer):
    """Like windows of two drives beside each other; `a` is the earlier, `b` the later."""

    a: dict[str, Any]
    b: dict[str, Any]
    capture: str
    title: str
    kind: str
    sentence: str
    figures: list[dict[str, Any]]
    tables: list[dict[str, Any]]
    overlay: dict[str, Any]
    spans: list[dict[str, Any]]
    power: dict[str, Any] | None
    weather: dict[str, Any]
    caveat: str
