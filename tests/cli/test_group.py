"""How the command starts and ends, whatever the subcommand."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from coach import __version__
from coach.cli import main
from coach.cli.group import Coach, print_json
from coach.cli.reference import contexts
from coach.errors import BadInput, StoreError

ROOT = Path(__file__).parents[2]
ALL = [(context.command_path, context.command) for context in contexts()]


def run(*words, **environment):
    command = [sys.executable, "-c", "from coach.cli import main; main()", *map(str, words)]
    return subprocess.run(
        command, cwd=ROOT, capture_output=True, timeout=60, check=False, env={**os.environ, **environment}
    )


def test_version():
    result = CliRunner().invoke(main, ["--version"])
    assert (result.exit_code, result.stdout) == (0, f"coach {__version__}\n")


@pytest.mark.parametrize(("name", "command"), ALL, ids=[name for name, _ in ALL])
def test_every_help_has_an_example(name, command):
    """And every option says what it does."""
    words = name.split()[1:]
    result = CliRunner().invoke(main, [*words, "--help"], prog_name="coach")
    assert result.exit_code == 0
    assert f"Example:\n    {name}" in result.stdout
    for option in command.params:
        if isinstance(option, click.Option):
            assert option.help, option.name


def test_commands_that_must_exist():
    names = {name for name, _ in ALL}
    assert names >= {
        "coach demo",
        "coach serve",
        "coach judge",
        "coach recipe check",
        "coach recipe schema",
        "coach bench",
    }


@pytest.mark.parametrize(
    "words",
    [["nonsense"], ["judge"], ["judge", "--recipe"], ["--wrong"], ["recipe", "check"], ["serve", "--port", "x"]],
)
def test_wrong_use_is_one_sentence_and_2(words):
    result = CliRunner().invoke(main, words, prog_name="coach")
    assert result.exit_code == 2
    assert result.stdout == ""
    assert result.stderr.startswith("coach: ")
    assert result.stderr.count("\n") == 1


def group(raised):
    @click.group(cls=Coach)
    def root():
        pass

    @root.command()
    def go():
        raise raised

    return root


@pytest.mark.parametrize(
    ("error", "status", "sentence"),
    [
        (BadInput("the band is\nupside down", where="keep.gear"), 2, "coach: keep.gear: the band is upside down\n"),
        (StoreError("the disk is full"), 2, "coach: the disk is full\n"),
        (click.ClickException("no"), 2, "coach: no\n"),
        (KeyboardInterrupt(), 130, ""),
        (click.Abort(), 130, ""),
    ],
)
def test_errors_end_in_one_sentence(error, status, sentence):
    result = CliRunner().invoke(group(error), ["go"])
    assert result.exit_code == status
    assert result.stderr.strip() == sentence.strip()
    assert "Traceback" not in result.stderr


def test_fault_of_our_own_is_not_hidden():
    """A bug is a traceback: only what a person can cause is a sentence."""
    result = CliRunner().invoke(group(ZeroDivisionError()), ["go"])
    assert isinstance(result.exception, ZeroDivisionError)


def test_not_standalone_returns_instead_of_ending():
    assert main.main(["recipe", "--help"], standalone_mode=False) == 0


def test_broken_pipe_is_quiet():
    """`coach ... | head` ends without a word."""
    script = "from coach.cli import main; main()"
    reader, writer = os.pipe()
    os.close(reader)
    process = subprocess.run(
        [sys.executable, "-c", script, "recipe", "schema"], cwd=ROOT, stdout=writer, stderr=subprocess.PIPE, timeout=60,
        check=False,
    )  # fmt: skip
    os.close(writer)
    assert process.returncode == 0
    assert process.stderr == b""


def test_help_loads_nothing_heavy():
    """`coach --help` has to answer at once: click and the standard library are enough."""
    script = (
        "import sys\nfrom coach.cli import main\n"
        "heavy = {'numpy', 'pandas', 'pint', 'pydantic', 'flask', 'cheroot', 'coach.core', 'coach.recipe'}\n"
        "print(sorted(heavy & set(sys.modules)))"
    )
    result = subprocess.run(
        [sys.executable, "-c", script], cwd=ROOT, capture_output=True, text=True, timeout=60, check=True
    )
    assert result.stdout == "[]\n"


def test_terminal_without_utf_8_gets_replacements_not_a_traceback(tmp_path):
    """Degree signs and titles in any language."""
    trace, recipe = ROOT / "replay_traces/cold-engine.csv", ROOT / "replay_traces/demo-recipe.toml"
    for more in ([], ["--json"]):
        result = run("judge", trace, "--recipe", recipe, *more, PYTHONIOENCODING="ascii", PYTHONUTF8="0")
        assert result.returncode == 0, result.stderr
        result.stdout.decode("ascii")
        assert result.stderr == b""


@pytest.mark.parametrize(
    ("words", "handed"), [([], []), (["--json"], ["--json"]), (["--quick", "--json"], ["--json", "--quick"])]
)
def test_bench_is_handed_its_options(words, handed, monkeypatch):
    """And its exit status is handed back."""
    seen = []

    def run(arguments):
        seen.append(arguments)
        return 0

    monkeypatch.setattr("coach.bench.main", run)
    assert CliRunner().invoke(main, ["bench", *words]).exit_code == 0
    assert seen == [handed]


def test_no_colour_codes():
    result = run("--help")
    assert b"\x1b" not in result.stdout + result.stderr


def test_json_is_plain_where_the_terminal_is(capsys):
    print_json({"unit": "°C"})
    assert json.loads(capsys.readouterr().out) == {"unit": "°C"}
    with pytest.raises(ValueError, match="JSON"):
        print_json(float("nan"))
