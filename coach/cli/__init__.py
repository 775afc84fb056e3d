"""The command `coach`. Only click is imported here: what a command needs is imported when it runs."""

from __future__ import annotations

import click

from coach import __version__
from coach.cli.cmd_adapter import adapter
from coach.cli.cmd_archive import archive
from coach.cli.cmd_bundle import bundle
from coach.cli.cmd_data import data
from coach.cli.cmd_devices import devices
from coach.cli.cmd_drives import drives
from coach.cli.cmd_export import export
from coach.cli.cmd_judge import judge
from coach.cli.cmd_key import key
from coach.cli.cmd_licences import licences
from coach.cli.cmd_link import link
from coach.cli.cmd_plan import plan
from coach.cli.cmd_recipe import recipe
from coach.cli.cmd_report import report
from coach.cli.cmd_serve import demo, serve
from coach.cli.cmd_spans import spans
from coach.cli.cmd_vehicle import vehicle
from coach.cli.group import Coach


@click.group(cls=Coach, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(__version__, prog_name="coach", message="%(prog)s %(version)s")
def main() -> None:
    """Coach a driver and a passenger to bring back the recordings that a calibrator asked for.

    \b
    Example:
      coach demo
      coach judge drive.csv --recipe request.toml
    """  # noqa: D301 - click takes this character to keep lines as they are


@main.command()
@click.option("--json", "as_json", is_flag=True, help="Print the figures as JSON.")
@click.option("--quick", is_flag=True, help="Few samples: to see that it runs, not how fast.")
@click.option("--write", metavar="FILE", help="Write a page of them, with how each is measured, to this file too.")
def bench(*, as_json: bool, quick: bool, write: str | None) -> int:
    """Measure how fast this machine judges, and how much memory it takes.

    \b
    Example:
      coach bench
      coach bench --json
      coach bench --write performance.md
    """  # noqa: D301 - click takes this character to keep lines as they are
    from coach.bench import main as run

    words = [word for word, given in (("--json", as_json), ("--quick", quick)) if given]
    return run([*words, *(["--write", write] if write else [])])


main.add_command(adapter)
main.add_command(archive)
main.add_command(data)
main.add_command(demo)
main.add_command(devices)
main.add_command(serve)
main.add_command(judge)
main.add_command(drives)
main.add_command(report)
main.add_command(recipe)
main.add_command(plan)
main.add_command(vehicle)
main.add_command(spans)
main.add_command(licences)
main.add_command(link)
main.add_command(bundle)
main.add_command(key)
main.add_command(export)

__all__ = ["main"]
