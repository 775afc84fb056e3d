"""The one instruction that matters now: from the judge's view to one line, one number, one lane. Sans-IO."""

from coach.advice.adviser import Adviser
from coach.advice.state import DriveState, LinkState

__all__ = ["Adviser", "DriveState", "LinkState"]
