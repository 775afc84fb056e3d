"""What is written about the link names what the program has."""

from __future__ import annotations

import re
from pathlib import Path

from coach.sources.link.decode import OTHER_WAYS
from coach.sources.link.port import BAUDS
from coach.sources.link.trouble import SENTENCES
from coach.sources.link.wire import MODES

DOCS = Path(__file__).parents[2] / "docs"
LINK = (DOCS / "explanation/link.md").read_text("utf-8")


def test_every_reason_is_in_the_table_and_none_that_is_gone() -> None:
    table = LINK.partition("## Reasons")[2].partition("## ")[0]
    assert set(re.findall(r"`(\w+)`", table)) == set(SENTENCES)


def test_modes_speeds_and_unchecked_parameters_are_named() -> None:
    modes = LINK.partition("## Read only")[2].partition("in one frame")[0]
    assert {int(m, 16) for m in re.findall(r"\b(\d[\dA-F])\b", modes)} == MODES
    how = (DOCS / "how-to/connect-an-adapter.md").read_text("utf-8")
    assert all(f"{baud:,}" in how for baud in BAUDS)
    unchecked = LINK.partition("## What could not be checked")[2]
    assert all(f"{way.reading.pid:02X}" in unchecked for way in OTHER_WAYS)
