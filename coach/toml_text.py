"""Reads TOML from anybody: as `tomllib` does, but what would take minutes or a stack without end is refused."""

from __future__ import annotations

import re
import tomllib
from typing import Any

DEEPEST = 24
"""Tables and lists within each other; no file of this project has more than six."""
_PART = r"""(?:"(?:[^"\\\n]|\\.)*+"|'[^'\n]*+'|[\w-]++)"""
_LONG_KEY = re.compile(rf"""(?<![\w\\-])(?:{_PART}[ \t]*+\.[ \t]*+){{{DEEPEST}}}""")
"""A key with that many dots: `tomllib` takes the square of their number in steps, which is minutes for 256 kB."""
NESTED = "tables or lists are nested too deeply"


def read_toml(text: str) -> dict[str, Any]:
    """The tables of a TOML text.

    Raises:
        tomllib.TOMLDecodeError: it is none, nests too deeply, or has a number with thousands of digits.
    """
    if _LONG_KEY.search(text):
        raise tomllib.TOMLDecodeError(NESTED)
    try:
        data = tomllib.loads(text)
    except RecursionError:
        raise tomllib.TOMLDecodeError(NESTED) from None
    except tomllib.TOMLDecodeError:
        raise
    except ValueError:  # of `int`, which takes at most 4300 digits
        raise tomllib.TOMLDecodeError("a number has too many digits") from None
    if too_deep(data):
        raise tomllib.TOMLDecodeError(NESTED)
    return data


def too_deep(data: object, most: int = DEEPEST) -> bool:
    """Whether more than `most` tables and lists stand within each other in `data`; never deep itself."""
    layer, depth = [data], 0
    while layer:
        depth += 1
        if depth > most:
            return True
        layer = [
            item
            for one in layer
            if isinstance(one, (dict, list))
            for item in (one.values() if isinstance(one, dict) else one)
            if isinstance(item, (dict, list))
        ]
    return False
