"""Where the data of a user lies when nobody names a folder. Nothing is made there."""

from __future__ import annotations

import os
import sys
from pathlib import Path


def default_folder() -> Path:
    """The user's data folder, as the system has it."""
    if sys.platform == "win32":
        base = Path(os.environ.get("LOCALAPPDATA") or Path.home() / "AppData" / "Local")
    elif sys.platform == "darwin":
        base = Path.home() / "Library" / "Application Support"
    else:
        base = Path(os.environ.get("XDG_DATA_HOME") or Path.home() / ".local" / "share")
    return base / "log-capture-coach"
