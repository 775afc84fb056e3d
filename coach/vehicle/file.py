"""The vehicle file: TOML with unknown keys refused, every value optional, quantities as text with their unit."""

from __future__ import annotations

import json
import math
import tomllib
from itertools import pairwise
from pathlib import Path
from typing import get_args

from pydantic import BaseModel, ValidationError

from coach.catalogue import wide_manifold_pressure
from coach.errors import VehicleError, short
from coach.shown import IMPERIAL, METRIC, Units
from coach.toml_text import read_toml
from coach.units import parse_duration_us, parse_quantity
from coach.vehicle.dial import Dial
from coach.vehicle.model import Vehicle, rpm_per_kmh
from coach.vehicle.road import road_load, wheel_power
from coach.vehicle.shape import DialPart, Tyre, UnitsPart, VehicleFile
from coach.vehicle.signals import resolve_signals, signals_error
from coach.vehicle.tyre import KG, METRES, circumference_m, plain_quantity

MAX_BYTES = 256_000
LONGEST_DELAY_US = 2_000_000


def load_vehicle(path: Path | str) -> Vehicle:
    """The vehicle in a TOML file.

    Raises:
        VehicleError: it cannot be read, is not TOML, has an unknown key or a value that does not fit.
    """
    path = Path(path)
    try:
        if path.stat().st_size > MAX_BYTES:
            raise VehicleError("this is too large for a vehicle file: at most 256 kB", where=path.name)
        data = path.read_bytes()
    except OSError as error:
        raise VehicleError(f"the vehicle file cannot be read: {error.strerror}", where=str(path)) from None
    return parse_vehicle(data, name=path.name)


def parse_vehicle(data: bytes | str, *, name: str = "vehicle") -> Vehicle:
    """The vehicle in the text of a file; `name` is what an error calls it.

    Raises:
        VehicleError: as `load_vehicle`.
    """
    raw = data.encode() if isinstance(data, str) else data
    try:
        table = read_toml(raw.decode("utf-8-sig"))
    except UnicodeDecodeError:
        raise VehicleError("this is not text in UTF-8", where=name) from None
    except tomllib.TOMLDecodeError as error:
        raise VehicleError(f"this is not TOML: {error}", where=name) from None
    try:
        file = VehicleFile.model_validate(table)
    except ValidationError as error:
        raise signals_error(error, name, raw) or _sentence(error, name) from None
    return _resolve(file, name, raw)


def _resolve(file: VehicleFile, name: str, raw: bytes) -> Vehicle:
    """The file's texts as numbers in the catalogue's units."""

    def at(key: str) -> str:
        return f"{name}, {key}"

    idle = None if file.idle_speed is None else _rpm(file.idle_speed, at("idle_speed"))
    limit = None if file.rev_limit is None else _rpm(file.rev_limit, at("rev_limit"))
    if idle is not None and limit is not None and idle >= limit:
        raise VehicleError("the rev limit must be above the idle speed", where=at("rev_limit"))
    delay_us = 0 if file.speed_delay is None else parse_duration_us(file.speed_delay, where=at("speed_delay"))
    if delay_us > LONGEST_DELAY_US:
        raise VehicleError("a road speed more than 2 s late cannot be used", where=at("speed_delay"))
    released = floored = None
    if file.pedal is not None:
        released = parse_quantity(file.pedal.released, "percent", where=at("pedal.released"))
        floored = parse_quantity(file.pedal.floored, "percent", where=at("pedal.floored"))
        if not 0 <= released < floored <= 100:
            raise VehicleError(
                "the floored pedal must read more than the released one, both 0 to 100 %", where=at("pedal")
            )
    around = _circumference(file.tyre, name)
    mass = None if file.mass is None else plain_quantity(file.mass, KG, "a mass", where=at("mass"))
    share = None if file.driveline is None else _share(file.driveline, at("driveline"))
    reach = None if file.range is None else parse_quantity(file.range, "distance", where=at("range"))
    if reach is not None and not 10 <= reach <= 5_000:
        raise VehicleError("a tank takes a car between 10 and 5000 km", where=at("range"))
    wide = (wide_manifold_pressure(),) if file.manifold_pressure_bytes == 2 else ()
    return Vehicle(
        file.label, file.transmission, file.fuel, file.induction, idle, limit, mass, around,
        _ratios(file, around, name), released, floored, delay_us, _units(file.units), raw,
        hybrid=file.hybrid, start_stop=file.start_stop, range_km=reach,
        road_load=None if file.road_load is None else road_load(file.road_load, mass, where=at("road_load")),
        rotating=file.rotating, driveline=share,
        full_load_kw=None if file.full_load is None else wheel_power(file.full_load, where=at("full_load")),
        dial=_dial(file.dial, at("dial")), fixed_baro_kpa=_baro(file.fixed_barometric, at("fixed_barometric")),
        offers=None if file.offers is None else frozenset(file.offers),
        signals=(*wide, *resolve_signals(file.signals, name, raw.decode("utf-8-sig"))),
    )  # fmt: skip


def _share(text: str, where: str) -> float:
    percent = parse_quantity(text, "percent", where=where)
    if not 50 <= percent <= 100:
        raise VehicleError("between 50 and 100 % of the power reaches the wheels", where=where)
    return percent / 100


def _dial(part: DialPart | None, where: str) -> Dial | None:
    if part is None:
        return None
    reported = parse_quantity(part.reported, "speed", where=f"{where}.reported")
    shows = parse_quantity(part.shows, "speed", where=f"{where}.shows")
    return Dial.read_at(reported, shows, where=where)


