"""Endpoints of a finished drive's review. The work is done by the worker: nothing heavy is loaded here."""

from __future__ import annotations

from dataclasses import asdict, replace
from typing import Any

from flask import Response

from coach.errors import BadInput
from coach.review.log import MOST, Search, label_of, search, vehicle_of
from coach.server import review_models as m
from coach.server.endpoint import Call, Endpoint, Result
from coach.store.labels import Label
from coach.words import best_language, load_words

LEAST_POINTS, MOST_POINTS = 10, 20_000


def _task(call: Call, task: str, **ask: Any) -> str:
    return _ask(call, task, {"drive": call.path.get("id"), **ask})


def _ask(call: Call, task: str, ask: dict[str, Any]) -> str:
    """Done by the worker for reviews where there is one, beside the one that saves windows."""
    worker = call.services.reviewer or call.services.worker
    language = ask.get("language") or best_language(call.header("Accept-Language"))
    text: str = worker.submit(task, {**ask, "language": language}).result()
    return text


def _seconds(text: str | None) -> float | None:
    return None if text is None else float(text)


def review(call: Call) -> Result:
    """The review, verdict first."""
    return _task(call, "review")


def summary(call: Call) -> Result:
    """The figures of a window."""
    q = call.query
    delay_s = float(q.lambda_delay)
    if delay_s > 5:
        raise BadInput("lambda is never seen more than 5 s late", where="lambda_delay")
    return _task(
        call, "summary", capture=call.path["capture"], number=call.number(), kind=q.kind, lambda_delay_s=delay_s
    )


def traces(call: Call) -> Result:
    """Signals over time."""
    q = call.query
    points = min(max(int(q.points), LEAST_POINTS), MOST_POINTS)
    names = None if not q.signals else [n for n in q.signals.split(",") if n]
    return _task(call, "traces", signals=names, first_s=_seconds(q.first), last_s=_seconds(q.last), points=points)


def over(call: Call) -> Result:
    """Signals over another one."""
    return _task(call, "over", capture=call.path["capture"], number=call.number(), signal=call.query.signal)


def coverage(call: Call) -> Result:
    """Cells."""
    q = call.query
    return _task(call, "coverage", load=q.load, step_rpm=float(q.step_rpm), step_load=float(q.step_load), scope=q.scope)


def health(call: Call) -> Result:
    """Data health."""
    if (call.query.a is None) != (call.query.b is None):
        raise BadInput("a delay is between two signals: name both, a and b", where="a" if call.query.a is None else "b")
    return _task(call, "health", a=call.query.a, b=call.query.b)


def power(call: Call) -> Result:
    """Estimated power."""
    q = call.query
    load = None
    if q.road_load is not None:
        try:
            load = [float(x) for x in q.road_load.split(",")]
        except ValueError:
            raise BadInput(
                "a road load is three numbers with commas between: 165,0.6,0.034", where="road_load"
            ) from None
    return _task(
        call, "power", capture=call.path["capture"], number=call.number(), mass_kg=_seconds(q.mass_kg), road_load=load
    )


def compare(call: Call) -> Result:
    """Two drives."""
    q = call.query
    return _ask(call, "compare", {"drive": q.a, "b": q.b, "capture": q.capture})


def report(call: Call) -> Result:
    """The report as a file."""
    language = call.query.language
    if language is not None:
        load_words(language)
    answer = Response(_task(call, "report", language=language), mimetype="text/html")
    answer.headers.set("Content-Disposition", "attachment", filename=f"{call.path['id']}.html")
    return answer


def log(call: Call) -> Result:
    """The log of drives."""
    q, s = call.query, call.services
    asked = Search(
        q.text, q.recipe, None if q.revision is None else int(q.revision), q.vehicle, q.since, q.until,
        None if q.complete is None else q.complete == "yes",
    )  # fmt: skip
    found = search(s.store, asked)
    first = int(q.offset)
    labels = s.store.labels()
    some = found[first : first + min(int(q.limit), MOST)]
    return {
        "total": len(found),
        "drives": [
            s.drive_json(row)
            | {"name": label_of(labels, row).name, "note": label_of(labels, row).note, "vehicle": vehicle_of(row)}
            for row in some
        ],
    }


