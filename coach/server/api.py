"""The endpoints: what each takes, gives and does."""

from __future__ import annotations

from typing import Any

from flask import Response, send_file

from coach import __version__
from coach.core.spec import RULES
from coach.errors import NotFound
from coach.server import answers as a
from coach.server import models as m
from coach.server.bundles import BUNDLE_ENDPOINTS
from coach.server.car_api import CAR_ENDPOINTS
from coach.server.current_api import CURRENT_ENDPOINTS
from coach.server.desk_inbox import INBOX_ENDPOINTS
from coach.server.desking import WRITE_ENDPOINTS
from coach.server.endpoint import Call, Endpoint, Result
from coach.server.joining_api import JOINING_ENDPOINTS
from coach.server.keeping_api import KEEPING_ENDPOINTS
from coach.server.link_api import LINK_ENDPOINTS
from coach.server.live import live
from coach.server.planning import PLAN_ENDPOINTS
from coach.server.reviewing import REVIEW_ENDPOINTS
from coach.shown import METRIC, Units, units_named
from coach.words import best_language, languages, load_words, words_table

RECIPE_BYTES = 256_000
RECIPE_TYPES = ("application/toml", "application/json", "text/toml", "application/octet-stream")


def about(call: Call) -> Result:
    """Who answers here."""
    return {"name": "log capture coach", "version": __version__, "boot": call.services.boot, "rules": RULES,
            "languages": [{"code": code, "name": load_words(code)("language")} for code in languages()]}  # fmt: skip


def words(call: Call) -> Result:
    """The words, all or one section: a page that only drives needs few."""
    section = call.query.section
    language = call.query.language or _language(call)
    if section is None:
        return words_table(language)
    found = load_words(language).get(section)
    if not isinstance(found, dict):
        raise NotFound("there are no words under this section; without `section` all of them come", where=section)
    return found


def _language(call: Call) -> str:
    return best_language(call.header("Accept-Language"))


def _units(call: Call) -> Units | None:
    """What the page says a person reads, in a header: `km/h,kPa,degC`; None for anything else."""
    return units_named(call.header("X-Units") or "")


# --- recipes and sources


def recipes(call: Call) -> Result:
    """All recipes."""
    return {"recipes": call.services.shelf.list()}


def add_recipe(call: Call) -> Result:
    """Keeps a recipe."""
    recipe = call.services.shelf.add(call.raw, call.header("X-File-Name") or "recipe")
    return call.services.shelf.view(recipe.sha256)


def look_at_recipe(call: Call) -> Result:
    """A recipe before it is taken."""
    return call.services.shelf.look(call.raw, _units(call) or METRIC, load_words(_language(call)))


def recipe(call: Call) -> Result:
    """One recipe."""
    return call.services.shelf.view(call.path["sha"], _units(call) or METRIC, load_words(_language(call)))


def sources(call: Call) -> Result:
    """All sources."""
    return {"sources": [entry.json() for entry in call.services.garage.list()]}


def ready(call: Call) -> Result:
    """Whether a drive can start."""
    units, language = _units(call), _language(call)
    return {"marks": call.services.ready(call.query.recipe, call.query.source, units=units, language=language)}


# --- drives


def start_drive(call: Call) -> Result:
    """Starts a drive."""
    drive = call.services.start(call.body, _language(call))
    return call.services.drive_json(call.services.store.drive(drive.id))


def drives(call: Call) -> Result:
    """All drives."""
    return {"drives": [call.services.drive_json(row) for row in call.services.store.drives()]}


def drive(call: Call) -> Result:
    """One drive."""
    row = call.services.store.drive(call.path["id"])
    windows = [
        {"capture": w.capture, "number": w.number, "whole": w.whole, "size": w.size, "sha256": w.sha256}
        for w in call.services.store.windows(row.id)
    ]
    return call.services.drive_json(row) | {"windows": windows}


def attempts(call: Call) -> Result:
    """The verdict."""
    return call.services.verdict(call.path["id"], _language(call))


def lane(call: Call) -> Result:
    """The thread of an attempt."""
    number = None if call.query.number is None else int(call.query.number)
    return _task(call, "lane", capture=call.query.capture, number=number)


def window(call: Call) -> Result:
    """The signals of an attempt."""
    return _task(call, "window", capture=call.path["capture"], number=call.number(), language=_language(call))


def window_table(call: Call) -> Result:
    """The samples of an attempt as a table: the durable file where there is one."""
    drive, capture, number = call.path["id"], call.path["capture"], call.number()
    form = call.query.form
    name = f"{drive}-{capture}-{number + 1}.csv"
    store = call.services.store
    saved = next((w for w in store.windows(drive) if (w.capture, w.number) == (capture, number)), None)
    if saved is not None and form == "wide":
        path = store.folder / saved.path
        if path.is_file():
            return send_file(path.resolve(), "text/csv", as_attachment=True, download_name=name, max_age=0)
    text = _task(call, "table", capture=capture, number=number, form=form)
    answer = Response(text, mimetype="text/csv")
    answer.headers.set("Content-Disposition", "attachment", filename=name)
    return answer


