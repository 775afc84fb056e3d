"""`python -m coach.sources.simulator --write FOLDER` writes the bundled drives, byte for byte the same each time."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from coach.sources.simulator.scenarios import write_traces


@click.command(epilog="Example: python -m coach.sources.simulator --write replay_traces")
@click.option(
    "--write", "folder", required=True, type=click.Path(file_okay=False, path_type=Path),
    help="Folder for the drives; files of the same names are replaced.",
)  # fmt: skip
def main(folder: Path) -> None:
    """Simulate the bundled drives and write them as tables."""
    try:
        for path in write_traces(folder):
            click.echo(f"{path} {path.stat().st_size / 1000:.0f} kB")
    except OSError as error:
        click.echo(f"{folder}: the drives cannot be written: {error.strerror}", err=True)
        sys.exit(2)


if __name__ == "__main__":
    main()
