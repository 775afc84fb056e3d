"""`coach data`: what the data folder holds and takes; drives removed or rescued, only when asked."""

from __future__ import annotations

from pathlib import Path

import click

from coach.cli.folders import kept_folder
from coach.cli.group import REQUIRED, Coach, print_json, say

_FILE = click.Path(path_type=Path)
_DATA = click.option("--data", type=_FILE, help="The data folder.  [default: the user's own]")


@click.group(cls=Coach)
def data() -> None:
    """What the data folder holds: look, remove, check, rescue. To get drives out of it see `coach export`.

    \b
    Example:
      coach data show
      coach data remove 20260504-093000
    """  # noqa: D301 - click takes this character to keep lines as they are


def _mb(size: int) -> str:
    return f"{size / 1e6:,.1f} MB"


@data.command()
@_DATA
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
def show(data: Path | None, *, as_json: bool) -> int:
    """Say what the data folder takes, in all and for each drive.

    \b
    Example:
      coach data show
      coach data show --data drives --json
    """  # noqa: D301 - click takes this character to keep lines as they are
    from coach.store.keeping import room, rooms

    folder = kept_folder(data)
    taken, drives = room(folder), rooms(folder)
    if as_json:
        print_json(
            {
                "folder": str(folder), "total_bytes": taken.total, "database_bytes": taken.database,
                "windows_bytes": taken.windows, "free_bytes": taken.free,
                "drives": [
                    {
                        "id": d.drive.id, "title": d.drive.title, "phase": d.drive.phase, "samples": d.drive.samples,
                        "duration_s": d.drive.last_us / 1e6, "samples_bytes": d.samples, "windows_bytes": d.windows,
                    }
                    for d in drives
                ],
            }
        )  # fmt: skip
        return 0
    lines = [f"{folder}: {_mb(taken.total)} taken, {_mb(taken.free)} free"]
    for d in drives:
        minutes = d.drive.last_us / 60e6
        size = _mb(d.samples + d.windows)
        lines.append(f"{d.drive.id:<18} {minutes:7.1f} min {d.drive.samples:>10,} samples {size:>12}  {d.drive.title}")
    say("\n".join(lines) + "\n")
    return 0


@data.command()
@click.argument("drives", nargs=-1, required=True)
@_DATA
@click.option("--yes", is_flag=True, help="Do not ask.")
def remove(drives: tuple[str, ...], data: Path | None, *, yes: bool) -> int:
    """Remove DRIVES for good, with the files of their windows. Nobody may be recording meanwhile.

    \b
    Example:
      coach data remove 20260504-093000
    """  # noqa: D301 - click takes this character to keep lines as they are
    from coach.clock import Clock
    from coach.store import Store
    from coach.store.keeping import compact, remove_drive

    folder = kept_folder(data)
    with Store(folder, Clock()) as store:
        rows = [store.drive(drive) for drive in dict.fromkeys(drives)]
        for row in rows:
            say(f"{row.id}  {row.samples:,} samples  {row.title}\n")
        if not yes:
            click.confirm("Remove for good?", abort=True, err=True)
        for row in rows:
            remove_drive(store, row.id)
    say(f"Removed; {_mb(compact(folder))} given back.\n")
    return 0


@data.command()
@_DATA
def check(data: Path | None) -> int:
    """Look whether everything is as it was saved: the database, blocks of samples, files of windows.

    Exit status: 0 when it is, 1 when something is damaged.

    \b
    Example:
      coach data check
    """  # noqa: D301 - click takes this character to keep lines as they are
    from coach.store.keeping import check as look

    wrong = list(look(kept_folder(data)))
    say("\n".join([*wrong, "" if wrong else "Everything is as it was saved."]).strip() + "\n")
    return REQUIRED if wrong else 0


@data.command()
@_DATA
@click.option("-o", "--output", "target", type=_FILE, required=True, help="A folder for what can be read; made here.")
def rescue(data: Path | None, target: Path) -> int:
    """Export what can be read of a damaged data folder, and say what was lost. The folder itself is not touched.

    Exit status: 0 when nothing was lost, 1 when something was.

    \b
    Example:
      coach data rescue -o rescued
    """  # noqa: D301 - click takes this character to keep lines as they are
    from coach.errors import BadInput
    from coach.store.rescue import rescue_to

    if target.exists():
        raise BadInput("there is such a file or folder already; name another one", where=str(target))
    lines, lost = rescue_to(kept_folder(data), target)
    say("\n".join(lines) + "\n")
    return REQUIRED if lost else 0
