"""Recipe, vehicle and catalogue become what is judged; the checks that need a car; captures as sentences."""

from __future__ import annotations

from coach.plan.check import check_plan
from coach.plan.resolve import resolve
from coach.plan.sentences import capture_sentence, describe_recipe, kind_of, least_us

__all__ = ["capture_sentence", "check_plan", "describe_recipe", "kind_of", "least_us", "resolve"]
