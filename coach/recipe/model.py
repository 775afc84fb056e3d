"""The recipe as it stands in the file: which keys there are, of which shape, with what default.

Quantities are texts here; `resolve.py` turns them into numbers. The JSON Schema is made from these models.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    GetJsonSchemaHandler,
    StringConstraints,
    WithJsonSchema,
    model_validator,
)
from pydantic_core import CoreSchema

MAX_CAPTURES = 100
MAX_SIGNALS = 100
MAX_EDGES = 25


def _text_or_number(value: object) -> object:
    if isinstance(value, bool) or not isinstance(value, str | int | float):
        sentence = 'must be a text with a number and a unit, such as "72 km/h"'
        raise ValueError(sentence)  # noqa: TRY004 - pydantic collects these, and would let a TypeError through
    return value


def _list_of_one(value: object) -> object:
    return [value] if isinstance(value, str) else value


def _for_all(value: object) -> object:
    return {"": value} if isinstance(value, str | int | float) else value


Amount = Annotated[
    Any,
    BeforeValidator(_text_or_number),
    WithJsonSchema({"anyOf": [{"type": "string", "examples": ["72 km/h", "80 degC", "90 %"]}, {"type": "number"}]}),
]
"""A quantity of a signal: a text with a unit; a bare number only where the signal has no unit."""
Duration = Annotated[
    Any, BeforeValidator(_text_or_number), WithJsonSchema({"type": "string", "examples": ["90 s", "3 min", "500 ms"]})
]
"""A time, such as `"3 min"`."""
Line = Annotated[str, StringConstraints(max_length=200)]
Words = Annotated[str, StringConstraints(max_length=4_000)]
Id = Annotated[str, StringConstraints(pattern=r"^[a-z0-9][a-z0-9-]{0,39}$")]


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)


class _Short(_Table):
    """A table that may be written as one value; `_long` says which keys that stands for."""

    @classmethod
    def _long(cls, value: object) -> object:
        raise NotImplementedError

    @model_validator(mode="before")
    @classmethod
    def _lengthen(cls, value: object) -> object:
        return value if isinstance(value, dict) else cls._long(value)

    @classmethod
    def __get_pydantic_json_schema__(cls, schema: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        table = handler.resolve_ref_schema(handler(schema))
        words = table.pop("description", "")
        return {"description": words, "anyOf": [{"type": ["string", "number"]}, table]}


class RateTable(_Short):
    """How fast a signal is to be recorded: a rate (`"8 Hz"`), or a table with more."""

    rate: Amount = Field(description='Samples a second, as in "8 Hz".', json_schema_extra={"examples": ["8 Hz"]})
    gap: Duration | None = Field(None, description="Longest time without a sample; five periods if left out.")
    least: Amount | None = Field(None, description='Share of the rate that must be reached; "80 %" if left out.')
    need: bool = Field(True, description="false: reported, but a window without it qualifies all the same.")

    @classmethod
    def _long(cls, value: object) -> object:
        return {"rate": value}


class BandTable(_Short):
    """What a signal must be: at least one of `min`, `max` and `wander`; one value alone is both bounds."""

    min: Amount | None = Field(None, description="Lowest value that is good.")
    max: Amount | None = Field(None, description="Highest value that is good.")
    wander: Amount | None = Field(None, description="Largest difference between two values since the attempt began.")

    @classmethod
    def _long(cls, value: object) -> object:
        return {"min": value, "max": value} if isinstance(value, str | int | float) else {"min": value}


class LimitTable(_Table):
    """What a signal must never pass: exactly one of `min` and `max`."""

    min: Amount | None = Field(None, description="Never below this.")
    max: Amount | None = Field(None, description="Never above this.")
    scope: Literal["attempt", "drive"] | None = Field(
        None, description="Watched while an attempt runs, or always (coolant_temp and oil_temp if left out)."
    )
    after: Duration | None = Field(None, description="The attempt's first moments, in which it is not looked at.")
    for_: Duration | None = Field(
        None,
        alias="for",
        description="How long it must be beyond before the attempt is stopped; the alarm never waits.",
    )


class SweepTable(_Table):
    """From where to where one signal must run, rising or falling."""

    from_: Amount = Field(alias="from", description="Where the sweep begins.")
    to: Amount = Field(description="Where it is secured.")
    dip: Amount | None = Field(
        None, description="How far it may go back from its furthest value; 5 % of the span if left out."
    )
    within: Duration | None = Field(None, description="How long it may take.")
    late: Amount | None = Field(
        None, description="How far beyond `from` it may begin; 0.4 s of rise and a tenth of the span if left out."
    )


class CellsTable(_Table):
    """Cells of one or two signals, each of which the pieces must visit for `dwell`."""

    edges: dict[str, Annotated[list[Amount], Field(min_length=2, max_length=MAX_EDGES)]] = Field(
        min_length=1,
        max_length=2,
        description="By signal, the edges of its cells, rising; the lower one belongs to a cell.",
    )
    dwell: Duration = Field(description="How long each cell must be visited.")
    without: list[dict[str, Amount]] = Field(
        [], max_length=MAX_EDGES**2, description="Cells that need no visit, each by a value of every signal within it."
    )


class CaptureTable(_Table):
    """One thing to record: exactly one of `hold`, `collect` and `sweep`."""

    id: Id = Field(description="Name in files and verdicts: lower-case letters, digits and hyphens.")
    title: Line = Field("", description="Name on screens; the id if left out.")
    ask: Line = Field("", description="Words to the driver.")
    place: Literal["road", "closed course", "parked"] = Field("road", description="Where it may be done.")
    times: int = Field(1, ge=1, le=100, description="How many attempts must be secured.")
    hold: Duration | None = Field(None, description="How long all conditions must be met.")
    collect: Duration | None = Field(None, description="How long all conditions must be met in all, in pieces.")
    piece: Duration | None = Field(None, description='Shortest piece that counts for `collect`; "3 s" if left out.')
    cells: CellsTable | None = Field(None, description="The cells that the pieces of `collect` must visit.")
    sweep: dict[str, SweepTable] | None = Field(None, description="One signal and its ends.")
    start: dict[str, BandTable] = Field({}, description="What must be so when an attempt begins.")
    keep: dict[str, BandTable] = Field({}, description="What must be so from its first to its last moment.")
    limit: dict[str, LimitTable] = Field({}, description="What must never be passed.")
    record: dict[str, RateTable] | None = Field(
        None, description="What this capture needs recorded, instead of the recipe's list."
    )
    grace: Duration | None = Field(None, description='Longest stay outside a band that is excused; "0 s" if left out.')
    max_excursions: int | None = Field(None, ge=0, le=10_000, description="How many such stays are excused.")
    stale_after: (
        Annotated[
            dict[str, Duration],
            BeforeValidator(_for_all),
            WithJsonSchema(
                {"anyOf": [{"type": "string"}, {"type": "object", "additionalProperties": {"type": "string"}}]}
            ),
        ]
        | None
    ) = Field(None, description="How long a value holds without a new one: for all signals, or by signal.")
    warn_ahead: Duration | None = Field(
        None, description='How long before a limit the tone may sound; "0.7 s" if left out.'
    )
    then: Duration | None = Field(None, description="How much longer the conditions must hold after the sweep.")
    rest: Duration | None = Field(None, description="Time between two attempts.")
    needs: list[Id] = Field([], max_length=MAX_CAPTURES, description="Captures that must be secured first.")
    after_limit: Literal["wait", "again"] = Field(
        "again", description="After a passed limit: wait for the calibrator, or try again."
    )
    confirm: list[Line] = Field([], max_length=20, description="States nobody measures, ticked by a person.")
    before: Duration | None = Field(None, description='What the window\'s file carries before it; "10 s" if left out.')
    after: Duration | None = Field(None, description='What the window\'s file carries after it; "10 s" if left out.')


class RecipeFile(_Table):
    """What a calibrator asks for."""

    format: Literal[1] = Field(description="Version of this format.")
    title: Annotated[str, StringConstraints(min_length=1, max_length=200)] = Field(description="Name on screens.")
    revision: int = Field(1, ge=1, le=1_000_000, description="Counts the requests of one job.")
    note: Words = Field("", description="Words to the owner, read before driving.")
    vehicle: Line = Field("", description="Label of the vehicle that it is meant for.")
    calibration: Annotated[
        list[Line],
        BeforeValidator(_list_of_one),
        WithJsonSchema({"anyOf": [{"type": "string"}, {"type": "array", "items": {"type": "string"}}]}),
    ] = Field([], max_length=20, description="Calibration identity expected in the car, or several.")
    settle: Amount | None = Field(None, description='Distance since trims were reset, as in "50 km".')
    record: dict[str, RateTable] = Field({}, max_length=MAX_SIGNALS, description="Signals to record, and how fast.")
    capture: list[CaptureTable] = Field(
        min_length=1, max_length=MAX_CAPTURES, description="The captures, in the order in which they are offered."
    )


def recipe_schema() -> dict[str, Any]:
    """The JSON Schema of a recipe, in TOML or JSON."""
    schema = RecipeFile.model_json_schema(by_alias=True)
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema, "title": "Recipe"}
