"""How the command ends: exit statuses, one sentence on stderr, never a traceback for what a person can cause."""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Sequence
from typing import Any, NoReturn

import click

from coach.errors import CoachError

REQUIRED = 1
"""Exit status with `--require` when not everything asked for is there."""
BAD_INPUT = 2
"""Exit status for bad input."""
INTERRUPTED = 130
"""Exit status after Ctrl-C, as shells have it."""


HELP = ["-h", "--help"]


def _same_help(command: click.Command) -> None:
    """Every command knows both names of help, also when it is run by itself: click remembers what it saw first."""
    command.context_settings.setdefault("help_option_names", HELP)
    if isinstance(command, click.Group):
        for child in command.commands.values():
            _same_help(child)


class Coach(click.Group):
    """A group whose errors are one sentence on stderr."""

    def add_command(self, cmd: click.Command, name: str | None = None) -> None:
        """Add a command, and give it the names of help that all have."""
        _same_help(cmd)
        super().add_command(cmd, name)

    def main(
        self,
        args: Sequence[str] | None = None,
        prog_name: str | None = None,
        complete_var: str | None = None,
        standalone_mode: bool = True,
        **extra: Any,
    ) -> Any:
        """Run the command and end the process, as click does; `standalone_mode=False` returns instead."""
        if not standalone_mode:
            return super().main(args, prog_name, complete_var, standalone_mode=False, **extra)
        _no_surprises(sys.stdout)
        _no_surprises(sys.stderr)
        try:
            status = super().main(args, prog_name or "coach", complete_var, standalone_mode=False, **extra)
            sys.stdout.flush()
        except CoachError as error:
            _end(str(error), BAD_INPUT)
        except click.UsageError as error:
            hint = f" (see: {error.ctx.command_path} --help)" if error.ctx is not None else ""
            _end(f"{error.format_message()}{hint}", BAD_INPUT)
        except click.ClickException as error:
            _end(error.format_message(), BAD_INPUT)
        except (click.Abort, KeyboardInterrupt):
            sys.exit(INTERRUPTED)
        sys.exit(status if isinstance(status, int) else 0)

    def invoke(self, ctx: click.Context) -> Any:
        """Runs the subcommand. When nobody reads what it says any more, that is no failure."""
        try:
            return super().invoke(ctx)
        except BrokenPipeError:
            # What is still buffered must not raise again at exit.
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
            return 0


def _no_surprises(stream: Any) -> None:
    """A character that the terminal cannot show is replaced, not an error."""
    if hasattr(stream, "reconfigure"):
        stream.reconfigure(errors="replace")


def _end(sentence: str, status: int) -> NoReturn:
    one_line = " ".join(sentence.split())
    click.echo(f"coach: {one_line}", err=True)
    sys.exit(status)


def say(text: str) -> None:
    """Writes to stdout at once.

    click's own `echo` would go around a terminal that does not take UTF-8 and send it UTF-8 all the same.
    """
    sys.stdout.write(text)
    sys.stdout.flush()


def print_json(value: Any) -> None:
    """Prints JSON; beyond ASCII only where the terminal takes UTF-8."""
    encoding = (getattr(sys.stdout, "encoding", None) or "ascii").lower().replace("-", "")
    plain = encoding not in {"utf8", "utf8sig"}
    say(json.dumps(value, indent=2, ensure_ascii=plain, allow_nan=False) + "\n")
