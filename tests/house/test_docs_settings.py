"""What a person can set, and what a program can be told, has its place in the reference; nothing there is gone."""

from __future__ import annotations

import inspect
import re
from pathlib import Path

from coach import errors
from coach.server import app, attempts, devices, guard, live, notes, roles, services

ROOT = Path(__file__).parents[2]
SETTINGS = (ROOT / "docs/reference/settings.md").read_text("utf-8")
HTTP = (ROOT / "docs/reference/http-api.md").read_text("utf-8")


def headings(text: str) -> set[str]:
    """Names in backticks that have a heading of their own."""
    return set(re.findall(r"^###? `([^`]+)`$", text, re.MULTILINE))


def of_the_page() -> set[str]:
    """The page's settings, from the module that keeps them."""
    text = (ROOT / "web/js/settings.js").read_text("utf-8")
    usual = re.search(r"const USUAL = {(.*?)};", text, re.DOTALL)
    assert usual
    return set(re.findall(r"(\w+):", usual[1]))


def of_the_environment() -> set[str]:
    """The project's own variables that its programs, its build and its tests read."""
    files = [*(ROOT / "coach").rglob("*.py"), *(ROOT / "tests").rglob("*.py"), ROOT / "run.py", ROOT / "hatch_build.py"]
    found: set[str] = set()
    for path in files:
        for line in path.read_text("utf-8").splitlines():
            if "environ" in line or "COUNTS =" in line:
                found |= set(re.findall(r"\"(COACH_[A-Z_]+)\"", line))
    return found


def test_every_setting_has_its_heading() -> None:
    """On the page and in the environment."""
    wanted = of_the_page() | of_the_environment()
    assert {"speech", "units", "COACH_NODE", "COACH_HASHES", "COACH_BROWSER", "COACH_PICTURES"} <= wanted
    assert headings(SETTINGS) == wanted


def codes() -> dict[str, int]:
    """Code to status of every error over HTTP: of the tree, of the server's modules, and of bare statuses."""
    kinds = []
    for module in (attempts, devices, guard, live, notes, roles, services, errors):
        kinds += [v for v in vars(module).values() if inspect.isclass(v) and issubclass(v, errors.CoachError)]
    known = {code: status for status, (code, _) in app._HTTP_WORDS.items()}
    for kind in kinds:
        of_kind = next((status for base, status in app._STATUS if issubclass(kind, base)), 400)
        known[kind.code] = getattr(kind, "status", None) or of_kind
    return known


def test_every_error_code_is_in_the_table_with_its_status_and_none_that_is_gone() -> None:
    table = HTTP.partition("## Error codes")[2].partition("\n## ")[0]
    rows = re.findall(r"^\| `(\w+)` \| (\d+) \|", table, re.MULTILINE)
    assert {code: int(status) for code, status in rows} == codes()
    assert len(rows) == len(codes())


def test_every_event_of_the_stream_is_in_the_table() -> None:
    """Those that the endpoint's own sentence names, and those that the stream's code writes."""
    table = HTTP.partition("## The live stream")[2].partition("\n## ")[0]
    listed = set(re.findall(r"^\| `(\w+)` \|", table, re.MULTILINE))
    sentence = re.search(r"Server-sent events (.*?);", HTTP)
    assert sentence
    written = set(re.findall(r"event: (\w+)", inspect.getsource(live)))
    assert listed == set(re.findall(r"`(\w+)`", sentence[1])) | written
