"""What was learned, written into a vehicle file: only what the file leaves open; nothing that it says is changed."""

from __future__ import annotations

import tomlkit
from tomlkit.exceptions import TOMLKitError

from coach.errors import VehicleError
from coach.vehicle.file import parse_vehicle
from coach.vehicle.learned_gears import Learned
from coach.vehicle.model import Vehicle


def merged(text: str, learned: Learned, *, name: str = "vehicle") -> tuple[str, list[str]]:
    """The file's text with what was learned, comments and order kept, and which keys were added.

    Ratios of gears that the file does not have, the delay of road speed and the idle speed. A file that computes its
    ratios from gearbox and tyre is not given others beside them.

    Raises:
        VehicleError: the file cannot be read, or the ratios of both together do not fall from gear to gear.
    """
    vehicle = parse_vehicle(text, name=name)
    plain = _plain(vehicle, learned)
    added = list(plain)
    try:
        document = tomlkit.parse(_before_tables(text, [f'{key} = "{value}"' for key, value in plain.items()]))
    except TOMLKitError:
        raise VehicleError("this TOML cannot be written again", where=name) from None
    new = {g: r for g, r in sorted(learned.ratios().items()) if g not in (vehicle.ratios or {})}
    if new and "gearbox" not in document:
        table = document.get("rpm_per_kmh")
        if table is None:
            table = tomlkit.table()
            document.append("rpm_per_kmh", table)
        for gear, ratio in new.items():
            table[str(gear)] = round(ratio, 2)
            added.append(f"rpm_per_kmh.{gear}")
    written = tomlkit.dumps(document)
    parse_vehicle(written, name=name)
    return written, added


def _plain(vehicle: Vehicle, learned: Learned) -> dict[str, str]:
    found = {}
    if vehicle.idle_rpm is None and learned.idle_rpm is not None:
        rpm = round(learned.idle_rpm / 10) * 10
        if vehicle.rev_limit_rpm is None or rpm < vehicle.rev_limit_rpm:
            found["idle_speed"] = f"{rpm} rpm"
    if vehicle.delay_us == 0 and learned.delay_us > 0 and learned.gears:
        found["speed_delay"] = f"{learned.delay_us // 1000} ms"
    return found


def _before_tables(text: str, lines: list[str]) -> str:
    """The text with plain keys added after the comment that it opens with: keys go before the first table."""
    if not lines:
        return text
    whole = text.splitlines()
    at = next((n for n, line in enumerate(whole) if not line.startswith("#")), len(whole))
    return "\n".join([*whole[:at], *lines, *whole[at:]]) + "\n"
