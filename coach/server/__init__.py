"""The web server: JSON API, live stream and the page's files, on the loopback address."""

from __future__ import annotations

from coach.server.app import create_app
from coach.server.run import Demo, serve
from coach.server.services import Services

__all__ = ["Demo", "Services", "create_app", "serve"]
