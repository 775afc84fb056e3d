"""What `manifest.json` says: format 1. Keys may be added to it; those that are here keep their meaning."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, StringConstraints, ValidationError

from coach.bundle.strict import load
from coach.errors import BundleError

FORMAT = 1
KIND = "log capture bundle"
MOST_DRIVES = 100
MOST_CAPTURES = 200
MOST_SIGNALS = 500
MOST_SAMPLES = 20_000_000
LONGEST_US = 10**14

Text = Annotated[str, StringConstraints(max_length=500)]
Long = Annotated[str, StringConstraints(max_length=20_000)]
Id = Annotated[str, StringConstraints(pattern=r"^[A-Za-z0-9][A-Za-z0-9_-]{0,60}$")]
Path = Annotated[str, StringConstraints(max_length=200)]
Hash = Annotated[str, StringConstraints(pattern=r"^[0-9a-f]{64}$")]
Time = Annotated[int, Field(ge=0, le=LONGEST_US)]
Wall = Annotated[int, Field(ge=0, le=253_402_300_799_000_000)]
Facts = dict[str, Any]


class Part(BaseModel):
    """A table of the manifest."""

    model_config = ConfigDict(extra="ignore", frozen=True, strict=True)


class Packed(Part):
    """A file of the bundle."""

    path: Path
    size: int = Field(ge=0)
    sha256: Hash


class Received(Part):
    """A file that somebody sent or wrote, as it was received."""

    file: Path
    name: Text = Field(description="What it was called.")
    sha256: Hash = Field(description="Of the file as it was received.")
    masked: bool = Field(
        False, description="The vehicle's number was hidden in it, so it differs from what was received."
    )


class SignalEntry(Part):
    """A recorded signal."""

    name: Text
    unit: Text = ""
    count: int = Field(ge=0, description="Samples of the whole drive.")
    inside: int = Field(ge=0, description="How many of them are in samples.bin, in the order of this list.")
    sha256: Hash = Field(description="Of its part of samples.bin.")
    judged: bool = Field(description="The verdict rests on it, so it is inside from end to end.")
    asked_hz: float | None = Field(
        description="The highest rate that the recipe asks for; null where it asks for none."
    )
    rate_hz: float = Field(description="From its first to its last sample.")
    max_gap_s: float = Field(description="The longest time between two samples.")


class MarkEntry(Part):
    """Something that a person said."""

    t_us: Annotated[int, Field(ge=-LONGEST_US, le=LONGEST_US)]
    kind: Text
    capture: Text | None = None
    text: Long = ""


class Outcome(Part):
    """An attempt that did not qualify."""

    number: int
    outcome: Text
    reason: Long = Field(description="In a sentence.")


class WindowEntry(Part):
    """A window that qualified, with its tables."""

    number: int
    long: Path
    wide: Path


class CaptureEntry(Part):
    """What a capture came to."""

    id: Text
    title: Text
    asked: int
    qualified: int
    windows: list[WindowEntry] = Field(max_length=10_000)
    missed: list[Outcome] = Field(max_length=200_000)


class DriveEntry(Part):
    """A drive."""

    id: Id
    folder: Path
    title: Text
    revision: int
    rules: int = Field(description="Version of the rules of judgement.")
    whole: bool = Field(description="Every signal is inside from end to end, as tables too.")
    recipe: Received
    vehicle: Received | None
    wall_us: Wall | None = Field(
        description="Wall clock at the first sample, microseconds since 1970 UTC; null: not known."
    )
    started: Text | None = Field(description="The same in words, UTC.")
    last_us: Time = Field(description="Time of the last sample; the first one is at 0.")
    promised_us: Time | None = Field(
        description="Every sample before this time is there; null where nobody promised that."
    )
    samples: int = Field(ge=0)
    recovered: bool
    error: Long | None
    people_recorded: bool = Field(description="What people said was recorded.")
    vin: Text | None = Field(description="The vehicle's number, masked or whole; null: not known.")
    vin_whole: bool
    link: Facts = Field(description="What the samples came through.")
    identity: Facts = Field(description="What was in the car's control units.")
    facts: Facts = Field(description="What people declared of the car.")
    ratios: dict[str, float] = Field(description="Engine speed over road speed by gear, rpm per km/h, as judged.")
    acknowledged: list[Text] = Field(description="Codes of the safety notes that were agreed to.")
    signals: list[SignalEntry] = Field(max_length=MOST_SIGNALS)
    marks: list[MarkEntry] | None = Field(max_length=100_000, description="Null: nobody recorded what people said.")
    around: dict[str, tuple[Time, Time]] = Field(
        description="What each capture's windows carry before and after, in us."
    )
    notes: list[dict[str, Any]] = Field(max_length=10_000, description="What the reader of the samples noticed.")
    captures: list[CaptureEntry] = Field(max_length=MOST_CAPTURES)


class Program(Part):
    """What made the bundle."""

    name: Text
    version: Text


class Manifest(Part):
    """The whole manifest."""

    kind: Literal["log capture bundle"]
    format: int
    program: Program
    drives: list[DriveEntry] = Field(min_length=1, max_length=MOST_DRIVES)
    files: list[Packed] = Field(max_length=5_000, description="Every file but this one and the signature.")


def manifest_schema() -> dict[str, Any]:
    """The JSON Schema of a manifest."""
    made = Manifest.model_json_schema(mode="validation")
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **made}


def read_manifest(raw: bytes, where: str) -> Manifest:
    """The manifest in a file's bytes.

    Raises:
        BundleError: it is none, or of a format that this version does not know.
    """
    data = load(raw, where)
    if not isinstance(data, dict) or data.get("kind") != KIND:
        raise BundleError("this is no bundle: its manifest does not say that it is one", where=where)
    if data.get("format") != FORMAT:
        raise BundleError(
            f"the bundle is of format {str(data.get('format'))[:20]}; this version reads format {FORMAT}",
            where=where,
        )  # fmt: skip
    try:
        # In JSON a pair is a list: strict models take it as a tuple only from text.
        return Manifest.model_validate_json(raw)
    except ValidationError as error:
        first = error.errors(include_url=False, include_input=False, include_context=False)[0]
        path = ".".join(str(part)[:40] for part in first["loc"])
        raise BundleError(f"{path}: {first['msg'][:1].lower()}{first['msg'][1:]}", where=where) from None
