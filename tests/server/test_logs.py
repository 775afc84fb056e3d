"""What the program writes to its log: faults of its own, and nothing that somebody would not want read by others."""

import logging

import pytest

SECRET = "s3cr3t-9f1c"


@pytest.fixture
def broken(app, monkeypatch):
    """An address of the app whose work fails."""

    def fail(*_):
        raise ZeroDivisionError("division by zero")

    monkeypatch.setattr("coach.server.services.Services.state", fail)
    return app.test_client()


def test_a_fault_is_logged_without_what_was_sent(broken, caplog, capfd):
    """Neither the query, nor a header, nor a cookie, nor a body."""
    with caplog.at_level(logging.DEBUG):
        broken.set_cookie("device", SECRET, domain="localhost")
        answer = broken.get(f"/api/state?token={SECRET}", headers={"Authorization": f"Bearer {SECRET}"})
        assert answer.status_code == 400
        answer = broken.get("/api/state", headers={"Authorization": f"Bearer {SECRET}", "X-File-Name": SECRET})
        assert answer.status_code == 500
        assert "ZeroDivisionError" not in answer.text
        assert SECRET not in answer.text
        broken.post("/api/drives", json={"recipe": SECRET, "source": "x"}, headers={"Origin": "http://localhost"})
        broken.post("/api/pair", json={"code": SECRET}, headers={"Origin": "http://localhost"})
        broken.post(
            "/api/recipes", data=SECRET, content_type="application/toml", headers={"Origin": "http://localhost"}
        )
    assert any("ZeroDivisionError" in str(r.exc_info) for r in caplog.records)
    said = "\n".join(logging.Formatter().format(r) for r in caplog.records) + "".join(capfd.readouterr())
    assert SECRET not in said


def test_a_whole_drive_leaves_no_line_in_the_log(drive, caplog, capfd):
    """Nothing of it is anybody's business: where it went, who drove, what car."""
    with caplog.at_level(logging.DEBUG, logger="coach"):
        made = drive()
    assert made.error is None
    assert [r for r in caplog.records if r.name.startswith("coach")] == []
    assert "".join(capfd.readouterr()) == ""
