"""Writing one file for a person: whole or not at all, for its owner alone, and a sentence when it cannot be."""

from __future__ import annotations

import os
from pathlib import Path

from coach.errors import BadInput


def write_whole(path: Path, text: str) -> None:
    """Writes `text` to `path` by way of a file beside it.

    Raises:
        BadInput: it cannot be written.
    """
    if not path.name:
        raise BadInput("this is no name of a file", where=str(path))
    part = path.with_name(f".{path.name}.part")
    try:
        with os.fdopen(os.open(part, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600), "wb") as file:
            file.write(text.encode())
        part.replace(path)
    except OSError as error:
        part.unlink(missing_ok=True)
        raise BadInput(f"the file cannot be written: {error.strerror}", where=str(path)) from None
