"""Endpoints of writing at the desk: begin, edit, look, preview, prove, compare, send. Nothing is kept here."""

from __future__ import annotations

import hashlib
import re
import tomllib
from typing import Any

from coach.bundle.keys import fingerprint, own_public_key, pin
from coach.desk.changes import changes
from coach.desk.child import prove_in_child
from coach.desk.editing import Edit, edited
from coach.desk.preview import previews
from coach.desk.revising import next_revision
from coach.desk.share import code, link
from coach.desk.signing import signature_of, signed, unsigned
from coach.desk.starting import KINDS, new_recipe
from coach.errors import BadInput, NotFound, RecipeError
from coach.plan import describe_recipe
from coach.plan.drive_plan import plan_drive
from coach.plan.plan_json import plan_json
from coach.recipe import Finding, Recipe, RecipeErrors, examine, parse_recipe
from coach.server import desk_models as m
from coach.server.endpoint import Call, Endpoint, Result
from coach.server.planning import in_car
from coach.server.services import Services
from coach.server.shelf import minutes
from coach.server.starting import vehicle_of
from coach.shown import METRIC, Units, units_named
from coach.toml_text import read_toml
from coach.words import Words, best_language, load_words

TEXT_BYTES = 700_000


def _words(call: Call) -> Words:
    return load_words(best_language(call.header("Accept-Language")))


def _units(call: Call) -> Units | None:
    return units_named(call.header("X-Units") or "")


def starts(call: Call) -> Result:
    """What there is to write with."""
    words, catalogue = _words(call), call.services.garage.widest()
    kinds = [
        {"kind": k, "title": words(f"desk.start.{k}.title"), "about": words(f"desk.start.{k}.about")} for k in KINDS
    ]
    signals = [
        {"name": s.name, "title": words.of_signal(s.name, "title", s.title), "unit": s.unit, "discrete": s.discrete,
         "low": s.low, "high": s.high, "derived": bool(s.inputs)} for s in catalogue
    ]  # fmt: skip
    return {"starts": kinds, "signals": signals, "fingerprint": fingerprint(own_public_key(call.services.store.folder))}


def new(call: Call) -> Result:
    """A recipe to begin with, or the next revision of one."""
    asked: m.NewAsked = call.body
    if asked.from_sha256 is not None:
        text = next_revision(kept_recipe(call.services, asked.from_sha256))
    else:
        vehicle, _, _ = in_car(call, asked.vehicle, asked.source)
        text = new_recipe(asked.kinds, vehicle, title=asked.title, words=_words(call))
    return _looked_at(call, text, asked.vehicle, asked.source)


def kept_recipe(services: Services, sha: str) -> bytes:
    """A recipe sent from this desk, else one of the shelf. Raises NotFound."""
    with services.desk.inbox() as inbox:
        try:
            return inbox.recipe(sha)
        except NotFound:
            return services.shelf.get(sha).source


def edit(call: Call) -> Result:
    """The text with changes made, looked at."""
    asked: m.EditAsked = call.body
    text = asked.text
    if asked.edits:
        vehicle, _, _ = in_car(call, asked.vehicle, asked.source)
        text = unsigned(text.encode()).decode()
        text = edited(text, [Edit(e.do, tuple(e.path), e.value) for e in asked.edits], vehicle)
    return _looked_at(call, text, asked.vehicle, asked.source)


def _looked_at(call: Call, text: str, vehicle_file: str | None, source: str | None) -> dict[str, Any]:
    raw, words, units = text.encode(), _words(call), _units(call)
    answer: dict[str, Any] = {
        "text": text, "data": None, "sha256": hashlib.sha256(raw).hexdigest(), "captures": [], "minutes": None,
        "findings": [], "plan": None,
    }  # fmt: skip
    try:
        answer["data"] = read_toml(text)
        vehicle, known, catalogue = in_car(call, vehicle_file, source)
        recipe, findings = examine(raw, name="recipe", catalogue=catalogue)
        if recipe is not None:
            made = plan_drive(recipe, catalogue, vehicle, known, units=units, words=words)
            findings = list(made.findings)
            answer["plan"] = plan_json(made, catalogue, units=units, words=words)
            answer["captures"] = describe_recipe(recipe, catalogue, system=units or METRIC, words=words)["captures"]
            answer["minutes"] = minutes(recipe)
    except tomllib.TOMLDecodeError as error:
        findings = [_broken(f"this is no TOML: {error}", _line(str(error)))]
    except RecipeErrors as error:
        findings = [f for f in error.findings if f.level == "error"]
    except RecipeError as error:
        findings = [_broken(error.message, None)]
    answer["findings"] = [_finding(f) for f in findings]
    return answer


def _broken(message: str, line: int | None) -> Finding:
    return Finding("error", "not_toml", message, line=line)


def _line(text: str) -> int | None:
    found = re.search(r"at line (\d+)", text)
    return None if found is None else int(found[1])


def _finding(found: Finding) -> dict[str, Any]:
    place = found.path[1] if found.path[:1] == ("capture",) and len(found.path) > 1 else None
    return found.as_dict() | {"path": list(found.path), "place": place}


def _recipe(call: Call, asked: m.InCar) -> tuple[Recipe, Any, Any]:
    vehicle, _, catalogue = in_car(call, asked.vehicle, asked.source)
    return parse_recipe(asked.text, name="recipe", catalogue=catalogue), catalogue, vehicle


