"""What an owner chooses of a bundle, and names of its own two files. No more, because the server loads it."""

from __future__ import annotations

from dataclasses import dataclass

MANIFEST = "manifest.json"
SIGNATURE = "signature.json"


@dataclass(frozen=True, slots=True)
class Wanted:
    """What the owner chooses.

    Attributes:
        whole: every signal from end to end, as tables too; else only the signals that were judged.
        full_vin: the vehicle's number as it is.
    """

    whole: bool = False
    full_vin: bool = False
