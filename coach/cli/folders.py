"""The data folder that a command works on: the one that was named, else the user's own. Loads no server."""

from __future__ import annotations

from pathlib import Path


def data_folder(given: Path | None) -> Path:
    """The data folder that was named, or the user's own."""
    from coach.store.folder import default_folder

    return given or default_folder()


def kept_folder(given: Path | None) -> Path:
    """The same, where something is kept in it. Raises StoreError."""
    from coach.errors import StoreError
    from coach.store.store import DATABASE

    folder = data_folder(given)
    if not (folder / DATABASE).exists():
        raise StoreError("there is no data here yet", where=str(folder))
    return folder
