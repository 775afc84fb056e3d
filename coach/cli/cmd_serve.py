"""`coach serve` and `coach demo`: the server with the phone page."""

from __future__ import annotations

import os
import sys
import threading
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import quote

import click

from coach.cli.group import say

if TYPE_CHECKING:
    from contextlib import ExitStack

    from coach.server.carlink import GivenLink
    from coach.server.starting import Given

PORT = 8765
LAN_PORT = 8766
HELP_PORT = 8767
DEMO = "everything-qualifies"
FLAT_OUT = "max"
ADAPTER_S = 0.04
"""How long the virtual adapter takes to answer, as a usual one does (common practice, no source)."""
FASTEST = 1_000.0
"""The page writes speeds as numbers: this one is as good as flat out."""

_FILE = click.Path(path_type=Path)
_PORT = click.IntRange(0, 65_535)


class _Speed(click.ParamType[float]):
    """A number above 0, or `max`."""

    name = "N|max"

    def convert(self, value: object, param: click.Parameter | None, ctx: click.Context | None) -> float:
        if value == FLAT_OUT:
            return FASTEST
        try:
            speed = float(str(value))
        except ValueError:
            speed = 0.0
        if not 0 < speed <= FASTEST:
            self.fail(f"{value!r} is not a speed: give a number above 0 and up to {FASTEST:g}, or max", param, ctx)
        return speed


@click.command()
@click.option("--speed", type=_Speed(), default="1", show_default=True, help="How fast the drive is replayed.")
@click.option("--drive", "scenario", default=DEMO, show_default=True, help="Which bundled drive, by its file's name.")
@click.option("--port", type=_PORT, default=PORT, show_default=True, help="Port of the page; 0 takes a free one.")
@click.option("--data", type=_FILE, help="Folder to keep the drive in; else it is gone when the demo ends.")
@click.option("--no-open", is_flag=True, help="Do not open a browser.")
@click.option("--auto", is_flag=True, help="Start the drive at once instead of from the page.")
@click.option("--through-adapter", is_flag=True, help="Drive a simulated car behind a virtual adapter, at real speed.")
def demo(
    speed: float, scenario: str, port: int, data: Path | None, *, no_open: bool, auto: bool, through_adapter: bool
) -> int:  # fmt: skip
    """Replay a bundled drive against a bundled recipe, on the phone page.

    Everything happens on this machine. End it with Ctrl-C.

    \b
    Example:
      coach demo
      coach demo --speed 8 --drive limit-passed
      coach demo --through-adapter
    """  # noqa: D301 - click takes this character to keep lines as they are
    from contextlib import ExitStack
    from hashlib import sha256
    from tempfile import TemporaryDirectory

    from coach.assets import traces_root
    from coach.errors import BadInput
    from coach.server.run import Demo, serve
    from coach.server.starting import Given

    traces = traces_root()
    recipe = traces / "demo-recipe.toml"
    known = sorted(p.name.split(".")[0] for p in traces.glob("*.csv*"))
    if scenario not in known:
        raise BadInput(f"there is no bundled drive {scenario!r}; there are: {', '.join(known)}", where="--drive")
    if through_adapter and speed != 1:
        raise BadInput("a car behind an adapter drives at real speed only: leave --speed out", where="--speed")
    source = "link:0" if through_adapter else f"replay:{scenario}"
    recipe_sha = sha256(recipe.read_bytes()).hexdigest()
    at = "#/drive" if auto else f"#/ready?recipe={recipe_sha}&source={quote(source, safe=':')}&speed={speed:g}"
    start = Demo(source, recipe_sha, speed) if auto else None
    with ExitStack() as around:
        scratch = around.enter_context(TemporaryDirectory(prefix="coach-demo-", ignore_cleanup_errors=True))
        links = (_virtual_car(scenario, traces, around),) if through_adapter else ()
        serve(
            port=port, data_dir=data or Path(scratch), demo=start, given=Given(recipes=(recipe,), links=links),
            on_ready=_announce(at, no_open=no_open),
        )  # fmt: skip
    return 0


def _virtual_car(scenario: str, traces: Path, around: ExitStack) -> GivenLink:
    """A simulated car behind a virtual adapter, there for as long as `around` is open."""
    from coach.catalogue import default_catalogue
    from coach.clock import Clock
    from coach.server.carlink import GivenLink
    from coach.sources.adapter import AdapterServer, SimulatedCar
    from coach.sources.simulator.scenarios import scenario as named

    car = SimulatedCar(named(scenario), default_catalogue(), Clock())
    url = around.enter_context(AdapterServer(car, latency_s=ADAPTER_S, jitter_s=ADAPTER_S / 4)).url
    return GivenLink(url, vehicle=(traces / "demo-vehicle.toml").read_bytes(), begin=car.restart)


