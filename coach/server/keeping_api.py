"""Endpoints of the data folder: what it takes, and a drive removed because somebody on this machine asked for it."""

from __future__ import annotations

from pydantic import Field

from coach.server.answers import Answer
from coach.server.endpoint import Call, Endpoint, Result
from coach.store.keeping import remove_drive, room, rooms


class DriveSize(Answer):
    """What one drive takes."""

    id: str
    samples_bytes: int = Field(description="Its samples in the database.")
    windows_bytes: int = Field(description="The files of its windows.")


class DataFolder(Answer):
    """What the data folder takes."""

    folder: str = Field(description="Where it is on the machine that records.")
    total_bytes: int
    database_bytes: int
    windows_bytes: int
    free_bytes: int = Field(description="Room left on that disk.")
    drives: list[DriveSize] = Field(description="The newest first.")


class Removed(Answer):
    """The drive is gone."""

    id: str


def data(call: Call) -> Result:
    """What the folder takes."""
    folder = call.services.store.folder
    taken = room(folder)
    return {
        "folder": str(folder), "total_bytes": taken.total, "database_bytes": taken.database,
        "windows_bytes": taken.windows, "free_bytes": taken.free,
        "drives": [
            {"id": d.drive.id, "samples_bytes": d.samples, "windows_bytes": d.windows} for d in rooms(folder)
        ],
    }  # fmt: skip


def remove(call: Call) -> Result:
    """Takes a drive out."""
    remove_drive(call.services.store, call.path["id"])
    return {"id": call.path["id"]}


KEEPING_ENDPOINTS: tuple[Endpoint, ...] = (
    Endpoint("GET", "/api/data", "What the data folder takes, in all and for each drive.", data, gives=DataFolder),
    Endpoint(
        "DELETE", "/api/drives/{id}",
        "Removes a drive for good, with the files of its windows; its room goes to the next drives.", remove,
        gives=Removed, errors=(404, 409),
    ),
)  # fmt: skip
