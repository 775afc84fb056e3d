"""What goes over the API about joining and devices."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, StringConstraints

from coach.server.answers import Answer
from coach.server.models import Asked, Short

_Role = Literal["operator", "onlooker"]


class Pair(Asked):
    """A one-time secret, from behind the # of the address in a square."""

    secret: Annotated[str, StringConstraints(min_length=1, max_length=100)] = Field(
        description="The secret; it pairs one device, once."
    )
    name: Short | None = Field(None, description="What people know the device by; else its kind.")


class Square(Asked):
    """What a new square is for."""

    role: _Role = Field("operator", description="What the device may do.")
    number: bool = Field(False, description="Whether the address is a number instead of the name.")


class NewName(Asked):
    """Another name."""

    name: Short = Field(description="At most 40 letters of it are kept.")


class DeviceView(Answer):
    """A paired device."""

    id: str
    name: str
    role: _Role
    paired_at: str
    seen_at: str


class DeviceList(Answer):
    """Paired devices, the one seen last first."""

    devices: list[DeviceView]


class Me(Answer):
    """Who asks."""

    role: _Role = Field(description="What it may do.")
    laptop: bool = Field(description="Whether it is the page on the laptop itself.")
    lan: bool = Field(description="Whether phones can join.")
    id: str | None = Field(description="Id of the paired device.")
    name: str


class Joined(Answer):
    """A device that was paired."""

    id: str
    name: str
    role: _Role


class JoiningView(Answer):
    """How phones reach this laptop."""

    name: str = Field(description="The announced name.")
    address: str
    help: str = Field(description="Address of the help page, in plain http.")
    fingerprint: str = Field(description="SHA-256 of the certificate authority.")
    announced: bool
    trouble: str | None = Field(description="Why the name is not announced.")
    nowhere: bool = Field(description="Whether this machine is in no private network.")
    shut_s: int = Field(description="For how long nobody can join, after too many wrong attempts.")
    open: list[_Role] = Field(description="Roles whose last square on the page can still be used.")


class SquareView(Answer):
    """A square to be scanned."""

    url: str = Field(description="What it holds; the secret stands behind the #.")
    rows: list[str] = Field(description="Rows of 0 and 1; 1 is dark. A margin of four has to be added.")
    seconds: int = Field(description="For how long it can be used.")


class Gone(Answer):
    """What was done to a device."""

    id: str