@click.command()
@click.option("--recipe", "recipes", type=_FILE, multiple=True, help="A recipe to offer; may be given several times.")
@click.option(
    "--drive", "drives", type=_FILE, multiple=True, help="A recorded drive to offer; may be given several times."
)
@click.option("--link", "links", multiple=True, help="An adapter: /dev/rfcomm0, COM5, socket://192.168.0.10:35000.")
@click.option("--vehicle", "vehicle_file", type=_FILE, help="The car of those drives and adapters.")
@click.option("--port", type=_PORT, default=PORT, show_default=True, help="Port of the page; 0 takes a free one.")
@click.option("--lan", is_flag=True, help="Let phones on the same network join, over https.")
@click.option(
    "--lan-port", type=_PORT, default=LAN_PORT, show_default=True, help="Port for phones; 0 takes a free one."
)
@click.option(
    "--help-port",
    type=_PORT,
    default=HELP_PORT,
    show_default=True,
    help="Port of the page that shows how to trust this machine, in plain http; 0 takes a free one.",
)
@click.option("--data", type=_FILE, help="Folder to keep drives in.  [default: the user's own]")
@click.option("--no-open", is_flag=True, help="Do not open a browser.")
def serve(
    recipes: tuple[Path, ...], drives: tuple[Path, ...], links: tuple[str, ...], vehicle_file: Path | None, port: int,
    lan_port: int, help_port: int, data: Path | None, *, lan: bool, no_open: bool,
) -> int:  # fmt: skip
    """Serve the phone page on this machine, and with --lan to phones that join. End it with Ctrl-C.

    Without --lan nothing but this machine is listened to. With it a phone joins by scanning a square, once.

    \b
    Example:
      coach serve
      coach serve --recipe request.toml --drive drive.csv --vehicle car.toml
      coach serve --recipe request.toml --link /dev/rfcomm0 --vehicle car.toml
      coach serve --lan --recipe request.toml --link /dev/rfcomm0
    """  # noqa: D301 - click takes this character to keep lines as they are
    from coach.server.run import serve as run

    given = _given(recipes, drives, links, vehicle_file)
    ready = _announce("", no_open=no_open)
    if not lan:
        run(port=port, data_dir=data, given=given, on_ready=ready)
        return 0
    from coach.cli.square import tell_phones
    from coach.server.joining import Lan

    doors = Lan(port=lan_port, help_port=help_port)
    run(port=port, data_dir=data, given=given, lan=doors, on_ready=ready, on_lan=tell_phones)
    return 0


def _given(
    recipes: tuple[Path, ...], drives: tuple[Path, ...], links: tuple[str, ...], vehicle_file: Path | None
) -> Given:  # fmt: skip
    """What was named, looked at before anything is started. Raises CoachError."""
    from coach.catalogue import default_catalogue
    from coach.errors import TableError
    from coach.recipe import load_recipe
    from coach.server.carlink import GivenLink
    from coach.server.starting import Given
    from coach.sources.link.port import check_url
    from coach.vehicle import load_vehicle

    catalogue, vehicle = default_catalogue(), None
    if vehicle_file is not None:
        catalogue = load_vehicle(vehicle_file).catalogue(catalogue)
        vehicle = vehicle_file.read_bytes()
    for path in recipes:
        load_recipe(path, catalogue)
    for path in drives:
        if not path.is_file():
            raise TableError("there is no such file", where=str(path))
    return Given(recipes, drives, vehicle, tuple(GivenLink(check_url(url)) for url in links))


def _announce(at: str, *, no_open: bool) -> Callable[[str], None]:
    """Says where the page is once it can be opened, and opens it where there is a screen."""

    def ready(address: str) -> None:
        page = address + at
        say(f"The page is at {page}\nEnd with Ctrl-C.\n")
        if not no_open and has_screen():
            import webbrowser

            # A browser that blocks (a text one) must not keep the server from hearing a signal.
            threading.Thread(target=webbrowser.open, args=(page,), daemon=True).start()

    return ready


def has_screen() -> bool:
    """Whether a browser could be shown at all."""
    if sys.platform in {"win32", "darwin"}:
        return True
    return bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))
