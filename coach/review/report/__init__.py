"""The report: one HTML file that needs no script, no network and no other file; the same bytes for the same drive."""

from coach.review.report.page import html

__all__ = ["html"]
