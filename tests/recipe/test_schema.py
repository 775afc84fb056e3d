"""The JSON Schema and the reference page say what the models take."""

from __future__ import annotations

import json
import re
import tomllib
from pathlib import Path

from coach.recipe import examine, recipe_schema
from coach.recipe.model import BandTable, CaptureTable, LimitTable, RateTable, RecipeFile, SweepTable

ROOT = Path(__file__).parents[2]
PAGE = ROOT / "docs" / "reference" / "recipe.md"
TABLES = {
    "RecipeFile": RecipeFile,
    "CaptureTable": CaptureTable,
    "BandTable": BandTable,
    "LimitTable": LimitTable,
    "RateTable": RateTable,
    "SweepTable": SweepTable,
}


def keys(model) -> list[str]:
    return [field.alias or name for name, field in model.model_fields.items()]


def tables_in(schema: dict) -> dict[str, dict]:
    """The object schemas by model, also those that may be written short."""
    found = {"RecipeFile": schema}
    for name, part in schema["$defs"].items():
        found[name] = next((p for p in part.get("anyOf", []) if p.get("type") == "object"), part)
    return found


def test_the_schema_has_every_key_with_its_description():
    """Each key stands in the schema under the name that is written, with words, and no other key is allowed."""
    schema = recipe_schema()
    json.dumps(schema)
    found = tables_in(schema)
    for name, model in TABLES.items():
        assert list(found[name]["properties"]) == keys(model)
        assert found[name]["additionalProperties"] is False
        assert all(p.get("description") for p in found[name]["properties"].values()), name
    assert schema["required"] == ["format", "title", "capture"]


def test_the_reference_names_every_key_and_every_finding():
    """docs/reference/recipe.md has a row for each key and for each code of the check."""
    page = PAGE.read_text(encoding="utf-8")
    rows = set(re.findall(r"^\| `([a-z_]+)` \|", page, re.MULTILINE))
    for model in TABLES.values():
        assert set(keys(model)) <= rows
    source = "".join(f.read_text(encoding="utf-8") for f in (ROOT / "coach" / "recipe").glob("*.py"))
    source += (ROOT / "coach" / "plan" / "check.py").read_text(encoding="utf-8")
    used = set(re.findall(r'(?:Fault\(|fault\(|return )\s*"([a-z_]+)",\s', source))
    assert len(used) > 30
    assert used <= rows


def test_the_examples_of_the_reference_load():
    """Every TOML block of the page is a recipe without findings, or a part of one."""
    page = PAGE.read_text(encoding="utf-8")
    blocks = re.findall(r"```toml\n(.*?)```", page, re.DOTALL)
    assert blocks
    for block in blocks:
        tomllib.loads(block)
        if block.startswith("format"):
            recipe, findings = examine(block)
            assert recipe is not None
            assert findings == []
