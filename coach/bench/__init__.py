"""The benchmark: what the project promises, measured on this machine beside what a user would otherwise do."""

from __future__ import annotations

from collections.abc import Sequence


def main(arguments: Sequence[str] | None = None) -> int:
    """The command `coach bench`. Nothing is loaded before: a server that is watched must weigh what a server weighs."""
    from coach.bench.run import main as run

    return run(arguments)


__all__ = ["main"]