def preview(call: Call) -> Result:
    """What the phone would draw of one capture."""
    asked: m.PreviewAsked = call.body
    recipe, catalogue, vehicle = _recipe(call, asked)
    made = previews(
        recipe, catalogue, vehicle, only=asked.capture, units=_units(call) or METRIC, words=_words(call)
    )  # fmt: skip
    if asked.capture not in made:
        raise NotFound("the recipe has no such capture", where=asked.capture)
    for state in made[asked.capture].values():
        # As it will be in the car: recording from a car at its own pace.
        state["drive"] |= {"source": "link", "recipe": None, "role": "passenger", "moving": False, "locked": False}
        state.setdefault("trouble", None)
    return {"moments": made[asked.capture]}


def prove(call: Call) -> Result:
    """Whether an earlier drive would have met it."""
    asked: m.ProveAsked = call.body
    services = call.services
    recipe, findings = examine(
        asked.text.encode(), name="recipe", catalogue=in_car(call, asked.vehicle, asked.source)[2]
    )
    if recipe is None:
        raise RecipeErrors("recipe", [f for f in findings if f.level == "error"])
    vehicle = asked.vehicle
    if asked.kind == "drive":
        against = {"kind": "drive", "folder": str(services.store.folder), "id": services.store.drive(asked.id).id}
    elif asked.kind == "bundle":
        with services.desk.inbox() as inbox:
            against = {"kind": "bundle", "path": str(inbox.path(asked.id)), "id": asked.drive}
    else:
        entry = services.garage.entry(asked.id)
        if entry.path is None:
            raise BadInput("a recipe is proved on something recorded, not on a car", where=asked.id)
        against = {"kind": "table", "path": str(entry.path)}
        found = vehicle_of(asked.vehicle, entry, services.car(asked.id))[1]
        vehicle = None if found is None else found.decode()
    language = best_language(call.header("Accept-Language"))
    with services.desk.turn():
        return prove_in_child(asked.text, against, vehicle=vehicle, units=_units(call), language=language)


def compare(call: Call) -> Result:
    """What changed."""
    asked: m.TwoTexts = call.body
    catalogue = call.services.garage.widest()
    old, new_one = (parse_recipe(text, name="recipe", catalogue=catalogue) for text in (asked.old, asked.new))
    made = changes(old, new_one, catalogue, system=_units(call) or METRIC, words=_words(call))
    return {"changes": [change.as_dict() for change in made]}


def share(call: Call) -> Result:
    """A recipe ready to be sent: one that the check refuses is refused here."""
    asked: m.ShareAsked = call.body
    raw = asked.text.encode()
    recipe, findings = examine(raw, name="recipe", catalogue=call.services.garage.widest())
    errors = [f for f in findings if f.level == "error"]
    if recipe is None or errors:
        raise RecipeErrors("recipe", errors)
    raw = signed(raw, call.services.store.folder) if asked.sign else unsigned(raw)
    url, square, why = link(raw, asked.page), None, ""
    try:
        square = ["".join("1" if dark else "0" for dark in row) for row in code(url).matrix]
    except BadInput as error:
        why = error.message
    made = signature_of(raw)
    plain = re.sub(r"[^a-z0-9]+", "-", recipe.title.lower()).strip("-")[:40] or "recipe"
    return {
        "text": raw.decode(), "sha256": hashlib.sha256(raw).hexdigest(), "link": url, "square": square, "why": why,
        "name": f"{plain}-revision-{recipe.revision}.toml", "fingerprint": None if made is None else made.fingerprint,
    }  # fmt: skip


def pin_key(call: Call) -> Result:
    """A key is known from now on."""
    try:
        made = pin(call.services.store.folder, call.body.name, call.body.public_key)
    except BadInput as error:
        raise BadInput(error.message, where="name") from None
    return {"name": made.name, "fingerprint": made.fingerprint}


WRITE_ENDPOINTS: tuple[Endpoint, ...] = (
    Endpoint(
        "GET", "/api/desk/starts", "What a recipe is written with: starting points, signals, this desk's key.", starts,
        gives=m.Starts,
    ),
    Endpoint(
        "POST", "/api/desk/new", "A recipe of starting points, or the next revision of one that was sent.", new,
        takes=m.NewAsked, gives=m.Edited, most_bytes=TEXT_BYTES, errors=(400, 404),
    ),
    Endpoint(
        "POST", "/api/desk/edit", "A recipe that is being written, changed and looked at; nothing is kept.", edit,
        takes=m.EditAsked, gives=m.Edited, most_bytes=TEXT_BYTES, errors=(400, 404),
    ),
    Endpoint(
        "POST", "/api/desk/preview", "What the phone would draw of a capture, at up to four moments.", preview,
        takes=m.PreviewAsked, gives=m.Preview, most_bytes=TEXT_BYTES, errors=(400, 404),
    ),
    Endpoint(
        "POST", "/api/desk/prove", "Whether an earlier drive would have met it, and how little less would have done.",
        prove, takes=m.ProveAsked, gives=m.Proved, most_bytes=TEXT_BYTES, errors=(400, 404, 409),
    ),
    Endpoint(
        "POST", "/api/desk/changes", "What changed from one text to the other, as sentences.", compare,
        takes=m.TwoTexts, gives=m.Changes, most_bytes=TEXT_BYTES, errors=(400,),
    ),
    Endpoint(
        "POST", "/api/desk/share", "A recipe ready to be sent: signed if wished, with its link and its code.", share,
        takes=m.ShareAsked, gives=m.Shared, most_bytes=TEXT_BYTES, errors=(400,),
    ),
    Endpoint(
        "POST", "/api/keys", "Pins a key under a name: what it signs is known from now on.", pin_key,
        takes=m.PinAsked, gives=m.Pinned, status=201, errors=(400,),
    ),
)  # fmt: skip
