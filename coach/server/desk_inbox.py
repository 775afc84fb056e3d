"""Endpoints of what comes back to the desk: customers, bundles that came, and judging all of them again."""

from __future__ import annotations

import contextlib
from dataclasses import asdict
from pathlib import Path
from typing import Any

from flask import send_file

from coach.bundle.keys import pins
from coach.bundle.opening import open_bundle
from coach.clock import wall_text
from coach.desk.chain import chain
from coach.desk.inbox import Inbox
from coach.desk.standing import Asked, Received, standing
from coach.desk.wanting import wanting
from coach.errors import CoachError, NotFound
from coach.recipe import RecipeErrors, examine
from coach.server import desk_models as m
from coach.server.bundles import MOST_BYTES, NAME, ZIP, arriving, receive
from coach.server.desk_import import import_drive
from coach.server.endpoint import Call, Endpoint, Result
from coach.server.models import Nothing
from coach.shown import METRIC, units_named
from coach.words import best_language, load_words

INCOMING = "incoming"


def customers(call: Call) -> Result:
    """Everybody, whoever waits for the calibrator first."""
    with call.services.desk.inbox() as inbox:
        asked, received = inbox.asked(), inbox.received()
        rows = inbox.customers()
        for row in rows:
            name = row["customer"]
            row["revisions"] = chain(
                [a for a in asked if a.customer == name], [r for r in received if r.customer == name], inbox.recipe
            )
            row["when"] = wall_text(row.pop("wall_us"))
            _worded(call, row["captures"])
    return {"customers": rows}


def _worded(call: Call, captures: list[dict[str, Any]]) -> None:
    """Puts into words what each still lacks: `lacks` with `text` and `next`, or null."""
    words = load_words(best_language(call.header("Accept-Language")))
    units = units_named(call.header("X-Units") or "") or METRIC
    catalogue = call.services.garage.widest()
    for capture in captures:
        near = capture.pop("nearest", None)
        capture["lacks"] = None if near is None else wanting(near, catalogue, words, units)


def customer(call: Call) -> Result:
    """One of them."""
    name = call.query.name
    with call.services.desk.inbox() as inbox:
        asked, received = inbox.asked(name), inbox.received(name)
        if not asked and not received:
            raise NotFound("there is no customer of this name", where=name)
        told = {
            "customer": name, "standing": standing(name, asked, received),
            "revisions": chain(asked, received, inbox.recipe),
            "asked": [_asked(a) | {"text": inbox.recipe(a.sha256).decode("utf-8", "replace")} for a in asked],
            "received": [_received(inbox, r) for r in received],
        }  # fmt: skip
    _worded(call, told["standing"]["captures"])
    for one in told["received"]:
        for drive in one["found"]["drives"]:
            _worded(call, drive["captures"])
    return told


def _asked(a: Asked) -> dict[str, Any]:
    made = asdict(a)
    return made | {"when": wall_text(made.pop("wall_us"))}


def _received(inbox: Inbox, r: Received) -> dict[str, Any]:
    made = asdict(r)
    told: list[dict[str, Any]] = []
    with contextlib.suppress(CoachError):
        for drive in open_bundle(inbox.path(r.sha256)).drives:
            said = drive.entry.identity
            warned = [w.get("text", "") for w in said.get("warnings", []) if isinstance(w, dict)]
            told.append({"id": drive.id, "vin": drive.entry.vin, "flashed": said.get("flashed"), "warnings": warned})
    return made | {"when": wall_text(made.pop("wall_us")), "cars": told}


def ask(call: Call) -> Result:
    """Keeps what was sent, or is begun."""
    asked: m.AskCustomer = call.body
    raw = asked.text.encode()
    recipe, findings = examine(raw, name="recipe", catalogue=call.services.garage.widest())
    if recipe is None:
        raise RecipeErrors("recipe", [f for f in findings if f.level == "error"])
    with call.services.desk.inbox() as inbox:
        inbox.ask(asked.customer, raw, call.services.clock.wall_us(), sent=asked.sent)
    return {"ok": True}


def take(call: Call) -> Result:
    """A bundle that comes as the body."""
    services = call.services
    folder = services.store.folder
    name = Path(call.query.file or NAME).name
    with arriving(folder / INCOMING, name) as part, services.desk.turn(), services.desk.inbox() as inbox:
        receive(part)
        row = inbox.take(part, services.clock.wall_us(), pins(folder), customer=call.query.customer, file=name)
    return {"sha256": row.sha256, "customer": row.customer, "found": row.found}


def fetch(call: Call) -> Result:
    """A bundle as it came."""
    sha = call.path["sha"]
    with call.services.desk.inbox() as inbox:
        path = inbox.path(sha)
    return send_file(path.resolve(), ZIP, as_attachment=True, download_name=f"bundle-{sha[:8]}.zip", max_age=0)


