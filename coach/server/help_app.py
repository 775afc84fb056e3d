"""The plain door: an app of the help page, its own files and the certificate. It is given no services."""

from __future__ import annotations

from flask import Flask, Response, request

from coach.errors import CoachError
from coach.server.guard import check_host, close_doors
from coach.server.helppage import FILES, PUBLIC, HelpPage
from coach.server.joining import Joining
from coach.server.static import Static


def create_help_app(joining: Joining, static: Static | None = None) -> Flask:
    """The app of the plain door, with all that a phone needs before it trusts the laptop."""
    app = Flask("coach.server.help", static_folder=None)
    files, pages = static or Static(), HelpPage(joining, plain=True)

    def answer(path: str = "") -> Response:
        if path in FILES or path.startswith(PUBLIC):
            return files.answer(path)
        return pages.answer(f"/{path}")

    app.add_url_rule("/", "page", answer, methods=["GET"], provide_automatic_options=False)
    app.add_url_rule("/<path:path>", "file", answer, methods=["GET"], provide_automatic_options=False)
    app.before_request(lambda: check_host(request.headers.get("Host"), joining.hosts()))
    app.after_request(_close_plain_doors)
    app.register_error_handler(CoachError, _refused)
    return app


def _close_plain_doors(response: Response) -> Response:
    response = close_doors(response)
    # Browsers ignore it over plain http, and complain about it.
    del response.headers["Cross-Origin-Opener-Policy"]
    return response


def _refused(error: CoachError) -> Response:
    return Response(f"{error.message}\n", getattr(error, "status", 400), mimetype="text/plain")
