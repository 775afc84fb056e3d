"""Finished drives: verdicts as JSON and as text."""