def _task(call: Call, task: str, **ask: Any) -> str:
    text: str = call.services.worker.submit(task, {"drive": call.path["id"], **ask}).result()
    return text


# --- live


def state(call: Call) -> Result:
    """The live state."""
    return call.services.state()


def stream(call: Call) -> Result:
    """The live stream."""
    return live(call.services, call.header("Last-Event-ID") or call.query.last)


ENDPOINTS: tuple[Endpoint, ...] = (
    Endpoint("GET", "/api/about", "Name, version, boot and rules of this server.", about, gives=a.About),
    Endpoint(
        "GET", "/api/words", "The words, in one table: all of them, or one section by its dotted key.", words,
        query=m.WordsQuery, gives=a.Answer, errors=(400, 404),
    ),
    Endpoint("GET", "/api/recipes", "Recipes, uploaded ones first.", recipes, gives=a.Recipes),
    Endpoint(
        "POST", "/api/recipes", "Keeps a recipe, TOML or JSON, as received; refused with all that is wrong with it.",
        add_recipe, takes_text=RECIPE_TYPES, gives=a.RecipeView, status=201, most_bytes=RECIPE_BYTES, errors=(400,),
    ),
    Endpoint(
        "POST", "/api/recipes/look", "The same look at a recipe before it is taken; nothing is kept.", look_at_recipe,
        takes_text=RECIPE_TYPES, gives=a.RecipeView, most_bytes=RECIPE_BYTES, errors=(400,),
    ),
    Endpoint(
        "GET", "/api/recipes/{sha}", "A recipe as people read it: captures as sentences, places, minutes, findings.",
        recipe, gives=a.RecipeView, errors=(404,),
    ),
    Endpoint("GET", "/api/sources", "What can be driven with.", sources, gives=a.Sources),
    Endpoint(
        "GET", "/api/ready", "Whether a drive with this recipe and source can start; ask again while it is `looking`.",
        ready, query=m.ReadyQuery, gives=a.Ready, errors=(400, 404),
    ),
    Endpoint(
        "POST", "/api/drives", "Starts a drive; one at a time.", start_drive, takes=m.StartDrive, gives=a.DriveItem,
        status=201, most_bytes=600_000, errors=(400, 404, 409),
    ),
    Endpoint("GET", "/api/drives", "Drives, the newest first.", drives, gives=a.Drives),
    *CURRENT_ENDPOINTS,
    Endpoint("GET", "/api/drives/{id}", "A drive with its window files.", drive, gives=a.DriveView, errors=(404,)),
    Endpoint(
        "GET", "/api/drives/{id}/attempts",
        "The verdict, the same as `coach judge --json`; while the drive runs, on the attempts that are over.",
        attempts, gives=a.Verdict, errors=(404,),
    ),
    Endpoint(
        "GET", "/api/drives/{id}/lane", "The thread of an attempt in its lane, to catch up with.", lane,
        query=m.LaneQuery, gives=a.Lane, errors=(400, 404),
    ),
    Endpoint(
        "GET", "/api/drives/{id}/windows/{capture}/{number}", "The signals of an attempt, thinned for a screen.",
        window, gives=a.Window, errors=(404,),
    ),
    Endpoint(
        "GET", "/api/drives/{id}/windows/{capture}/{number}.csv",
        "The samples of an attempt with what was around it, as a table; numbers of attempts count from 0.",
        window_table, query=m.TableQuery, media="text/csv", errors=(400, 404),
    ),
    Endpoint("GET", "/api/state", "The live state, once.", state, gives=a.State),
    Endpoint(
        "GET", "/api/live",
        "Server-sent events `state`, `judge`, `saved`, `not_saved`, `drive`, `resumed`, `gap` and `ping`; resumes after"
        " Last-Event-ID.",
        stream, query=m.LiveQuery, media="text/event-stream", errors=(400, 503),
    ),
    *CAR_ENDPOINTS,
    *LINK_ENDPOINTS,
    *JOINING_ENDPOINTS,
    *REVIEW_ENDPOINTS,
    *PLAN_ENDPOINTS,
    *BUNDLE_ENDPOINTS,
    *KEEPING_ENDPOINTS,
    *WRITE_ENDPOINTS,
    *INBOX_ENDPOINTS,
)  # fmt: skip


def not_there(path: str) -> NotFound:
    """The error for an address below /api/ that does not exist."""
    return NotFound("there is nothing at this address; GET /api/openapi.json lists what there is", where=path)
