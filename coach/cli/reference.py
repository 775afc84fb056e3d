"""Writes docs/reference/cli.md from the commands themselves: `python -m coach.cli.reference docs/reference/cli.md`."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path

import click

from coach.cli import main

_HEAD = """\
# Commands

This page is made from the commands by `python -m coach.cli.reference`; change them, not the page. In a checkout,
`python3 run.py coach …` runs any of them.

Exit status of every command: 0 when it did its work, whatever the verdict; 1 with `--require` when not everything
asked for is there; 2 for bad input, with one sentence on stderr.
"""


def contexts(
    command: click.Command = main, parent: click.Context | None = None, name: str = "coach"
) -> Iterator[click.Context]:
    """Every command in its context, groups before what is in them."""
    settings = {**command.context_settings, "max_content_width": 100, "terminal_width": 100}
    context = click.Context(command, parent=parent, info_name=name, **settings)
    yield context
    if isinstance(command, click.Group):
        for child in sorted(command.commands):
            yield from contexts(command.commands[child], context, child)


def cli_page() -> str:
    """The page in Markdown: a section for each command with what `--help` says."""
    sections = (f"## {context.command_path}\n\n```text\n{context.get_help()}\n```\n" for context in contexts())
    return "\n".join([_HEAD, *sections])


if __name__ == "__main__":
    Path(sys.argv[1]).write_text(cli_page(), encoding="utf-8")
