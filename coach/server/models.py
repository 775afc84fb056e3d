"""What goes over the API: requests are checked against these models, and the OpenAPI description is made from them."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, StringConstraints

from coach.shown import Units

Short = Annotated[str, StringConstraints(max_length=200)]
Role = Literal["passenger", "driver"]


class Asked(BaseModel):
    """A request: unknown keys are refused."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)


class Nothing(Asked):
    """No keys."""


class UnitsAsked(Asked):
    """What a person reads speeds, pressures and temperatures in."""

    speed: Literal["km/h", "mph"] = "km/h"
    pressure: Literal["kPa", "bar", "psi"] = "kPa"
    temperature: Literal["degC", "degF"] = "degC"

    def units(self) -> Units:
        """As the other layers have it."""
        return Units(self.speed, self.pressure, self.temperature)


class Flashed(Asked):
    """What a person says is in the car."""

    revision: int = Field(ge=0, le=9_999, description="Which revision is in the car.")
    date: Annotated[str, StringConstraints(pattern=r"^[0-9]{4}-[01][0-9]-[0-3][0-9]$")] | None = Field(
        None, description="The day it was flashed; null where nobody knows."
    )


class StartDrive(Asked):
    """What a drive is started with."""

    recipe: Short = Field(description="SHA-256 of the recipe.")
    source: Short = Field(description="Id of the source.")
    speed: float | None = Field(
        1.0, gt=0, le=1000, allow_inf_nan=False, description="How fast a replay plays; null is flat out."
    )
    role: Role | None = Field(None, description="Who holds the phone.")
    acknowledged: list[Short] = Field([], max_length=50, description="Codes of the notes agreed to.")
    confirmed: bool = Field(False, description="A person has confirmed the car's declared facts for this revision.")
    units: UnitsAsked | None = Field(None, description="What the driver reads; without it as the vehicle file says.")
    flashed: Flashed | None = Field(None, description="Which revision is in the car, as a person says; kept.")
    vehicle: Annotated[str, StringConstraints(max_length=256_000)] | None = Field(
        None, description="Text of a vehicle file; without it the source's own stands."
    )


class OfCapture(Asked):
    """Names a capture."""

    capture: Short = Field(description="Id of the capture.")


class MaybeOfCapture(Asked):
    """Names a capture, or none."""

    capture: Short | None = None


class Confirm(Asked):
    """A state that nobody measures, confirmed by a person."""

    capture: Short = Field(description="Id of the capture.")
    item: Short = Field(description="The words of the recipe's `confirm` list.")


class SetRole(Asked):
    """Who holds the phone from now on; null: someone else, who has not said yet."""

    role: Role | None


class KeepFacts(Asked):
    """What a person declares of a car; an empty value takes a fact away."""

    facts: dict[Annotated[str, StringConstraints(max_length=40)], Short] = Field(max_length=40)


class PedalStep(Asked):
    """One step of teaching the pedal: it is held there now."""

    step: Literal["released", "floored"]


class KeepPedal(Asked):
    """The four readings of the raw pedal in per cent: released, floored, released, floored."""

    readings: list[Annotated[float, Field(ge=0, le=100, allow_inf_nan=False)]] = Field(min_length=4, max_length=4)


class ReadDial(Asked):
    """What the dial shows now, at a steady speed."""

    shows: float = Field(gt=0, le=500, allow_inf_nan=False)
    unit: Literal["km/h", "mph"] = "km/h"


class ReadAs(Asked):
    """What the driver reads from now on; the language is the request's own (Accept-Language)."""

    units: UnitsAsked | None = None


class WordsQuery(Asked):
    """Which of the words."""

    section: Short | None = Field(None, description="Dotted key of a table, as `page.car`; without it all words.")
    language: Annotated[str, StringConstraints(pattern=r"^[a-z]{2,8}$")] | None = Field(
        None, description="Without it the best for the header Accept-Language."
    )


class ReadyQuery(Asked):
    """What is to be looked at."""

    recipe: Short = Field(description="SHA-256 of the recipe.")
    source: Short = Field(description="Id of the source.")


class LaneQuery(Asked):
    """Which attempt's lane."""

    capture: Short = Field(description="Id of the capture.")
    number: Annotated[str, StringConstraints(pattern=r"^[0-9]{1,6}$")] | None = Field(
        None, description="Of the attempt, from 0; without it the one that runs, else the last."
    )


class TableQuery(Asked):
    """How the table is laid out."""

    form: Literal["wide", "long"] = Field("wide", description="A column for each signal, or a row for each sample.")


class LiveQuery(Asked):
    """Where to go on."""

    last: Short | None = Field(None, description="As the header Last-Event-ID: the id of the last event received.")
