"""The Flask app: routes, checks of every request, one shape for every error. No globals: all state is in `services`."""

from __future__ import annotations

import logging
from typing import Any

from flask import Flask, Response, request
from pydantic import ValidationError
from werkzeug.exceptions import HTTPException, RequestEntityTooLarge, UnsupportedMediaType

from coach.errors import BadInput, CoachError, Conflict, NotFound, StoreError
from coach.recipe import RecipeErrors
from coach.server.api import ENDPOINTS, not_there
from coach.server.endpoint import JSON, Call, Endpoint
from coach.server.guard import CSP, check_host, check_origin
from coach.server.live import TooMany
from coach.server.models import Answer, Asked
from coach.server.openapi import describe
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


def create_app(services: Services, static: Static | None = None) -> Flask:
    """The app on `services`.

    Args:
        static: the files of the page; the project's own if left out.
    """
    app = Flask("coach.server", static_folder=None)
    app.json.sort_keys = False  # type: ignore[attr-defined]  # the default provider has it
    app.url_map.strict_slashes = True
    files = static or Static()
    for endpoint in ENDPOINTS:
        app.add_url_rule(
            _rule(endpoint.path), endpoint.name, _view(services, endpoint), methods=[endpoint.method],
            provide_automatic_options=False,
        )  # fmt: skip
    description = describe(ENDPOINTS)
    app.add_url_rule(
        "/api/openapi.json", "openapi", lambda: _json(description), methods=["GET"], provide_automatic_options=False
    )
    app.add_url_rule("/", "page", lambda: files.answer("index.html"), methods=["GET"], provide_automatic_options=False)
    app.add_url_rule("/<path:path>", "file", files.answer, methods=["GET"], provide_automatic_options=False)
    app.before_request(_guard)
    app.after_request(_headers)
    app.register_error_handler(CoachError, _coach_error)
    app.register_error_handler(HTTPException, _http_error)
    app.register_error_handler(Exception, _fault)
    return app


def _rule(path: str) -> str:
    return path.replace("{number}", "<int:number>").replace("{", "<").replace("}", ">")


def _guard() -> None:
    check_host(request.headers.get("Host"))
    if request.method not in {"GET", "HEAD"}:
        check_origin(request.headers.get("Origin"), request.headers.get("Host"), request.headers.get("Sec-Fetch-Site"))


def _headers(response: Response) -> Response:
    response.headers.setdefault("Content-Security-Policy", CSP)
    response.headers.setdefault("X-Content-Type-Options", "nosniff")
    response.headers.setdefault("Referrer-Policy", "no-referrer")
    response.headers.setdefault("Cross-Origin-Opener-Policy", "same-origin")
    response.headers.setdefault("Cross-Origin-Resource-Policy", "same-origin")
    response.headers.setdefault("Cache-Control", "no-store")
    return response


def _view(services: Services, endpoint: Endpoint) -> Any:
    def view(**path: Any) -> Response:
        call = Call(
            services,
            {k: str(v) for k, v in path.items()},
            _query(endpoint),
            _body(endpoint),
            _raw(endpoint),
            request.headers.get,
        )
        return _answer(endpoint.work(call), endpoint.status)

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
    return _read(endpoint.most_bytes)


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
    return _error(status, error.code, error.message, error.where, findings)


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