def set_label(call: Call) -> Result:
    """Name, note, weather."""
    store, body = call.services.store, call.body
    old = store.label(call.path["id"])
    new = old
    if body.name is not None:
        new = replace(new, name=" ".join(body.name.split()))
    if body.note is not None:
        new = replace(new, note=body.note.strip())
    if body.weather is not None:
        new = replace(new, **body.weather.model_dump())
    if new != old:
        store.put_label(call.path["id"], new)
    return label_json(new)


def label(call: Call) -> Result:
    """What people wrote."""
    return label_json(call.services.store.label(call.path["id"]))


def label_json(label: Label) -> dict[str, Any]:
    """What people wrote on a drive, JSON-able."""
    every = asdict(label)
    return {"name": every.pop("name"), "note": every.pop("note"), "weather": every}


_WINDOW = "{capture}/{number}"
REVIEW_ENDPOINTS: tuple[Endpoint, ...] = (
    Endpoint(
        "GET", "/api/log", "Drives by words, recipe, revision, car, day and outcome, the newest first.", log,
        query=m.LogQuery, gives=m.Log, errors=(400,),
    ),
    Endpoint(
        "GET", "/api/compare", "Like windows of two drives: differences with their uncertainty.", compare,
        query=m.CompareQuery, gives=m.Compared, errors=(400, 404),
    ),
    Endpoint(
        "GET", "/api/drives/{id}/review", "The review, verdict first; identity and declared facts head it.", review,
        gives=m.Review, errors=(404,),
    ),
    Endpoint(
        "GET", f"/api/drives/{{id}}/summary/{_WINDOW}", "The figures of a window, by its kind of capture.", summary,
        query=m.SummaryQuery, gives=m.Summary, errors=(400, 404),
    ),
    Endpoint(
        "GET", "/api/drives/{id}/traces", "Signals over the drive or a stretch of it, thinned, peaks kept.", traces,
        query=m.TracesQuery, gives=m.Traces, errors=(400, 404),
    ),
    Endpoint(
        "GET", f"/api/drives/{{id}}/over/{_WINDOW}", "Signals of an attempt over engine speed or another signal.", over,
        query=m.OverQuery, gives=m.Over, errors=(400, 404),
    ),
    Endpoint(
        "GET", "/api/drives/{id}/coverage", "Time in cells of engine speed over load; wanted cells still empty.",
        coverage, query=m.CoverageQuery, gives=m.Coverage, errors=(400, 404),
    ),
    Endpoint(
        "GET", "/api/drives/{id}/health", "Rates, gaps, stuck signals, spikes, saturation, order, delays.", health,
        query=m.HealthQuery, gives=m.Health, errors=(400, 404),
    ),
    Endpoint(
        "GET", f"/api/drives/{{id}}/power/{_WINDOW}",
        "Power at the wheels, estimated, with its uncertainty; corrections by named standards beside it.", power,
        query=m.PowerQuery, gives=m.Power, errors=(400, 404),
    ),
    Endpoint(
        "GET", "/api/drives/{id}/report", "The report: one HTML file that needs nothing else.", report,
        query=m.ReportQuery, media="text/html", errors=(400, 404),
    ),
    Endpoint(
        "GET", "/api/drives/{id}/label", "Name, note and weather that people gave a drive.", label, gives=m.LabelItem,
        errors=(404,),
    ),
    Endpoint(
        "POST", "/api/drives/{id}/label", "Names a drive, notes on it, or types in the weather.", set_label,
        takes=m.SetLabel, gives=m.LabelItem, errors=(400, 404),
    ),
)  # fmt: skip
