"""The benchmark: what the project promises, measured on this machine beside what a user would otherwise do."""

from __future__ import annotations

from coach.bench.run import main

__all__ = ["main"]
