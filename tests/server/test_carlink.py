"""A car behind an adapter as a source of the server: Ready, a drive, and what is said when there is no car."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from coach.clock import Clock
from coach.drive.tasks import InPlace
from coach.errors import BadInput, CoachError, Conflict
from coach.server import Services
from coach.server.carlink import CarLink, GivenLink, connected
from coach.server.models import StartDrive
from coach.server.notes import NotAgreed
from coach.server.starting import Given
from coach.sources.adapter import AdapterServer, Identity
from coach.sources.link.trouble import Failure
from coach.sources.table import read_table
from coach.store import Store
from coach.words import load_words
from tests.link.wired import CATALOGUE, table_car

RECIPE = """
format = 1
title = "Steady"
revision = 1
[record]
engine_speed = "8 Hz"
road_speed = "{rate} Hz"
[[capture]]
id = "a"
title = "Steady"
hold = "1 s"
[capture.keep]
road_speed = {{ min = "72 km/h", max = "88 km/h" }}
coolant_temp = {{ min = "80 degC" }}
"""


AGREED = ["law", "warning_lamp", "driver_drives"]


@pytest.fixture
def serve(tmp_path):
    """Services with one adapter; `serve(car, ...)` gives them and the adapter's server."""
    made = []

    def start(car=None, *, rate=4, plugged=True, begin=None, **more):
        server = AdapterServer(car or table_car(), **more)
        url = server.start()
        if not plugged:
            server.unplug()
        recipe = tmp_path / "request.toml"
        recipe.write_text(RECIPE.format(rate=rate))
        store = Store(tmp_path / "data", Clock())
        given = Given(recipes=(recipe,), links=(GivenLink(url, begin=begin),))
        services = Services.make(store, InPlace(store.folder), Clock(), read_table, given)
        made.append((services, server))
        return services, server

    yield start
    for services, server in made:
        services.close()
        server.stop()


def ready(services, wait_for):
    """The marks once nothing is looked for any more."""
    sha = services.shelf.bundled[0]
    seen = []

    def done():
        marks = services.ready(sha, "link:0")
        seen.append(marks)
        return marks[0]["state"] != "looking"

    wait_for(done)
    return seen[0], {m["id"]: (m["state"], m["text"]) for m in seen[-1]}


def test_ready_looks_for_the_car_and_says_what_it_found(serve, wait_for):
    services, _ = serve()
    first, marks = ready(services, wait_for)
    assert (first[0]["state"], first[0]["text"]) == ("looking", "Looking for the adapter and the car.")
    assert marks["link"] == (
        "ok", "Connected: virtual adapter 1, ISO 15765-4 (CAN, 11 bit, 500 kbit/s), 12.6 V.",
    )  # fmt: skip
    assert marks["signals"] == ("ok", "3 of 3 found, each at the rate asked.")
    assert marks["engine"] == ("ok", "Coolant 90 °C.")
    entry = services.garage.list()[0]
    assert entry.json()["kind"] == "link"


def test_a_slow_link_says_before_the_drive_what_to_slow_down(serve, wait_for, monkeypatch):
    """Too slow for the rates asked: a warning with what to ask for instead; stored codes are named."""
    monkeypatch.setattr("coach.sources.adapter.session.KLINE_S", 0.02)
    services, _ = serve(table_car(identity=Identity(stored=("P0171",))), rate=80, bus="k-line")
    _, marks = ready(services, wait_for)
    assert marks["link"][0] == "warn"
    assert "stored P0171" in marks["link"][1]
    assert marks["signals"][0] == "warn"
    assert "Hz at most" in marks["signals"][1]


