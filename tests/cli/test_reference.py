"""Pages that are made from the program, or that must name everything in it."""

from __future__ import annotations

import re
from pathlib import Path
from typing import get_args, get_type_hints

from coach.cli.reference import cli_page, contexts
from coach.core.events import Code, Event, Outcome
from coach.core.view import CaptureView

DOCS = Path(__file__).parents[2] / "docs"


def test_cli_page_is_up_to_date():
    """Made by `python -m coach.cli.reference docs/reference/cli.md`."""
    assert (DOCS / "reference/cli.md").read_text("utf-8") == cli_page()


def headings(page):
    return set(re.findall(r"^#+ (.+?)\s*$", (DOCS / page).read_text("utf-8"), re.MULTILINE))


def test_every_command_knows_both_names_of_help_by_itself():
    """Also when it is run outside `coach`: click keeps the first names it saw, and so would the page."""
    for context in contexts():
        assert context.command.context_settings.get("help_option_names") in (["-h", "--help"], []), context.command_path


def test_every_outcome_reason_event_and_gate_has_its_heading():
    """And no heading names one that is gone."""
    event_names = [re.sub(r"(?<!^)(?=[A-Z])", "_", e.__name__).lower() for e in get_args(Event)]
    wanted = {f"Outcome `{o.value}`" for o in Outcome} | {f"Reason `{c.value}`" for c in Code}
    wanted |= {f"Event `{name}`" for name in event_names} | {f"Gate `{g}`" for g in _gates()}
    there = {h for h in headings("reference/reasons.md") if "`" in h}
    assert there == wanted


def _gates():
    hint = get_type_hints(CaptureView)["gate"]
    return [word for part in get_args(hint) for word in get_args(part)]


def test_every_key_of_the_verdict_is_described():
    text = (DOCS / "reference/verdict.md").read_text("utf-8")
    from tests.review.test_verdict import BUSY, made

    verdict = made(BUSY)
    capture = verdict["captures"][0]
    attempt = capture["attempts"][0]
    keys = {
        *verdict,
        *verdict["recipe"],
        *verdict["drive"],
        *verdict["alarms"][0],
        *capture,
        *attempt,
        *attempt["reason"],
    }
    keys |= set(attempt["excursions"][0]) | set(verdict["notes"][0]) | {"count", "rate_hz", "max_gap_s"}
    assert [key for key in keys if f'"{key}"' not in text and f"`{key}`" not in text] == []


def test_every_page_is_in_the_index():
    """A page nobody can find is not there."""
    index = (DOCS / "README.md").read_text("utf-8")
    folders = ("tutorial", "how-to", "reference", "explanation")
    pages = [p.relative_to(DOCS).as_posix() for folder in folders for p in sorted((DOCS / folder).glob("*.md"))]
    assert [page for page in pages if f"({page})" not in index] == []
