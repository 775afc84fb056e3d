"""docs/reference/columns.md and the how-to say what the reader does."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest

from coach.sources import table_bytes, table_cells, table_collect
from coach.sources.columns import TIME_KINDS, parse_columns
from coach.sources.table import MOST_SAMPLES
from coach.sources.table_child import MOST_SAMPLES as MOST_SAMPLES_IN_CHILD
from coach.sources.table_header import TIME_NAMES

DOCS = Path(__file__).parents[2] / "docs"
REFERENCE = (DOCS / "reference/columns.md").read_text("utf-8")
HOW_TO = (DOCS / "how-to/read-your-own-table.md").read_text("utf-8")


def section(title):
    return re.split(r"^## ", REFERENCE.partition(f"## {title}\n")[2], flags=re.MULTILINE)[0]


def test_every_note_has_its_row():
    """All codes that the reader's modules note stand in the table of rows, and no others."""
    source = "".join(path.read_text("utf-8") for path in Path(table_bytes.__file__).parent.glob("table*.py"))
    codes = set(table_collect._TEXTS) | set(re.findall(r'Note\(\s*"(\w+)"', source))
    assert set(re.findall(r"^\| `(\w+)` \|", section("Rows"), re.MULTILINE)) == codes


def test_every_sign_is_listed():
    """Signs for no sample and for one that failed are those of the code."""
    rows = section("Cells").splitlines()
    for signs, words in ((table_cells.ABSENT, "| no sample; counted"), (table_cells.UNREADABLE, "could not be read")):
        (row,) = [r for r in rows if words in r]
        assert {s.lower() for s in re.findall(r"`([^`]+)`", row.split("|")[1])} == signs


def test_every_name_of_a_time_column_is_listed():
    """The names of a time column are those of the code."""
    listed = re.findall(r"`([^`]+)`", section("Time").partition(", with or without a unit")[0])
    assert set(listed) == TIME_NAMES


def test_time_kinds_and_ceilings():
    """Kinds of time and figures of size are those of the code."""
    comment = re.search(r'unit = "ms" +# (.*)', section("The columns file"))[1]
    assert re.findall(r"\b(s|ms|us|min|h|clock|date)\b", re.sub(r"\(.*?\)", "", comment)) == list(TIME_KINDS)
    assert MOST_SAMPLES == MOST_SAMPLES_IN_CHILD == 50_000_000
    assert "50 million samples" in REFERENCE
    assert "50 million samples" in HOW_TO
    assert table_bytes.LONGEST_LINE == 1 << 20
    assert table_bytes.MOST_COLUMNS == 4096
    assert table_bytes.TableFile(Path("x")).most_bytes == 8 << 30


@pytest.mark.parametrize("text", re.findall(r"```toml\n(.*?)```", REFERENCE + HOW_TO, re.DOTALL))
def test_examples_load(text):
    """Every columns file of the documents loads, and says what it seems to."""
    columns = parse_columns(text.encode())
    assert set(columns.rules) == set(tomllib.loads(text).get("columns", {}))
