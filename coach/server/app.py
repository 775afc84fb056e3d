"""The Flask app: routes, checks of every request, one shape for every error. No globals: all state is in `services`."""

from __future__ import annotations

import logging
from typing import Any, NamedTuple

from flask import Flask, Response, g, request
from pydantic import ValidationError
from werkzeug.exceptions import HTTPException, RequestEntityTooLarge, UnsupportedMediaType

from coach.errors import BadInput, CoachError, Conflict, NotFound, StoreError
from coach.recipe import RecipeErrors
from coach.server.answers import Answer
from coach.server.api import ENDPOINTS, not_there
from coach.server.endpoint import JSON, Call, Endpoint
from coach.server.guard import Guard, close_doors
from coach.server.holding import Holding
from coach.server.live import TooMany
from coach.server.models import Asked
from coach.server.openapi import describe
from coach.server.packing import pack_json
from coach.server.roles import Access, check_access
from coach.server.services import Services
from coach.server.static import Static

_STATUS: tuple[tuple[type[CoachError], int], ...] = (
    (NotFound, 404), (Conflict, 409), (StoreError, 507), (TooMany, 503), (BadInput, 400),
)  # fmt: skip
_HTTP_WORDS = {
    400: ("bad_request", "the request cannot be read"),
    404: ("not_found", "there is nothing at this address"),
    405: ("method_not_allowed", "this address does not take this method"),
    413: ("too_large", "the body is too large"),
    415: ("unsupported_media_type", "the body is of a type that is not taken here"),
    500: ("internal", "something went wrong inside the server; its log says what"),
}


def create_app(services: Services, static: Static | None = None, joining: Any = None) -> Flask:
    """The app on `services`.

    Args:
        static: the files of the page; the project's own if left out.
        joining: how phones on the network are let in (a `Joining`); None where only this machine is listened to.
    """
    app = Flask("coach.server", static_folder=None)
    app.json.sort_keys = False  # type: ignore[attr-defined]  # the default provider has it
    app.url_map.strict_slashes = True
    files = static or Static()
    inside = _Inside(services, joining, Holding())
    for endpoint in ENDPOINTS:
        app.add_url_rule(
            _rule(endpoint.path), endpoint.name, _view(inside, endpoint), methods=[endpoint.method],
            provide_automatic_options=False,
        )  # fmt: skip
    description = describe(ENDPOINTS)
    app.add_url_rule(
        "/api/openapi.json", "openapi", lambda: _json(description), methods=["GET"], provide_automatic_options=False
    )
    app.add_url_rule("/", "page", lambda: files.answer("index.html"), methods=["GET"], provide_automatic_options=False)
    app.add_url_rule("/<path:path>", "file", files.answer, methods=["GET"], provide_automatic_options=False)
    if joining is not None:
        _add_help(app, joining)
    app.before_request(_guard(Guard(joining)))
    app.after_request(pack_json)
    app.after_request(close_doors)
    app.register_error_handler(CoachError, _coach_error)
    app.register_error_handler(HTTPException, _http_error)
    app.register_error_handler(Exception, _fault)
    return app


def _rule(path: str) -> str:
    return path.replace("{number}", "<int:number>").replace("{", "<").replace("}", ">")


class _Inside(NamedTuple):
    """What the views work with."""

    services: Services
    joining: Any
    holding: Holding


def _add_help(app: Flask, joining: Any) -> None:
    from coach.server.helppage import PAGES, HelpPage

    pages = HelpPage(joining, plain=False)
    for path in sorted(PAGES):
        app.add_url_rule(
            path, f"help {path}", lambda path=path: pages.answer(path), methods=["GET"], provide_automatic_options=False
        )


def _guard(guard: Guard) -> Any:
    def look() -> Response | None:
        g.caller = guard.caller(request)
        return guard.stranger(request) if g.caller.access == Access.ANYONE else None

    return look


def _view(inside: _Inside, endpoint: Endpoint) -> Any:
    services, joining, holding = inside
    acts = endpoint.method == "POST" and endpoint.path.startswith("/api/drives/current/")

    def view(**path: Any) -> Response:
        caller = g.caller
        check_access(caller, endpoint.method, endpoint.path)
        call = Call(
            services,
            {k: str(v) for k, v in path.items()},
            _query(endpoint),
            _body(endpoint),
            _raw(endpoint),
            request.headers.get,
            caller,
            joining,
            request.remote_addr or "",
        )
        if joining is not None and acts:
            moving = bool(services.state()["drive"].get("moving"))
            holding.before(services.running(), caller, endpoint.path.rpartition("/")[2], moving=moving)
        answer = _answer(endpoint.work(call), endpoint.status)
        if joining is not None and (endpoint.method, endpoint.path) == ("POST", "/api/drives"):
            holding.begun(services.running(), caller)
        if caller.device is not None and endpoint.media == "text/event-stream":
            answer.response = joining.watched(answer.response, caller.device)
        return answer

    return view