def _baro(text: str | None, where: str) -> float | None:
    if text is None:
        return None
    kpa = parse_quantity(text, "pressure_absolute", where=where)
    if not 50 <= kpa <= 110:
        raise VehicleError("the air's own pressure lies between 50 and 110 kPa", where=where)
    return kpa


def _rpm(text: str, where: str) -> float:
    rpm = parse_quantity(text, "engine_speed", where=where)
    if not 0 < rpm <= 20_000:
        raise VehicleError(f'"{text}" is not an engine speed between 0 and 20000 rpm', where=where)
    return rpm


def _circumference(tyre: Tyre | None, name: str) -> float | None:
    if tyre is None:
        return None
    where = f"{name}, tyre.circumference"
    from_size = None if tyre.size is None else circumference_m(tyre.size, where=f"{name}, tyre.size")
    if tyre.circumference is None:
        return from_size
    around = plain_quantity(tyre.circumference, METRES, "a circumference", where=where)
    if not 0.5 <= around <= 5:
        raise VehicleError("a tyre's circumference lies between 0.5 m and 5 m", where=where)
    return around


def _ratios(file: VehicleFile, around_m: float | None, name: str) -> dict[int, float] | None:
    """Rpm per km/h by gear, given or computed; None where the file does not say enough."""
    if file.rpm_per_kmh is not None and file.gearbox is not None:
        raise VehicleError("give either rpm_per_kmh or gearbox, not both", where=f"{name}, gearbox")
    if file.rpm_per_kmh is not None:
        ratios = {int(gear): value for gear, value in file.rpm_per_kmh.items()}
        where = f"{name}, rpm_per_kmh"
    elif file.gearbox is not None:
        final, where = file.gearbox.final_drive, f"{name}, gearbox"
        if isinstance(final, dict) and set(final) != set(file.gearbox.ratios):
            raise VehicleError(
                "final_drive by gear must name the gears that ratios names", where=f"{where}.final_drive"
            )
        if around_m is None:
            raise VehicleError("gearbox needs the tyre too, its size or its circumference", where=where)
        ratios = {
            int(gear): rpm_per_kmh(value, final[gear] if isinstance(final, dict) else final, around_m)
            for gear, value in file.gearbox.ratios.items()
        }
    else:
        return None
    if not ratios:
        raise VehicleError("there is no gear in it: name each gear and its ratio, or leave the table out", where=where)
    order = [ratios[gear] for gear in sorted(ratios)]
    if any(not math.isfinite(r) for r in order) or any(b >= a * 0.95 for a, b in pairwise(order)):
        raise VehicleError(
            "each gear's ratio must be smaller than that of the gear below it, by 5 % or more", where=where
        )
    return dict(sorted(ratios.items()))


def _units(part: UnitsPart | None) -> Units:
    if part is None:
        return METRIC
    base = IMPERIAL if part.system == "imperial" else METRIC
    return Units(part.speed or base.speed, part.pressure or base.pressure, part.temperature or base.temperature)


def _sentence(error: ValidationError, name: str) -> VehicleError:
    """One sentence for the first thing that pydantic found wrong."""
    first = error.errors(include_url=False, include_context=True)[0]
    keys = [str(k) for k in first["loc"] if str(k) not in ("[key]", "float", "dict[constrained-str,constrained-float]")]
    keys = [k for k in keys if not k.startswith(("dict[", "constrained", "function"))]
    path, given = ".".join(keys), _given(first["input"])
    where = f"{name}, {path}" if path else name
    kind = first["type"]
    if kind == "extra_forbidden":
        allowed = ", ".join(_model_at(keys[:-1]).model_fields)
        return VehicleError(f'"{short(keys[-1], 60)}" is not a key here; allowed are {allowed}', where=where)
    if kind == "missing":
        return VehicleError("this key is missing", where=where)
    if kind == "literal_error":
        return VehicleError(f"{given} is not one of {first['ctx']['expected']}", where=where)
    if kind == "string_pattern_mismatch" and "offers" in keys:
        return VehicleError(f"{given} is not the name of a signal: small letters, digits and _", where=where)
    if kind == "string_pattern_mismatch":
        return VehicleError(f"{given} is not a gear: a whole number from 1 to 12", where=where)
    if kind == "string_type":
        return VehicleError(f"{given} is not text: write it in quotes, with its unit if it has one", where=where)
    if kind == "bool_type":
        return VehicleError(f"{given} is neither true nor false", where=where)
    if kind == "list_type":
        return VehicleError(f"{given} is not a list", where=where)
    if kind in ("greater_than_equal", "less_than_equal"):
        return VehicleError(f"{given} is not a share between 0 and 1", where=where)
    if kind == "string_too_long":
        return VehicleError(f"this is longer than {first['ctx']['max_length']} characters", where=where)
    if kind in ("model_type", "dict_type"):
        return VehicleError(f"{given} is not a table", where=where)
    return VehicleError(f"{given} is not a number above 0", where=where)


def _given(value: object) -> str:
    text = json.dumps(value, ensure_ascii=False, default=str)
    return text if len(text) <= 40 else f"{text[:40]}…"


def _model_at(keys: list[str]) -> type[BaseModel]:
    """The model of the table at a path of keys."""
    model: type[BaseModel] = VehicleFile
    for key in keys:
        options = get_args(model.model_fields[key].annotation)
        model = next(option for option in options if isinstance(option, type) and issubclass(option, BaseModel))
    return model
