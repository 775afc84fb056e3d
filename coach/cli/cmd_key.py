"""`coach key`: the key that this installation signs bundles with, and the keys of others that are trusted."""

from __future__ import annotations

import re
from pathlib import Path

import click

from coach.cli.folders import data_folder
from coach.cli.group import print_json, say

_FILE = click.Path(path_type=Path)
_DATA = click.option("--data", type=_FILE, help="Folder that the keys are in.  [default: the user's own]")


@click.group()
def key() -> None:
    """Show or hand out this installation's key, or pin a customer's.

    \b
    Example:
      coach key show
      coach key pin customer.pem --name "Red hatchback"
    """  # noqa: D301 - click takes this character to keep lines as they are


@key.command()
@_DATA
@click.option("--json", "as_json", is_flag=True, help="Print it as JSON.")
def show(data: Path | None, *, as_json: bool) -> int:
    """Show the fingerprint of this installation's key. It is made when it is first asked for, and stays here.

    \b
    Example:
      coach key show
    """  # noqa: D301 - click takes this character to keep lines as they are
    from coach.bundle.keys import fingerprint, own_public_key

    public = own_public_key(data_folder(data))
    if as_json:
        print_json({"fingerprint": fingerprint(public), "public_key": public})
    else:
        say(f"{fingerprint(public)}\nRead it to the calibrator on the phone, or send the file of: coach key export\n")
    return 0


@key.command()
@_DATA
@click.option("-o", "--out", type=_FILE, help="The file to write; else it is printed.")
def export(data: Path | None, out: Path | None) -> int:
    """Write the public half of this installation's key, for a calibrator to pin. It is no secret.

    \b
    Example:
      coach key export -o my-key.pem
    """  # noqa: D301 - click takes this character to keep lines as they are
    from coach.bundle.keys import export_text, own_public_key
    from coach.cli.whole_file import write_whole

    text = export_text(own_public_key(data_folder(data)))
    if out is None:
        say(text)
        return 0
    write_whole(out, text)
    return 0


@key.command()
@click.argument("file", type=_FILE)
@click.option("--name", required=True, help="Whose key it is, in your words.")
@_DATA
def pin(file: Path, name: str, data: Path | None) -> int:
    """Trust the public key in FILE, or the one that signed the bundle in FILE, under a name.

    Compare the fingerprint with its owner before: by voice, not by the mail that brought the file.

    \b
    Example:
      coach key pin customer.pem --name "Red hatchback"
      coach key pin first-revision.zip --name "Red hatchback"
    """  # noqa: D301 - click takes this character to keep lines as they are
    from coach.bundle.keys import pin as keep

    made = keep(data_folder(data), name, _key_in(file))
    say(f"{made.name}: {made.fingerprint}\n")
    return 0


def _key_in(file: Path) -> str:
    """The public key in a file, or that of the bundle in it. Raises BadInput."""
    from coach.bundle.keys import MOST_FILE, read_public_key
    from coach.bundle.opening import open_bundle
    from coach.errors import BadInput, BundleError

    try:
        with file.open("rb") as stream:
            raw = stream.read(MOST_FILE)
    except OSError as error:
        raise BadInput(f"the file cannot be read: {error.strerror}", where=str(file)) from None
    if not re.match(rb"PK\x03\x04", raw):
        return read_public_key(raw, file.name)
    signature = open_bundle(file).signature
    if signature is None or not signature.good:
        raise BundleError("it is not signed, or was changed: there is no key in it to trust", where=file.name)
    return signature.public_key


@key.command()
@click.argument("name")
@_DATA
def unpin(name: str, data: Path | None) -> int:
    """Trust the key of NAME no more.

    \b
    Example:
      coach key unpin "Red hatchback"
    """  # noqa: D301 - click takes this character to keep lines as they are
    from coach.bundle.keys import unpin as forget

    gone = forget(data_folder(data), name)
    say(f"Forgotten: {gone.name}, {gone.fingerprint}\n")
    return 0


@key.command()
@_DATA
@click.option("--json", "as_json", is_flag=True, help="Print them as JSON.")
def pins(data: Path | None, *, as_json: bool) -> int:
    """List the keys that are trusted.

    \b
    Example:
      coach key pins
    """  # noqa: D301 - click takes this character to keep lines as they are
    from coach.bundle.keys import pins as kept

    found = kept(data_folder(data))
    if as_json:
        print_json(
            {"pins": [{"name": p.name, "fingerprint": p.fingerprint, "public_key": p.public_key} for p in found]}
        )
    else:
        say("".join(f"{p.fingerprint}  {p.name}\n" for p in found) or "No key is pinned.\n")
    return 0
