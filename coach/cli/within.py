"""Numbers on the command line: click's own range takes "nan", which is neither too small nor too large."""

from __future__ import annotations

import math
from typing import Any

import click


class Within(click.FloatRange):
    """A number from one bound to another, both included."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """The number. Raises click's BadParameter, with the range."""
        number = super().convert(value, param, ctx)
        if math.isnan(number):
            self.fail(f"{value} is not in the range {self._describe_range()}.", param, ctx)
        return number
