"""The log capture coach: helps a driver bring back recordings that meet a calibrator's request.

What other programs may use stands in `coach.api` and can be taken from here: `import coach; coach.judge(...)`. It is
loaded when it is first asked for, so that starting the command stays quick.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

__version__ = "0.1.0"

if TYPE_CHECKING:
    from coach.api import (
        changes,
        check_bundle,
        check_recipe,
        judge,
        load_recipe,
        load_vehicle,
        open_bundle,
        parse_recipe,
        prove,
        read_drive,
        schemas,
    )

__all__ = [
    "changes", "check_bundle", "check_recipe", "judge", "load_recipe", "load_vehicle", "open_bundle", "parse_recipe",
    "prove", "read_drive", "schemas",
]  # fmt: skip


def __getattr__(name: str) -> Any:
    if name in __all__:
        from coach import api

        return getattr(api, name)
    raise AttributeError(f"module 'coach' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted([*globals(), *__all__])
