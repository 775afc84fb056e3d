"""Answers about drives, packed for who can unpack them: over a weak Wi-Fi the bytes cost more than the packing.

Only what holds no secret is packed: how well something packs tells of what is in it.
"""

from __future__ import annotations

import gzip

from flask import Response, request

PACKED = ("/api/state", "/api/drives")
"""Beginnings of the addresses of what is packed."""
LEAST_BYTES = 800
MOST_BYTES = 4_000_000
"""More than that is a file to be taken away; packing it would hold up the live loop."""
LEVEL = 6


def pack_json(response: Response) -> Response:
    """The answer, packed where that is asked for and helps."""
    fits = response.status_code == 200 and response.mimetype == "application/json" and response.is_sequence
    if not fits or not request.path.startswith(PACKED) or request.accept_encodings.quality("gzip") <= 0:
        return response
    body = response.get_data()
    if LEAST_BYTES <= len(body) <= MOST_BYTES and "Content-Encoding" not in response.headers:
        response.set_data(gzip.compress(body, LEVEL, mtime=0))
        response.headers["Content-Encoding"] = "gzip"
        response.headers["Vary"] = "Accept-Encoding"
    return response