def _query(endpoint: Endpoint) -> Asked | None:
    given = request.args.to_dict()
    if endpoint.query is None:
        if given:
            raise BadInput("this address takes no query", where=next(iter(given))[:60])
        return None
    try:
        return endpoint.query.model_validate(given)
    except ValidationError as error:
        raise _sentence(error) from None


def _body(endpoint: Endpoint) -> Asked | None:
    if endpoint.takes is None:
        return None
    data = _read(endpoint.most_bytes)
    if request.mimetype != JSON and (data or request.mimetype):
        raise UnsupportedMediaType(f"send JSON: Content-Type: {JSON}")
    try:
        return endpoint.takes.model_validate_json(data or b"{}")
    except ValidationError as error:
        raise _sentence(error) from None


def _raw(endpoint: Endpoint) -> bytes:
    if not endpoint.takes_text:
        return b""
    if request.mimetype not in endpoint.takes_text:
        raise UnsupportedMediaType(f"send one of: {', '.join(endpoint.takes_text)}")
    return b"" if endpoint.streamed else _read(endpoint.most_bytes)


def _read(most: int) -> bytes:
    """The body, of at most so many bytes, whether its length was declared or it came in chunks."""
    # One more than allowed is read, because a body in chunks is otherwise cut at the limit without a word.
    request.max_content_length = most + 1
    if (request.content_length or 0) > most or len(data := request.get_data()) > most:
        raise RequestEntityTooLarge(f"at most {most} bytes")
    return data


def _sentence(error: ValidationError) -> BadInput:
    first = error.errors(include_url=False, include_input=False, include_context=False)[0]
    where = ".".join(str(part)[:60] for part in first["loc"]) or None
    words = {"extra_forbidden": "is not known here", "missing": "is missing"}.get(first["type"], first["msg"])
    return BadInput(words[:1].lower() + words[1:], where=where)


def _answer(result: Any, status: int) -> Response:
    if isinstance(result, Response):
        return result
    if isinstance(result, str):
        return Response(result, status, mimetype=JSON)
    if isinstance(result, Answer):
        result = result.model_dump(mode="json")
    return _json(result, status)


def _json(data: Any, status: int = 200) -> Response:
    from flask import json

    return Response(json.dumps(data), status, mimetype=JSON)


# --- errors: one shape


def _error(status: int, code: str, message: str, where: str | None, errors: list[Any] | None = None) -> Response:
    body: dict[str, Any] = {"code": code, "message": message, "where": where}
    if errors is not None:
        body["errors"] = errors
    return _json({"error": body}, status)


def _coach_error(error: CoachError) -> Response:
    status = getattr(error, "status", None) or next((s for kind, s in _STATUS if isinstance(error, kind)), 400)
    findings = [f.as_dict() for f in error.findings] if isinstance(error, RecipeErrors) else None
    answer = _error(status, error.code, error.message, error.where, findings)
    wait_s = getattr(error, "wait_s", None)
    if wait_s is not None:
        answer.headers["Retry-After"] = str(wait_s)
    return answer


def _http_error(error: HTTPException) -> Response:
    status = error.code or 500
    if status == 404 and request.path.startswith("/api/"):
        return _coach_error(not_there(request.path[:200]))
    code, message = _HTTP_WORDS.get(status, (f"http_{status}", error.name.lower()))
    if isinstance(error, (UnsupportedMediaType, RequestEntityTooLarge)) and error.description:
        message = f"{message}; {error.description}"
    response = _error(status, code, message, request.path[:200])
    for name, value in error.get_headers():
        if name.lower() == "allow":
            response.headers[name] = value
    return response


def _fault(error: Exception) -> Response:
    """A fault of our own: told in the log, and without its insides to the client."""
    logging.getLogger("coach.server").error("%s %s failed", request.method, request.path, exc_info=error)
    code, message = _HTTP_WORDS[500]
    return _error(500, code, message, None)
