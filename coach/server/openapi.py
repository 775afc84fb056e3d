"""The OpenAPI 3.1 description, made from the endpoints and the models that check requests; and the same for people."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Any

from pydantic import BaseModel
from pydantic.json_schema import models_json_schema

from coach import __version__
from coach.server.answers import Error
from coach.server.endpoint import JSON, Endpoint

_REF = "#/components/schemas/{model}"
_WHY = {
    400: "The request cannot be used.",
    401: "The device is not joined.",
    403: "Another page asks, or under a foreign name, or the device may not ask for this.",
    404: "There is no such thing.",
    409: "It does not fit the present state.",
    413: "The body is too large.",
    415: "The body is of a type that is not taken here.",
    429: "Too many wrong attempts.",
    500: "A fault of the server's own.",
    503: "Too many pages are watching.",
    507: "The data folder cannot be written or read.",
}


def describe(endpoints: Iterable[Endpoint]) -> dict[str, Any]:
    """The description as JSON-able data."""
    endpoints = tuple(endpoints)
    models: dict[type[BaseModel], None] = {Error: None}
    for e in endpoints:
        models.update({m: None for m in (e.takes, e.gives) if m is not None})
    _, shared = models_json_schema([(m, "validation") for m in models], ref_template=_REF)
    paths: dict[str, dict[str, Any]] = {}
    for e in endpoints:
        paths.setdefault(e.path, {})[e.method.lower()] = _operation(e)
    return {
        "openapi": "3.1.0",
        "info": {
            "title": "Log capture coach",
            "version": __version__,
            "description": "On the loopback address, and with `--lan` on the network for joined devices. "
            "Every error has one shape: "
            '`{"error": {"code", "message", "where"}}`.',
        },
        "paths": paths,
        "components": {"schemas": shared["$defs"]},
    }


def _operation(e: Endpoint) -> dict[str, Any]:
    made: dict[str, Any] = {"operationId": e.name, "summary": e.summary, "parameters": _parameters(e)}
    if e.takes is not None:
        made["requestBody"] = {"required": bool(e.takes.model_json_schema().get("required")),
                               "content": {JSON: {"schema": _ref(e.takes)}}}  # fmt: skip
    elif e.takes_text:
        made["requestBody"] = {
            "required": True,
            "content": {t: {"schema": {"type": "string", "maxLength": e.most_bytes}} for t in e.takes_text},
        }
    schema = {"type": "string"} if e.gives is None else _ref(e.gives)
    answers: dict[str, Any] = {str(e.status): {"description": "Done.", "content": {e.media: {"schema": schema}}}}
    body = e.takes is not None or bool(e.takes_text)
    for status in sorted({*e.errors, 401, 403, 500, 507, *((400, 413, 415) if body else ())}):
        answers[str(status)] = {"description": _WHY[status], "content": {JSON: {"schema": _ref(Error)}}}
    made["responses"] = answers
    return made


def _ref(model: type[BaseModel]) -> dict[str, str]:
    return {"$ref": _REF.format(model=model.__name__)}


def _parameters(e: Endpoint) -> list[dict[str, Any]]:
    made = []
    for name in re.findall(r"{(\w+)}", e.path):
        kind = {"type": "integer", "minimum": 0} if name == "number" else {"type": "string"}
        made.append({"name": name, "in": "path", "required": True, "schema": kind})
    if e.query is not None:
        schema = e.query.model_json_schema()
        for name, part in schema["properties"].items():
            required = name in schema.get("required", [])
            made.append({"name": name, "in": "query", "required": required, "schema": part,
                         "description": part.get("description", "")})  # fmt: skip
    return made


def reference(endpoints: Iterable[Endpoint]) -> str:
    """The endpoints for people, in Markdown: `docs/reference/http-api.md` ends with it, and a test compares."""
    lines = ["## Endpoints\n"]
    for e in endpoints:
        lines.append(f"### `{e.method} {e.path}`\n\n{e.summary}\n")
        if e.query is not None:
            lines.append("Query:\n\n" + _fields(e.query))
        if e.takes is not None and e.takes.model_fields:
            lines.append("Body (JSON):\n\n" + _fields(e.takes))
        elif e.takes_text:
            lines.append(f"Body: {', '.join(f'`{t}`' for t in e.takes_text)}, at most {e.most_bytes} bytes.\n")
        if e.gives is not None and e.gives.model_fields:
            status = "" if e.status == 200 else f" ({e.status})"
            lines.append(f"Answer{status}:\n\n" + _fields(e.gives))
        elif e.media != JSON:
            lines.append(f"Answer: `{e.media}`.\n")
    return "\n".join(lines)


def _fields(model: type[BaseModel]) -> str:
    rows = ["| key | type | meaning |", "|---|---|---|"]
    for name, field in model.model_fields.items():
        kind = _kind(model.model_json_schema(ref_template="{model}")["properties"][name])
        meaning = field.description or ""
        if not field.is_required() and field.default not in (None, []):
            meaning = f"{meaning} Default: {field.default}.".strip()
        rows.append(f"| `{name}` | {kind} | {meaning} |")
    return "\n".join(rows) + "\n"


def _kind(schema: dict[str, Any]) -> str:
    if "$ref" in schema:
        return str(schema["$ref"])
    if "enum" in schema:
        return " or ".join(f"`{v}`" for v in schema["enum"])
    if "const" in schema:
        return f"`{schema['const']}`"
    if "anyOf" in schema:
        return " or ".join(_kind(part) for part in schema["anyOf"])
    if schema.get("type") == "array":
        return f"list of {_kind(schema['items'])}" if schema.get("items") else "list"
    return str(schema.get("type", "anything"))
