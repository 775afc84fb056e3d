"""The endpoints of a review: the worker's answers, one shape of error, what people write stays."""

from __future__ import annotations

import json

import pytest

from coach.drive.tasks import InPlace
from coach.server.review_models import Compared, Coverage, Health, Log, Over, Power, Review, Summary, Traces
from tests.server.conftest import ORIGIN


@pytest.fixture
def made(drive):
    """A bundled drive in which everything qualified."""
    return drive(role="passenger").id


@pytest.fixture
def ask(client):
    def get(path):
        answer = client.get(path)
        assert answer.status_code == 200, answer.data
        json.loads(answer.data, parse_constant=pytest.fail)
        return answer.json

    return get


def test_everything_that_a_review_shows(made, ask):
    """Each answer fits its model; the whole of one drive."""
    base = f"/api/drives/{made}"
    review = Review.model_validate(ask(f"{base}/review"))
    assert review.headline == "Everything qualified"
    assert {h["id"] for h in review.head} >= {"vehicle", "calibration", "codes", "facts", "weather"}
    kinds = {c["id"]: c["kind"] for c in review.captures}
    assert kinds == {"part-load": "part_load", "roll-on": "sweep", "settled-idle": "idle"}
    for capture in review.captures:
        summary = Summary.model_validate(ask(f"{base}/summary/{capture['id']}/{capture['best']}"))
        assert summary.kind == capture["kind"]
        assert summary.rates
    Traces.model_validate(ask(f"{base}/traces?signals=road_speed,engine_speed&first=100&last=200&points=50"))
    Over.model_validate(ask(f"{base}/over/roll-on/0"))
    assert Coverage.model_validate(ask(f"{base}/coverage?step_rpm=250&step_load=20")).total_s > 400
    assert len(Coverage.model_validate(ask(f"{base}/coverage?scope=revision")).drives) == 1
    assert Health.model_validate(ask(f"{base}/health")).signals
    assert Health.model_validate(ask(f"{base}/health?a=pedal&b=throttle")).delays[0]["b"] == "throttle"
    power = Power.model_validate(ask(f"{base}/power/roll-on/0?mass_kg=1460&road_load=165,0.6,0.034"))
    assert power.peak is not None
    Compared.model_validate(ask(f"/api/compare?a={made}&b={made}&capture=roll-on"))


def test_a_review_is_made_beside_the_worker_that_saves_windows(made, client, services):
    """With a worker of its own the other one is not asked, and it is closed with the server."""

    class Other(InPlace):
        asked, closed = 0, False

        def submit(self, task, ask):
            Other.asked += 1
            return super().submit(task, ask)

        def close(self, seconds=1.0):
            Other.closed = True

    services.reviewer = Other(services.store.folder)
    services.worker = None
    for path in (f"/api/drives/{made}/review", f"/api/compare?a={made}&b={made}&capture=roll-on"):
        assert client.get(path).status_code == 200
    assert Other.asked == 2
    services.worker = InPlace(services.store.folder)
    services.close()
    assert Other.closed


def test_the_sentences_of_the_verdict_and_of_the_review_agree(made, ask):
    """Both count the same attempts to the same outcome."""
    verdict = ask(f"/api/drives/{made}/attempts")
    review = ask(f"/api/drives/{made}/review")
    for a, b in zip(verdict["captures"], review["captures"], strict=True):
        assert (a["id"], a["qualified"], a["best"]) == (b["id"], b["qualified"], b["best"])
        assert [x["outcome"] for x in a["attempts"]] == [x["outcome"] for x in b["attempts"]]


def test_the_report_is_a_file(made, client):
    """HTML, offered to be saved under the drive's name."""
    answer = client.get(f"/api/drives/{made}/report")
    assert answer.mimetype == "text/html"
    assert f"filename={made}.html" in answer.headers["Content-Disposition"]
    assert b"Everything qualified" in answer.data


