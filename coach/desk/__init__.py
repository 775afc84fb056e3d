"""The calibrator's desk: what changed between revisions, whether a recipe can be met, what comes back."""
