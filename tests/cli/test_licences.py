"""`coach licences`: everything that runs here, no more, each with its licence."""

import json
import sys
from importlib import metadata
from pathlib import Path

import pytest
from click.testing import CliRunner
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from coach.cli import main
from coach.cli.licences import _here, parts

ROOT = Path(__file__).parents[2]


def test_what_is_listed_is_what_is_pinned_to_run():
    """The list of hashes was made by another way: over markers of the packaging library."""
    text = (ROOT / "hashes/run.txt").read_text("utf-8")
    pins = [Requirement(line.rstrip(" \\")) for line in text.splitlines() if line[:1].isalnum()]
    here = {canonicalize_name(pin.name) for pin in pins if pin.marker is None or pin.marker.evaluate()}
    listed = {canonicalize_name(part.name) for part in parts() if part.where == "program"}
    assert listed - {"log-capture-coach"} == here


def test_nothing_is_listed_without_a_licence():
    """And with the version that is installed."""
    for part in parts():
        assert part.licence.strip()
        assert part.licence != "not said in its metadata"
        if part.where != "page":
            assert part.version == metadata.version(part.name)
    assert {p.where for p in parts()} >= {"program", "archive"}


@pytest.mark.parametrize(
    "marker",
    [
        "", " python_version < '3.9'", " python_version>='3.11' and sys_platform != 'win32'", " os_name == 'nt'",
        " (sys_platform == 'linux' or sys_platform == 'darwin') and python_version > '3'", " python_version == '2.7'",
        " platform_system == 'Windows'", " implementation_name == 'cpython'", " python_full_version <= '3.10.2'",
    ],
)  # fmt: skip
def test_markers_are_read_as_the_packaging_library_reads_them(marker):
    """For the ones that packages use; `or` before `and` is not among them."""
    if marker:
        assert _here(marker) == Requirement(f"x;{marker}").marker.evaluate(), sys.platform
    else:
        assert _here(marker)


def test_it_prints_a_line_for_each_or_json():
    runner = CliRunner()
    said = runner.invoke(main, ["licences"], standalone_mode=False).output
    told = json.loads(runner.invoke(main, ["licences", "--json"], standalone_mode=False).output)
    assert len(said.splitlines()) == len(told["packages"])
    assert {"where": "program", "name": "obd", "version": metadata.version("obd"), "licence": "GPL-2.0-only"} in told[
        "packages"
    ]
