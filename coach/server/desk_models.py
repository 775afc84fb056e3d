"""What goes over the API at the desk."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field, StringConstraints

from coach.server.answers import Answer
from coach.server.models import Asked, Short

Text = Annotated[str, StringConstraints(max_length=256_000)]
Name = Annotated[str, StringConstraints(min_length=1, max_length=80)]
Sha = Annotated[str, StringConstraints(pattern=r"^[0-9a-f]{64}$")]
Step = str | int


class OneEdit(Asked):
    """One change of the text; see the how-to on writing a recipe."""

    do: Literal["set", "remove", "add", "copy", "move"]
    path: list[Step] = Field([], max_length=8, description='As in ["capture", 0, "keep", "road_speed", "max"].')
    value: str | int | float | bool | list[str | int | float] | list[dict[str, str | int | float]] | None = Field(
        None,
        description="The value (`set`; cells to leave out are a list of tables), the kind of starting point (`add`), "
        "the new place (`move`).",
    )


class InCar(Asked):
    """A recipe being written, and the car that it is meant for."""

    text: Text = Field(description="The recipe as TOML, good or not.")
    vehicle: Text | None = Field(None, description="Text of a vehicle file.")
    source: Short | None = Field(None, description="Id of a source: its car, its signals, its link.")


class EditAsked(InCar):
    """Changes of a recipe that is being written; none at all just looks at it."""

    edits: list[OneEdit] = Field([], max_length=200)


class NewAsked(Asked):
    """A recipe to begin with."""

    kinds: list[Short] = Field([], max_length=20, description="Starting points, in order.")
    title: Short = ""
    vehicle: Text | None = None
    source: Short | None = None
    from_sha256: Sha | None = Field(None, description="The next revision of this recipe instead.")


class Edited(Answer):
    """A recipe that is being written, looked at."""

    text: str
    data: dict[str, Any] | None = Field(description="The recipe's own tables; null where the text is no TOML.")
    sha256: str
    captures: list[dict[str, Any]] = Field(description="As `GET /api/recipes/{sha}`; empty while it does not load.")
    minutes: int | None
    findings: list[dict[str, Any]] = Field(description="With `path` and `place`: the capture concerned, from 0.")
    plan: dict[str, Any] | None = Field(description="As `POST /api/plan`; null while it does not load.")


class Starts(Answer):
    """What the desk writes with."""

    starts: list[dict[str, Any]]
    signals: list[dict[str, Any]]
    fingerprint: str = Field(description="Of the key that this desk signs with.")


class PreviewAsked(InCar):
    """Which capture is to be shown."""

    capture: Short


class Preview(Answer):
    """What the phone would draw, by moment."""

    moments: dict[str, dict[str, Any]]


class ProveAsked(InCar):
    """What a recipe is to be proved on."""

    kind: Literal["drive", "source", "bundle"] = Field(description="A stored drive, a recorded table, a bundle.")
    id: Short = Field(description="Id of the drive or source; SHA-256 of the bundle.")
    drive: Short = Field("", description="Which drive of a bundle; the first if left out.")


class Proved(Answer):
    """Whether a drive would have met it."""

    verdict: dict[str, Any]
    less: dict[str, list[dict[str, Any]]] = Field(
        description="By capture, single changes that would have done, smallest first, with their `edits`."
    )


class TwoTexts(Asked):
    """Two revisions."""

    old: Text
    new: Text


class Changes(Answer):
    """What changed, a sentence each."""

    changes: list[dict[str, Any]]


class ShareAsked(Asked):
    """A recipe to be sent."""

    text: Text
    page: Annotated[str, StringConstraints(max_length=300)] = Field(
        "http://localhost:8765/", description="Address of the owner's own page."
    )
    sign: bool = Field(False, description="With the key of this desk, in the recipe's last line.")


class Shared(Answer):
    """A recipe ready to be sent."""

    text: str
    sha256: str
    link: str
    square: list[str] | None = Field(description="The QR code as rows of 0 and 1; null where the link is too long.")
    why: str = Field(description="Why there is no code; else empty.")
    name: str = Field(description="A name for the file.")
    fingerprint: str | None


class AskCustomer(Asked):
    """A recipe that was sent to a customer, or is begun for one."""

    customer: Name
    text: Text
    sent: bool = True


class OfCustomer(Asked):
    """Whose a bundle is."""

    customer: Name


class Customers(Answer):
    """Everybody, whoever waits for the calibrator first."""

    customers: list[dict[str, Any]]


class Customer(Answer):
    """One customer: where they stand, what was asked, what came."""

    customer: str
    asked: list[dict[str, Any]]
    received: list[dict[str, Any]]


class CustomerQuery(Asked):
    """Who."""

    name: Name


class ReceiveQuery(Asked):
    """Whose bundle comes."""

    customer: Annotated[str, StringConstraints(max_length=80)] = ""
    file: Annotated[str, StringConstraints(max_length=200)] = ""


class Taken(Answer):
    """A bundle that came."""

    sha256: str
    customer: str
    found: dict[str, Any]


class Opened(Answer):
    """The drive to look at."""

    drive: str


class OpenAsked(Asked):
    """Which drive of a bundle."""

    drive: Short = ""


class AgainAsked(Asked):
    """By what everything is judged again."""

    text: Text | None = Field(None, description="A recipe; null: each drive by its own.")


class Again(Answer):
    """How far judging again is; `rows` once it is done."""

    state: Literal["idle", "running", "done", "failed"]
    done: int
    total: int
    bad: int
    error: str | None
    rows: list[dict[str, Any]]


class PinAsked(Asked):
    """A key that is known from now on."""

    name: Name
    public_key: Sha


class Pinned(Answer):
    """The key, as people compare it."""

    name: str
    fingerprint: str


class DeskDone(Answer):
    """It is done."""

    ok: bool = True
