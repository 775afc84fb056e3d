"""Endpoints of bundles: made for the page to send, and checked when one comes. The work is done in a child process."""

from __future__ import annotations

import contextlib
import json
import os
import re
import secrets
from collections.abc import Iterator
from pathlib import Path
from threading import BoundedSemaphore
from typing import Annotated, Any

from flask import request, send_file
from pydantic import Field
from werkzeug.exceptions import RequestEntityTooLarge

from coach.bundle.child import check_in_child, make_in_child
from coach.bundle.keys import pins
from coach.bundle.wanted import Wanted
from coach.errors import BundleError, Conflict, NotFound
from coach.server.answers import Answer
from coach.server.endpoint import Call, Endpoint, Result
from coach.server.models import Asked, Short
from coach.store.files import FILE_MODE, TEMPORARY, make_folder, store_error

FOLDER = "bundles"
KEPT = 4
"""Bundles that stay on the laptop for a page to fetch; each can be made again to the byte."""
MOST_BYTES = 64 * 2**20
TOO_LARGE = f"at most {MOST_BYTES >> 20} MB; check a larger one with: coach bundle check"
CHECK_S = 120.0
ZIP = "application/zip"
NAME = "bundle.zip"
"""What a bundle that came is called in sentences: nobody knows the name under which it waits to be checked."""

_TURNS = BoundedSemaphore(2)
"""Child processes at a time: a laptop in a car has a drive to record."""


class MakeBundle(Asked):
    """What is to be sent."""

    drives: Annotated[list[Short], Field(min_length=1, max_length=100)] = Field(description="Ids of the drives.")
    whole: bool = Field(False, description="Every signal from end to end, as tables too.")
    full_vin: bool = Field(False, description="The vehicle's number as it is; else its last four places.")


class BundleMade(Answer):
    """A bundle, made."""

    id: str = Field(description="Its name for `GET /api/bundles/{id}.zip`.")
    size: int = Field(description="Bytes.")
    sha256: str
    fingerprint: str = Field(description="Of the key that signed it.")
    whole: bool
    full_vin: bool
    contents: list[dict[str, Any]] = Field(description="What is inside, drive by drive.")
    files: list[dict[str, Any]] = Field(description="Every file in it: `path`, `size`, `packed`.")


class BundleChecked(Answer):
    """What a check found, the same as `coach bundle check --json`."""

    sha256: str
    ok: bool
    same_verdict: bool
    sentence: str
    signed_by: dict[str, Any] | None
    problems: list[dict[str, Any]]
    warnings: list[dict[str, Any]]
    drives: list[dict[str, Any]]


def make(call: Call) -> Result:
    """Makes a bundle."""
    store, asked = call.services.store, call.body
    for drive in asked.drives:
        store.drive(drive)
    folder = store.folder / FOLDER
    with arriving(folder, NAME) as part:
        with _turn():
            made = make_in_child(store.folder, asked.drives, part, Wanted(whole=asked.whole, full_vin=asked.full_vin))
        part.replace(folder / f"{made['sha256']}.zip")
        _tidy(folder, made["sha256"])
    return {"id": made["sha256"], **made}


def _tidy(folder: Path, newest: str) -> None:
    """Keeps the last few."""
    with contextlib.suppress(OSError):  # another request tidies too
        others = [p for p in folder.glob("*.zip") if p.stem != newest]
        for old in sorted(others, key=lambda p: p.stat().st_mtime, reverse=True)[KEPT - 1 :]:
            old.unlink(missing_ok=True)


def fetch(call: Call) -> Result:
    """Hands out a bundle that was made."""
    name = call.path["id"]
    path = call.services.store.folder / FOLDER / f"{name}.zip"
    if not re.fullmatch(r"[0-9a-f]{64}", name) or not path.is_file():
        raise NotFound("there is no such bundle any more; make it again", where=name[:80])
    return send_file(path.resolve(), ZIP, as_attachment=True, download_name=f"bundle-{name[:8]}.zip", max_age=0)


def check(call: Call) -> Result:
    """Checks a bundle that comes as the body."""
    folder = call.services.store.folder
    with arriving(folder / FOLDER, NAME) as part, _turn():
        receive(part)
        found = check_in_child(part, pins(folder), seconds=CHECK_S)
    named: dict[str, Any] = json.loads(json.dumps(found).replace(part.name, NAME))
    return named


@contextlib.contextmanager
def arriving(folder: Path, name: str) -> Iterator[Path]:
    """Where a bundle is until it is whole; errors call it `name`, what is left is removed. Raises StoreError."""
    make_folder(folder)
    part = folder / f"{secrets.token_hex(8)}{TEMPORARY}"
    try:
        yield part
    except BundleError as error:
        raise BundleError(error.message, where=(error.where or name).replace(part.name, name)) from None
    except OSError as error:
        if hasattr(error, "code"):
            raise
        raise store_error(error, folder) from error
    finally:
        with contextlib.suppress(OSError):
            part.unlink()


def receive(part: Path) -> None:
    """Puts the body into a file, a piece at a time. Raises RequestEntityTooLarge, with no more kept than is allowed."""
    if (request.content_length or 0) > MOST_BYTES:
        raise RequestEntityTooLarge(TOO_LARGE)
    request.max_content_length = MOST_BYTES + 1
    size = 0
    with os.fdopen(os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, FILE_MODE), "wb") as file:
        while piece := request.stream.read(2**16):
            size += len(piece)
            if size > MOST_BYTES:
                raise RequestEntityTooLarge(TOO_LARGE)
            file.write(piece)


@contextlib.contextmanager
def _turn() -> Iterator[None]:
    if not _TURNS.acquire(blocking=False):
        raise Conflict("two bundles are being made or checked already; try again in a moment")
    try:
        yield
    finally:
        _TURNS.release()


BUNDLE_ENDPOINTS: tuple[Endpoint, ...] = (
    Endpoint(
        "POST", "/api/bundles", "Makes a bundle of finished drives, signed; the same wishes give the same bytes.", make,
        takes=MakeBundle, gives=BundleMade, status=201, errors=(400, 404, 409),
    ),
    Endpoint(
        "GET", "/api/bundles/{id}.zip", "A bundle that was made lately.", fetch, media=ZIP, errors=(404,),
    ),
    Endpoint(
        "POST", "/api/bundles/check",
        "Checks a bundle: hashes, signature, the verdict judged again from the samples inside. Nothing is kept.", check,
        takes_text=(ZIP, "application/x-zip-compressed", "application/octet-stream"), gives=BundleChecked,
        most_bytes=MOST_BYTES, errors=(400, 409), streamed=True,
    ),
)  # fmt: skip