def test_what_people_write_stays_and_is_found(made, client, ask):
    """A key that is left out stays; typed weather stands before the sensors; the log finds the words."""
    post = lambda body: client.post(f"/api/drives/{made}/label", json=body, headers=ORIGIN)  # noqa: E731
    assert post({"name": " Evening  run ", "note": "Wet road"}).json["name"] == "Evening run"
    answer = post({"weather": {"pressure_kpa": 98.0, "temperature_c": 30.0, "humidity_pct": 80.0}})
    assert answer.json == {
        "name": "Evening run", "note": "Wet road",
        "weather": {"pressure_kpa": 98.0, "temperature_c": 30.0, "humidity_pct": 80.0},
    }  # fmt: skip
    assert ask(f"/api/drives/{made}/label") == answer.json
    review = ask(f"/api/drives/{made}/review")
    assert review["drive"]["name"] == "Evening run"
    assert review["head"][-1]["text"] == "98.0 kPa, 30 °C, humidity 80 %"
    log = Log.model_validate(ask("/api/log?text=wet+evening&revision=2&complete=yes&vehicle=demo"))
    assert [(d.id, d.note) for d in log.drives] == [(made, "Wet road")]
    assert ask("/api/log?text=dry")["total"] == 0
    assert ask("/api/log?offset=1")["drives"] == []
    assert post({"weather": {}}).json["weather"]["pressure_kpa"] is None
    assert post({}).json["name"] == "Evening run"


ERRORS = (
    ("/api/drives/none/review", 404, "no such drive"),
    ("/api/drives/{id}/summary/none/0", 404, "no such capture"),
    ("/api/drives/{id}/summary/part-load/7", 404, "no such attempt"),
    ("/api/drives/{id}/summary/part-load/0?kind=odd", 400, "there are: part_load"),
    ("/api/drives/{id}/summary/part-load/0?lambda_delay=9", 400, "5 s late"),
    ("/api/drives/{id}/summary/part-load/0?lambda_delay=-1", 400, "pattern"),
    ("/api/drives/{id}/traces?first=20&last=10", 400, "end after it begins"),
    ("/api/drives/{id}/coverage?step_rpm=0", 400, "above 0"),
    ("/api/drives/{id}/coverage?step_load=0.000001", 400, "10,000"),
    ("/api/drives/{id}/health?a=pedal", 400, "name both"),
    ("/api/drives/{id}/power/roll-on/0?road_load=1,2", 400, "pattern"),
    ("/api/drives/{id}/power/roll-on/0?road_load=1..2,2,3", 400, "three numbers"),
    ("/api/drives/{id}/power/roll-on/0?mass_kg=3", 400, "between 100 and 60000"),
    ("/api/compare?a={id}&capture=roll-on", 404, "earlier revision"),
    ("/api/compare?a={id}", 400, "missing"),
    ("/api/log?since=soon", 400, "2026-05-04"),
    ("/api/log?complete=maybe", 400, "yes"),
)


def test_what_cannot_be_answered_is_one_sentence(made, client):
    """Status, the one shape of errors, and no traceback."""
    for path, status, words in ERRORS:
        answer = client.get(path.format(id=made))
        assert answer.status_code == status, path
        assert set(answer.json["error"]) >= {"code", "message", "where"}
        told = answer.json["error"]["message"] + str(answer.json["error"]["where"])
        assert words in told, (path, told)


def test_what_cannot_be_written_changes_nothing(made, client):
    """A name too long, a pressure that is none, keys that are not known, a drive that is not there."""
    for body in ({"name": "x" * 300}, {"weather": {"pressure_kpa": 300.0}}, {"weather": {"wind": 3}}, {"other": 1}):
        assert client.post(f"/api/drives/{made}/label", json=body, headers=ORIGIN).status_code == 400
    assert client.get(f"/api/drives/{made}/label").json["name"] == ""
    assert client.post("/api/drives/none/label", json={"name": "x"}, headers=ORIGIN).status_code == 404
