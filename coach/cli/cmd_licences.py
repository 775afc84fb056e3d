"""`coach licences`: under which licence everything comes that this program uses."""

from __future__ import annotations

import click

from coach.cli.group import print_json, say


@click.command()
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
def licences(*, as_json: bool) -> int:
    """List what this program needs, as it is installed here, with versions and licences.

    The packages' own metadata are the source; the texts lie beside each package.

    \b
    Example:
      coach licences
      coach licences --json
    """  # noqa: D301 - click takes this character to keep lines as they are
    from dataclasses import asdict

    from coach.cli.licences import parts

    found = parts()
    if as_json:
        print_json({"packages": [asdict(part) for part in found]})
        return 0
    width = max(len(p.name) for p in found)
    say("".join(f"{p.name:<{width}}  {p.version:<16} {p.where:<8}  {p.licence}\n" for p in found))
    return 0
