"""`coach devices`: who is joined, without the page; it works beside a server that runs."""

from __future__ import annotations

from pathlib import Path

import click

from coach.cli.folders import data_folder
from coach.cli.group import print_json, say

_FILE = click.Path(path_type=Path)
_DATA = click.option("--data", type=_FILE, help="Folder that drives are kept in.  [default: the user's own]")


@click.group()
def devices() -> None:
    """List, remove and invite the phones that may join.

    \b
    Example:
      coach devices list
    """  # noqa: D301 - click takes this character to keep lines as they are


def _folder(data: Path | None) -> Path:
    from coach.errors import NotFound
    from coach.server.devices import DATABASE, FOLDER

    folder = data_folder(data)
    if not (folder / FOLDER / DATABASE).is_file():
        raise NotFound("nothing was ever joined here; `coach serve --lan` begins it", where=str(folder))
    return folder


@devices.command("list")
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
@_DATA
def list_devices(data: Path | None, *, as_json: bool) -> int:
    """List the devices that are joined, the one seen last first.

    \b
    Example:
      coach devices list
    """  # noqa: D301 - click takes this character to keep lines as they are
    from coach.clock import Clock, wall_text
    from coach.server.devices import Devices

    with Devices(_folder(data), Clock()) as known:
        found = known.list()
    if as_json:
        print_json({"devices": [device.as_dict() for device in found]})
        return 0
    if not found:
        say("No device is joined.\n")
    for device in found:
        seen = wall_text(device.seen_wall_us)[:16].replace("T", " ")
        say(f"{device.id}  {device.role:<8}  last seen {seen} UTC  {device.name}\n")
    return 0


@devices.command()
@click.argument("device")
@_DATA
def remove(device: str, data: Path | None) -> int:
    """Remove DEVICE, an id from the list: it is cut off at once, also from a server that runs.

    \b
    Example:
      coach devices remove 7f3a90c2
    """  # noqa: D301 - click takes this character to keep lines as they are
    from coach.clock import Clock
    from coach.server.devices import Devices

    with Devices(_folder(data), Clock()) as known:
        known.remove(device)
    say(f"{device} is removed.\n")
    return 0


@devices.command()
@click.option("--onlooker", is_flag=True, help="For a device that watches only.")
@click.option("--number", is_flag=True, help="Put the address as a number instead of the name.")
@_DATA
def invite(data: Path | None, *, onlooker: bool, number: bool) -> int:
    """Show a square that joins one phone, once, to the server that runs.

    \b
    Example:
      coach devices invite
      coach devices invite --onlooker
    """  # noqa: D301 - click takes this character to keep lines as they are
    from coach.cli.square import MAKER, drawn, is_terminal
    from coach.clock import Clock
    from coach.errors import BadInput, Conflict
    from coach.server.devices import INVITE_S, DeviceRole, Devices
    from coach.server.joining import invitation

    if not is_terminal():
        raise BadInput("the square holds a secret: it is shown on a terminal only, not written to a file or a pipe")
    with Devices(_folder(data), Clock()) as known:
        address = known.fact("number_address" if number else "address")
        if address is None:
            raise Conflict("no server has let phones join here yet; start `coach serve --lan`")
        role: DeviceRole = "onlooker" if onlooker else "operator"
        url = invitation(address, known.invite(role, MAKER))
    say(f"{drawn(url)}\nScan it to join as {role}, within {INVITE_S // 60} minutes. It works once, for one phone.\n")
    return 0
