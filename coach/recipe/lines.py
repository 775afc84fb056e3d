"""On which line of a recipe each key stands; the scanner is `coach.toml_lines`."""

from __future__ import annotations

from coach.toml_lines import Path, key_lines, line_of

__all__ = ["Path", "key_lines", "line_of"]
