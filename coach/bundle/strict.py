"""JSON as a bundle has it: the same text for the same data, and read without trusting whoever wrote it."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from typing import Any

from coach.errors import BundleError
from coach.toml_text import too_deep

DEEPEST = 40
LONGEST_NUMBER = 40


def dump(data: Any) -> bytes:
    """`data` as UTF-8 text, keys in order, a line feed at the end. Raises ValueError for NaN and infinities."""
    text = json.dumps(data, indent=1, sort_keys=True, ensure_ascii=True, allow_nan=False)
    return text.encode() + b"\n"


def finite(data: Any) -> Any:
    """The same with infinities as text (`"Infinity"`), which reads back as the number wherever one is expected."""
    if isinstance(data, float) and not math.isfinite(data):
        return "NaN" if math.isnan(data) else "Infinity" if data > 0 else "-Infinity"
    if isinstance(data, Mapping):
        return {str(k): finite(v) for k, v in data.items()}
    if isinstance(data, (list, tuple)):
        return [finite(v) for v in data]
    return data


def load(raw: bytes, where: str) -> Any:
    """What a file in a bundle says.

    Raises:
        BundleError: no JSON in UTF-8, a key twice, a number that is none or far too large, nested too deeply.
    """
    try:
        data = json.loads(
            raw.decode("utf-8"), parse_constant=_no_number, parse_float=_float, parse_int=_int, object_pairs_hook=_once
        )
        if too_deep(data, DEEPEST):
            raise ValueError("this is nested too deeply")
        return data
    except UnicodeDecodeError:
        raise BundleError("this is not text in UTF-8", where=where) from None
    except RecursionError:
        raise BundleError("this is nested too deeply", where=where) from None
    except json.JSONDecodeError as error:
        raise BundleError(f"this is not JSON: {error.msg} in line {error.lineno}", where=where) from None
    except ValueError as error:
        raise BundleError(str(error), where=where) from None


def _no_number(text: str) -> float:
    raise ValueError(f"{text} is no number in a bundle")


def _float(text: str) -> float:
    value = float(text)
    if not math.isfinite(value) or len(text) > LONGEST_NUMBER:
        raise ValueError(f"the number {text[:20]}… is too large or too long")
    return value


def _int(text: str) -> int:
    if len(text) > 20:
        raise ValueError(f"the number {text[:20]}… is too large")
    return int(text)


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    made = dict(pairs)
    if len(made) != len(pairs):
        seen: set[str] = set()
        for name, _ in pairs:
            if name in seen:
                raise ValueError(f"the key {name[:40]!r} is there twice")
            seen.add(name)
    return made