def assign(call: Call) -> Result:
    """Says whose it is."""
    with call.services.desk.inbox() as inbox:
        inbox.assign(call.path["sha"], call.body.customer)
    return {"ok": True}


def remove(call: Call) -> Result:
    """Takes it out."""
    with call.services.desk.inbox() as inbox:
        inbox.remove(call.path["sha"])
    return {"ok": True}


def open_(call: Call) -> Result:
    """Opens it in the review."""
    sha = call.path["sha"]
    with call.services.desk.inbox() as inbox:
        path = inbox.path(sha)
    return {"drive": import_drive(call.services, path, sha, call.body.drive)}


def judge_again(call: Call) -> Result:
    """Begins to judge everything again."""
    text = call.body.text
    if text is not None:
        recipe, findings = examine(text.encode(), name="recipe", catalogue=call.services.garage.widest())
        if recipe is None:
            raise RecipeErrors("recipe", [f for f in findings if f.level == "error"])
    with call.services.desk.inbox() as inbox:
        rows = {str(inbox.path(r.sha256).absolute()): r for r in inbox.received()}
    if not rows:
        raise NotFound("no bundle has come yet")
    before = {
        path: {"sha256": r.sha256, "file": r.file, "customer": r.customer, "found": r.found} for path, r in rows.items()
    }
    call.services.desk.judge_again(text, [Path(p) for p in rows], before)
    return again(call)


def stop_again(call: Call) -> Result:
    """Stops it."""
    call.services.desk.stop_again()
    return again(call)


def again(call: Call) -> Result:
    """How far it is."""
    state, results, before = call.services.desk.again()
    return {**state, "rows": [_row(result, before.get(result["file"], {})) for result in results]}


def _row(result: dict[str, Any], known: dict[str, Any]) -> dict[str, Any]:
    was = {d["id"]: {c["id"]: c["qualified"] for c in d["captures"]} for d in known.get("found", {}).get("drives", [])}
    drives = []
    for drive in result["drives"]:
        earlier = was.get(drive["id"], {})
        captures = [c | {"was": earlier.get(c["id"])} for c in drive["captures"]]
        drives.append({"id": drive["id"], "vehicle": drive["vehicle"], "captures": captures})
    return {
        "sha256": known.get("sha256"), "file": known.get("file", ""), "customer": known.get("customer", ""),
        "error": result["error"], "drives": drives,
    }  # fmt: skip


INBOX_ENDPOINTS: tuple[Endpoint, ...] = (
    Endpoint(
        "GET", "/api/desk/customers", "Every customer with revisions and marks, whoever waits for the desk first.",
        customers, gives=m.Customers,
    ),
    Endpoint(
        "GET", "/api/desk/customer", "One customer: what was asked, what came.", customer, query=m.CustomerQuery,
        gives=m.Customer, errors=(400, 404),
    ),
    Endpoint(
        "POST", "/api/desk/asked", "Keeps a recipe that was sent to a customer, or is begun for one.", ask,
        takes=m.AskCustomer, gives=m.DeskDone, status=201, most_bytes=700_000, errors=(400,),
    ),
    Endpoint(
        "POST", "/api/desk/received", "Takes a bundle: checked, judged again, kept as it came.", take,
        query=m.ReceiveQuery, takes_text=(ZIP, "application/x-zip-compressed", "application/octet-stream"),
        gives=m.Taken, status=201, most_bytes=MOST_BYTES, errors=(400, 409), streamed=True,
    ),
    Endpoint("GET", "/api/desk/received/{sha}.zip", "A bundle as it came.", fetch, media=ZIP, errors=(404,)),
    Endpoint(
        "POST", "/api/desk/received/{sha}/assign", "Says whose a bundle is.", assign, takes=m.OfCustomer,
        gives=m.DeskDone, errors=(400, 404),
    ),
    Endpoint(
        "POST", "/api/desk/received/{sha}/open", "Puts a drive of it beside this laptop's own, for every review.",
        open_, takes=m.OpenAsked, gives=m.Opened, errors=(400, 404, 409),
    ),
    Endpoint(
        "DELETE", "/api/desk/received/{sha}", "Removes a bundle; the sender still has it.", remove, gives=m.DeskDone,
        errors=(404,),
    ),
    Endpoint(
        "POST", "/api/desk/again", "Begins to judge every bundle again, by another recipe or by their own.",
        judge_again, takes=m.AgainAsked, gives=m.Again, status=202, most_bytes=700_000, errors=(400, 404, 409),
    ),
    Endpoint("GET", "/api/desk/again", "How far that is, and what came of it.", again, gives=m.Again),
    Endpoint(
        "POST", "/api/desk/again/stop", "Stops it; what is judged stays judged.", stop_again, takes=Nothing,
        gives=m.Again,
    ),
)  # fmt: skip
