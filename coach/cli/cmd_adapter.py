"""`coach adapter`: the virtual adapter, for whatever can speak to a real one."""

from __future__ import annotations

import signal
import threading
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import click

from coach.cli.group import say

if TYPE_CHECKING:
    from coach.clock import Clock
    from coach.sources.adapter import DrivenCar, Faults
    from coach.sources.adapter.driven import After

PORT = 35_000
SCENARIO = "everything-qualifies"

_PORT = click.IntRange(0, 65_535)


@click.command()
@click.option("--port", type=_PORT, default=PORT, show_default=True, help="TCP port; 0 takes a free one.")
@click.option("--pty", is_flag=True, help="A pseudo terminal instead, for programs that open a serial port.")
@click.option("--drive", type=click.Path(path_type=Path), help="A recorded drive that the car repeats.")
@click.option("--scenario", help=f"The simulated drive, by its name.  [default: {SCENARIO}]")
@click.option("--vehicle", "vehicle_file", type=click.Path(path_type=Path), help="The car's own signals, TOML.")
@click.option("--speed", type=float, default=1.0, show_default=True, help="How fast the drive goes by.")
@click.option(
    "--after", type=click.Choice(["hold", "again", "off"]), default="hold", show_default=True,
    help="When the drive is over: values stay, it begins again, or the car is switched off.",
)  # fmt: skip
@click.option("--latency", default="40 ms", show_default=True, help="From a command to its answer.")
@click.option("--jitter", default="10 ms", show_default=True, help="How much more or less.")
@click.option("--each", default="0 ms", show_default=True, help="How much longer for each parameter of a request.")
@click.option("--batch", type=click.IntRange(1, 6), default=6, show_default=True, help="Most parameters a request.")
@click.option("--seed", type=int, default=0, show_default=True, help="Of jitter and of random faults.")
@click.option("--ecus", type=click.IntRange(1, 2), default=1, show_default=True, help="Control units that answer.")
@click.option("--bits", type=click.Choice(["11", "29"]), default="11", show_default=True, help="Headers on CAN.")
@click.option(
    "--bus", type=click.Choice(["can", "k-line"]), default="can", show_default=True,
    help="A K-line takes one slow parameter a request.",
)  # fmt: skip
@click.option("--fault", "written", multiple=True, metavar="KIND@SECONDS[xN]", help="What goes wrong; several times.")
@click.option("--control", type=_PORT, help="TCP port of the control line; 0 takes a free one.")
def adapter(
    port: int, drive: Path | None, scenario: str | None, vehicle_file: Path | None, speed: float, after: After,
    latency: str, jitter: str, each: str, batch: int, seed: int, ecus: int, bits: str, bus: str,
    written: tuple[str, ...], control: int | None, *, pty: bool,
) -> int:  # fmt: skip
    """Be an adapter in a car that is not there. Only this machine can reach it. End it with Ctrl-C.

    The drive begins with the first value that is asked for.

    \b
    Example:
      coach adapter
      coach adapter --pty --scenario dropout --latency 60ms
      coach adapter --fault silence@60x3 --fault no-data@90 --control 0
    """  # noqa: D301 - click takes this character to keep lines as they are
    from coach.clock import US, Clock
    from coach.sources.adapter import AdapterServer, ControlLine
    from coach.units import parse_duration_us

    clock = Clock()
    server = AdapterServer(
        _car(drive, scenario, vehicle_file, clock, speed, after), faults=_faults(written), seed=seed, ecus=ecus,
        bits=int(bits), bus=bus, port=port, pty=pty, clock=clock,
        latency_s=parse_duration_us(latency, where="--latency") / US,
        jitter_s=parse_duration_us(jitter, where="--jitter") / US,
        each_s=parse_duration_us(each, where="--each") / US, batch=batch,
    )  # fmt: skip
    with _signals() as stop, ExitStack() as undo:
        undo.callback(server.stop)
        address = server.start()
        line = None if control is None else ControlLine(server, control)
        if line is not None:
            undo.callback(line.stop)
        where = "" if line is None else f"The control line is at {line.url}\n"
        say(f"The adapter is at {address}\n{where}End with Ctrl-C.\n")
        while not stop.wait(0.5):
            pass
    return 0


def _car(
    drive: Path | None, scenario: str | None, vehicle_file: Path | None, clock: Clock, speed: float, after: After
) -> DrivenCar:  # fmt: skip
    """The car that repeats the drive or is simulated. Raises BadInput."""
    from coach.catalogue import default_catalogue
    from coach.errors import BadInput
    from coach.sources.adapter import RecordingCar, SimulatedCar
    from coach.sources.simulator import SCENARIOS
    from coach.vehicle import load_vehicle

    catalogue = default_catalogue()
    if vehicle_file is not None:
        catalogue = load_vehicle(vehicle_file).catalogue(catalogue)
    if drive is not None:
        if scenario is not None:
            raise BadInput("a car either repeats a drive or is simulated: leave out --drive or --scenario")
        from coach.sources.table import read_table

        return RecordingCar(read_table(drive, catalogue), catalogue, clock, speed=speed, after=after)
    known = {one.name: one for one in SCENARIOS}
    name = scenario or SCENARIO
    if name not in known:
        raise BadInput(f"there is no scenario {name!r}; there are: {', '.join(known)}", where="--scenario")
    return SimulatedCar(known[name], catalogue, clock, speed=speed, after=after)


def _faults(written: tuple[str, ...]) -> Faults:
    """What was asked to go wrong. Raises BadInput."""
    from coach.errors import BadInput
    from coach.sources.adapter import Faults, parse_fault

    faults = Faults()
    for text in written:
        try:
            kind, at_s, count = parse_fault(text)
        except BadInput as error:
            raise BadInput(error.message, where="--fault") from error
        faults.schedule(kind, at_s, count)
    return faults


@contextmanager
def _signals() -> Iterator[threading.Event]:
    """An event that Ctrl-C and the system's polite end set, in the main thread."""
    stop = threading.Event()
    if threading.current_thread() is not threading.main_thread():
        yield stop
        return
    names = [n for n in ("SIGINT", "SIGTERM", "SIGBREAK") if hasattr(signal, n)]
    before = {n: signal.signal(getattr(signal, n), lambda *_: stop.set()) for n in names}
    try:
        yield stop
    finally:
        for name, handler in before.items():
            signal.signal(getattr(signal, name), handler)