def test_a_drive_through_the_adapter_is_recorded_and_judged(serve, wait_for):
    """The same loop as a replay: samples with their uncertainty, identity with the drive, a secured hold."""
    begun = []
    services, _ = serve(latency_s=0.02, begin=lambda: begun.append(1))
    sha = services.shelf.bundled[0]
    drive = services.start(StartDrive(recipe=sha, source="link:0", speed=4.0, role="passenger"))
    assert begun == [1]
    wait_for(lambda: any(c["outcome"] == "secured" for c in services.state().get("captures", [])))
    assert services.state()["link"]["state"] == "up"
    rates = services.state()["link"]["rates_hz"]
    assert set(rates) == {"road_speed", "engine_speed", "coolant_temp"}
    assert rates["engine_speed"] > rates["coolant_temp"] > 0
    assert services.state()["drive"]["source"] == "link"
    drive.finish()
    assert drive.wait(5)
    row = services.store.drive(drive.id)
    assert row.error is None
    assert row.source["meta"]["ecus"][0]["verifications"] == ["1791BC82"]
    assert row.source["meta"]["asked_hz"] == {
        "road_speed": 4.0,
        "coolant_temp": pytest.approx(0.3),
        "engine_speed": 8.0,
    }
    assert row.source["speed"] == 1.0
    assert row.source["people_recorded"] is True
    assert services.garage.first_value("link:0", "coolant_temp") == 90


def test_a_real_car_needs_people_who_have_agreed(serve):
    """Without the notes, or without saying who holds the phone, no drive begins; a virtual car needs neither."""
    services, _ = serve(plugged=False)
    sha = services.shelf.bundled[0]
    for role, agreed in (("passenger", AGREED[:2]), (None, AGREED)):
        with pytest.raises(NotAgreed):
            services.start(StartDrive(recipe=sha, source="link:0", role=role, acknowledged=agreed))
    assert services.current is None


def test_no_adapter_is_a_sentence_and_is_looked_for_again(serve, wait_for):
    services, server = serve(plugged=False)
    _, marks = ready(services, wait_for)
    assert marks["link"][0] == "bad"
    assert "There is no car to record." in marks["link"][1]
    assert "nothing listens there" in marks["link"][1]
    assert services.garage.first_value("link:0", "coolant_temp") is None
    with pytest.raises(Failure):
        services.start(
            StartDrive(recipe=services.shelf.bundled[0], source="link:0", role="passenger", acknowledged=AGREED)
        )
    server.start()

    def found():
        return services.ready(services.shelf.bundled[0], "link:0")[0]["state"] == "ok"

    wait_for(found)


def test_a_link_that_was_closed_says_so():
    with AdapterServer(table_car(), latency_s=0.5) as server:
        link = CarLink(GivenLink(server.url), CATALOGUE, Clock())
        looking = link.look()
        link.close()
        assert looking.exception(20) is not None
        found = link.found()
        assert isinstance(found, Conflict)
        assert "the link was closed" in str(found)
        with pytest.raises(Conflict, match="the link was closed"):
            link.source()


def test_an_address_that_cannot_be_one_is_refused_at_the_start():
    with pytest.raises(BadInput):
        CarLink(GivenLink("http://x"), CATALOGUE, Clock())


def test_what_was_found_is_looked_at_again_unless_a_drive_uses_the_port(wait_for):
    """The old find stands while it is looked at again; a car that has gone is then told."""
    from coach.clock import HandClock
    from coach.server.carlink import FRESH_US
    from tests.link.wired import Rig

    rig = Rig(table_car())
    clock = HandClock()
    link = CarLink(GivenLink("socket://127.0.0.1:35000"), CATALOGUE, clock, rig.open)
    first = link.look().result(20)
    assert link.found() is first
    source = link.source()
    clock.now_us += 2 * FRESH_US
    assert link.found() is first
    assert rig.opened == 1
    source.over = True
    rig.plugged = False
    assert link.found() is first or isinstance(link.found(), CoachError)
    wait_for(lambda: isinstance(link.found(), Failure))
    rig.plugged = True
    wait_for(lambda: link.found() is not None and link.found() is not first)
    link.close()


@pytest.mark.parametrize(
    ("language", "voltage", "stored", "volts", "codes"),
    [
        ("de", 12.6, ("P0171", "P0300"), ", 12,6 V", " Im Auto sind Fehlercodes gespeichert: P0171, P0300."),
        ("en", 12.6, ("P0171",), ", 12.6 V", " The car has stored P0171."),
        ("en", None, (), "", ""),
    ],
)
def test_the_sentence_of_the_link_is_the_readers(language, voltage, stored, volts, codes):
    """Volts with the sign of the language; stored codes in its words, or nothing of them."""
    found = SimpleNamespace(adapter="a", protocol_name="p", voltage=voltage, stored=stored)
    assert connected(found, load_words(language)) == {"adapter": "a", "protocol": "p", "volts": volts, "codes": codes}
