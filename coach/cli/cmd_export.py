"""`coach export`: a recorded drive, or a window of one, as a table for other programs."""

from __future__ import annotations

from pathlib import Path

import click

from coach.cli.folders import data_folder
from coach.cli.group import say

_FILE = click.Path(path_type=Path)


@click.command()
@click.argument("drive")
@click.option("--csv", "kind", flag_value="csv", help="Comma-separated values, the default.")
@click.option(
    "--parquet", "kind", flag_value="parquet", help="Parquet, as for a FILE.parquet; needs the extra: archive."
)
@click.option("--form", type=click.Choice(["wide", "long"]), default="wide", show_default=True,
              help="A column a signal, or a row a sample.")  # fmt: skip
@click.option("--window", "capture", metavar="CAPTURE", help="Only the window of this capture, with what is around it.")
@click.option("--number", type=click.IntRange(1), help="Which attempt, from 1.  [default: the first that qualified]")
@click.option("-o", "--out", type=_FILE, help="The file to write.  [default: named after the drive]")
@click.option("--data", type=_FILE, help="Folder that the drive is in.  [default: the user's own]")
def export(
    drive: str,
    kind: str | None,
    form: str,
    capture: str | None,
    number: int | None,
    out: Path | None,
    data: Path | None,
) -> int:
    """Write a recorded DRIVE as a table, with the unit of each signal in the header.

    \b
    Example:
      coach export 20260504-093000 -o drive.csv
      coach export 20260504-093000 --window part-load --form long
      coach export 20260504-093000 -o drive.parquet
    """  # noqa: D301 - click takes this character to keep lines as they are
    from coach.bundle.export import stored_part, write_csv, write_parquet
    from coach.errors import BadInput
    from coach.store.reading import Reader
    from coach.store.store import DATABASE

    if number is not None and capture is None:
        raise BadInput("a number needs the capture whose attempt it is", where="--window")
    reader = Reader(data_folder(data) / DATABASE)
    recording, catalogue = stored_part(reader, drive, capture, None if number is None else number - 1)
    kind = kind or ("parquet" if out is not None and out.suffix.lower() == ".parquet" else "csv")
    name = drive if capture is None else f"{drive}-{''.join(c if c.isalnum() else '-' for c in capture)}"
    path = out or Path(f"{name}.{kind}")
    write = write_parquet if kind == "parquet" else write_csv
    write(recording, catalogue, path, "long" if form == "long" else "wide")
    say(f"{path}: {recording.samples:,} samples of {len(recording.series)} signals\n")
    return 0
