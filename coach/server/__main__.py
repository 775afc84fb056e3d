"""Prints the part of docs/reference/http-api.md that is made from the code."""

from __future__ import annotations

import sys

from coach.server.api import ENDPOINTS
from coach.server.openapi import reference

sys.stdout.write(reference(ENDPOINTS))
