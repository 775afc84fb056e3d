"""What a bundle keeps back: the vehicle's number unless its owner gives it, and any position, always."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from coach.vin import SHOWN, mask_vin

PLACES = re.compile(r"(gps|gnss)(_.*)?|(.*_)?(latitude|longitude|altitude|bearing|heading)(_.*)?", re.IGNORECASE)
"""Names of signals that would be a position. None is recorded by this program; a catalogue may still have one."""


def is_place(signal: str) -> bool:
    """Whether a signal of this name says where the car was."""
    return PLACES.fullmatch(signal) is not None


class Mask:
    """Hides one vehicle's number wherever it stands.

    Args:
        vin: the number, or None where it is not known.
        whole: the owner gives it.
    """

    def __init__(self, vin: str | None, *, whole: bool = False) -> None:
        self._known = vin if vin and len(vin) > SHOWN and not whole else None
        self._pattern = None if self._known is None else re.compile(re.escape(self._known), re.IGNORECASE)
        self.shown = None if vin is None else vin if whole else mask_vin(vin)

    def text(self, text: str) -> str:
        """`text` without the number."""
        return text if self._pattern is None else self._pattern.sub(lambda found: mask_vin(found.group()), text)

    def raw(self, raw: bytes) -> bytes:
        """The bytes of a text in UTF-8 without the number; anything else as it is."""
        try:
            return self.text(raw.decode("utf-8")).encode()
        except UnicodeDecodeError:
            return raw

    def data(self, data: Any) -> Any:
        """JSON-able data without the number."""
        if isinstance(data, str):
            return self.text(data)
        if isinstance(data, Mapping):
            return {self.text(str(k)): self.data(v) for k, v in data.items()}
        if isinstance(data, (list, tuple)):
            return [self.data(v) for v in data]
        return data
