"""Every figure has its definition in the reference, and every kind its heading; no word is missing."""

from __future__ import annotations

import re
from pathlib import Path

from coach.review.kinds import KINDS
from coach.words import load_words

ROOT = Path(__file__).parents[2]
PAGE = (ROOT / "docs/reference/summaries.md").read_text("utf-8")
KEY = re.compile(
    r"""(?:word|words|counted)\(\s*f?"(?:review\.)?((?:note|group|column|table|why|power|report)\.[a-z_0-9.]+)\""""
)


def test_every_figure_is_defined():
    """By its id, with its unit and what it is."""
    named = set(load_words().get("review.figure")) - {"bins"}
    assert [i for i in sorted(named) if f"`{i}`" not in PAGE] == []


def test_every_kind_has_its_words_and_its_row():
    words = load_words()
    for kind in KINDS:
        assert f"review.kind.{kind}" in words
    for name in ("Part load", "Sweep", "Idle", "Tip-in", "Overrun", "Start", "Deceleration to idle"):
        assert f"\n## {name}\n" in PAGE


def test_every_sentence_that_the_code_names_exists():
    """A missing one would be a fault of ours in front of a calibrator."""
    words, missing, seen = load_words(), [], 0
    for path in (ROOT / "coach/review").rglob("*.py"):
        for key in KEY.findall(path.read_text("utf-8")):
            seen += 1
            if f"review.{key}" not in words and f"review.{key.rstrip('.')}" not in words:
                missing.append((path.name, key))
    assert seen > 60
    assert missing == []


def test_every_reason_why_not_exists_and_reads_alike():
    """`cannot(…, "key")` and `why="key"` name sentences that begin alike."""
    words = load_words()
    named = set()
    for path in (ROOT / "coach/review").glob("*.py"):
        text = path.read_text("utf-8")
        named |= set(re.findall(r"""cannot\(\s*"?[\w{}]+"?,\s*"?[\w/%.-]*"?,\s*"([a-z_0-9]+)\"""", text))
        named |= set(re.findall(r"""why="([a-z_0-9]+)\"""", text))
    assert len(named) > 20
    for key in named:
        assert words(f"review.why.{key}").startswith("Cannot be said, because"), key
    for key, text in words.get("review.why").items():
        assert text.startswith("Cannot be said, because"), key
        assert text.endswith("."), key
