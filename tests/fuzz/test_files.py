"""Every file that a person may hand in, spoiled: taken, or refused with one sentence; no traceback, no hang."""

import gzip
import json
import math
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.catalogue import default_catalogue
from coach.desk.share import pack, unpack
from coach.errors import TableError, UnitError
from coach.formula import parse_formula
from coach.plan import check_plan, resolve
from coach.recipe import check_recipe, parse_recipe
from coach.sources.columns import parse_columns
from coach.sources.table import read_table
from coach.units import parse_quantity
from coach.vehicle import parse_vehicle
from tests.fuzz.feeding import feed, inputs

ROOT = Path(__file__).parents[2]
TRACES = ROOT / "replay_traces"
CATALOGUE = default_catalogue()
RECIPES = tuple(p.read_bytes() for p in sorted(TRACES.glob("*recipe*.toml")))
VEHICLES = (
    *(p.read_bytes() for p in sorted(TRACES.glob("*vehicle*.toml"))),
    b'label = "x"\n[tyre]\nsize = "195/65 R15"\n[rpm_per_kmh]\n1 = 118.0\n2 = 62\n',
)
COLUMNS = (
    b"""decimal = ","
time = "t"
ignore = ["a"]
[columns]
"Speed" = { signal = "road_speed", unit = "km/h" }
"RPM" = "engine_speed"
[long]
signal = "PID"
value = "VALUE"
""",
    b'[columns]\nroad_speed = "x"\n',
)
TABLES = (
    b"time (s),road_speed (km/h),engine_speed (rpm)\n0.0,80,2000\n0.5,81,2010\n1.0,,2020\n1.5,#N/A,2030\n",
    b"Time;Vehicle speed (km/h);RPM\r\n0,0;50,5;1500\r\n0,1;51,5;1510\r\n",
    b"time_s,signal,value\n0,road_speed,1\n0.1,engine_speed,900\n0.2,road_speed,2\n",
    "Zeit (ms)\tGeschwindigkeit (km/h)\n0\t50\n100\t51\n".encode("utf-16"),
    gzip.compress(b"time,road_speed (mph)\n0,1\n1,2\n"),
    b"date,time,road_speed\n2026-05-04,09:30:00.1,5\n2026-05-04,09:30:00.3,6\n",
)


def _as_json(toml: bytes) -> bytes:
    import tomllib

    return json.dumps(tomllib.loads(toml.decode())).encode()


def _whole_way(data: bytes) -> None:
    """A recipe, and everything that is made of one that loads."""
    recipe = parse_recipe(data, catalogue=CATALOGUE)
    for finding in check_recipe(recipe, CATALOGUE):
        str(finding)
    for finding in check_plan(recipe, CATALOGUE):
        str(finding)
    resolve(recipe, CATALOGUE)


@given(inputs(*RECIPES))
def test_recipes_in_toml(data):
    feed("recipe, TOML", _whole_way, data)


@given(inputs(*map(_as_json, RECIPES)))
def test_recipes_in_json(data):
    feed("recipe, JSON", _whole_way, data)


@given(inputs(*VEHICLES))
def test_vehicles(data):
    feed("vehicle", parse_vehicle, data)


@given(inputs(*COLUMNS))
def test_columns(data):
    feed("columns", parse_columns, data)


@pytest.fixture(scope="module")
def table(tmp_path_factory):
    return tmp_path_factory.mktemp("tables") / "drive.csv"


@given(data=inputs(*TABLES))
def test_tables(table, data):
    """What is read can be judged: stamps that rise, from zero on."""
    table.write_bytes(data)
    recording = feed("table, CSV", read_table, table, CATALOGUE)
    if recording is not None:
        for series in recording.series.values():
            t = series.t_us.tolist()
            assert all(a < b for a, b in pairwise(t))
            assert not t or t[0] >= 0


@given(st.text(max_size=60) | st.builds(lambda n, u: f"{n} {u}", st.floats(), st.sampled_from(["km/h", "rpm", "°C"])))
def test_quantities(text):
    feed("quantity", parse_quantity, text, CATALOGUE["road_speed"])


@given(inputs(b"u16(0) / 4", b"(u8(0) - 40) * 1.8 + 32", b"-s16(1) * 0.1", b"bits(0, 4, 2)", b"1 / (u24(0) - s32(3))"))
def test_formulas(data):
    """One that is understood has a value for every answer that is long enough, or none: NaN."""
    made = feed("formula", lambda: parse_formula(data.decode("utf-8", "replace")))
    if made is not None:
        for answer in (bytes(made.length), b"\xff" * made.length):
            assert not math.isinf(made.value(answer))


@given(inputs(*(pack(recipe).encode() for recipe in RECIPES)))
def test_recipes_in_links(data):
    feed("recipe, link", lambda: unpack(data.decode("utf-8", "replace")))


def test_what_is_refused_is_refused_with_its_own_error():
    """The check of the checks: these raise, and feeding does not hide any other error."""
    with pytest.raises(TableError):
        read_table(ROOT / "nowhere.csv", CATALOGUE)
    with pytest.raises(UnitError):
        parse_quantity("80 furlongs", CATALOGUE["road_speed"])
    with pytest.raises(ZeroDivisionError):
        feed("nothing", lambda: 1 / 0)
