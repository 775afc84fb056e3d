"""Answers about drives are packed for who can unpack them; nothing else is."""

from __future__ import annotations

import gzip
import json

from coach.server.packing import LEAST_BYTES, PACKED

GZIP = {"Accept-Encoding": "gzip"}


def test_a_verdict_comes_packed_and_is_the_same(client, drive):
    """The same bytes, fewer of them on the way, and said so to whatever keeps answers in between."""
    path = f"/api/drives/{drive().id}/attempts"
    plain, packed = client.get(path), client.get(path, headers=GZIP)
    assert len(plain.data) > LEAST_BYTES
    assert packed.headers["Content-Encoding"] == "gzip"
    assert packed.headers["Vary"] == "Accept-Encoding"
    assert packed.headers["Content-Length"] == str(len(packed.data))
    assert len(packed.data) < len(plain.data) / 2
    assert json.loads(gzip.decompress(packed.data)) == plain.json
    assert "Content-Encoding" not in plain.headers
    assert "Content-Encoding" not in client.get(path, headers={"Accept-Encoding": "gzip;q=0"}).headers


def test_what_is_short_refused_or_elsewhere_is_not_packed(client, drive):
    """A packed error is no use, a short answer no smaller; where a secret may stand, its length must not tell of it."""
    made = drive()
    assert not any(path.startswith(("/api/devices", "/api/pair", "/api/me")) for path in PACKED)
    for path in ("/api/recipes", "/api/me", f"/api/drives/{made.id}/none", "/api/openapi.json"):
        assert "Content-Encoding" not in client.get(path, headers=GZIP).headers


def test_a_table_and_the_stream_are_left_alone(client, drive):
    """They are made while they are sent."""
    made = drive()
    attempts = client.get(f"/api/drives/{made.id}/attempts").json
    one = next(one for one in attempts["captures"] if one["attempts"])
    path = f"/api/drives/{made.id}/windows/{one['id']}/{one['attempts'][0]['number']}.csv"
    table = client.get(path, headers=GZIP)
    assert "Content-Encoding" not in table.headers
    table.close()
    stream = client.get("/api/live", headers=GZIP)
    assert "Content-Encoding" not in stream.headers
    stream.close()
