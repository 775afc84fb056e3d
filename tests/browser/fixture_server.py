"""A stand-in for the server: the real page, canned answers, any face at a word. Kept as the page's test harness."""

from __future__ import annotations

import json
import math
import queue
import threading
from collections.abc import Iterable, Iterator
from copy import deepcopy
from dataclasses import asdict
from functools import cached_property
from typing import TYPE_CHECKING, Any

from flask import Flask, Response, abort, jsonify, request
from werkzeug.serving import WSGIRequestHandler, make_server
from werkzeug.wrappers import Response as Answer

from coach.facts import FACTS
from coach.server.guard import CSP
from coach.server.static import Static
from coach.words import load_words
from tests.browser import faces
from tests.browser.slow import hold_back

if TYPE_CHECKING:
    from wsgiref.types import StartResponse, WSGIEnvironment

RECIPE: dict[str, Any] = {
    "sha256": "f00d",
    "title": "Part load, roll-on and a settled idle",
    "revision": 2,
    "note": "Fill up first. Windows shut, air conditioning off.",
    "minutes": 40,
    "notes": ["law", "closed_course", "open_air", "warning_lamp", "driver_drives"],
    "findings": [],
    "captures": [
        {
            "id": "part-load",
            "title": "Steady part load",
            "kind": "hold",
            "place": "road",
            "times": 1,
            "sentence": "Hold 72–88 km/h in fifth for 3 minutes.",
        },
        {
            "id": "roll-on",
            "title": "Full pedal in fourth",
            "kind": "sweep",
            "place": "closed course",
            "times": 2,
            "limited": True,
            "sentence": "From 2200 to 4600 rpm, twice. Boost never over 95 kPa.",
            "limits": "95 kPa boost or 108 °C",
        },
        {
            "id": "settled-idle",
            "title": "Warm idle",
            "kind": "hold",
            "place": "parked",
            "times": 1,
            "sentence": "Stand still and let it idle for 90 seconds.",
        },
    ],
}
SOURCES = [
    {
        "id": "all-good",
        "kind": "replay",
        "title": "Everything qualifies",
        "text": "41 minutes, recorded.",
    },
    {
        "id": "simulator",
        "kind": "simulator",
        "title": "Simulator",
        "text": "A turbocharged hatchback, driven by a script.",
    },
]
MARKS = {
    "ready": [
        ("link", "ok", "Engine running, 13.9 V. Answers in 41 ms."),
        ("signals", "ok", "6 of 6 found, each at the rate asked."),
        ("engine", "warn", "Coolant 54 °C. The first 6 minutes warm it up."),
        ("road", "warn", "Full pedal in fourth reaches about 118 km/h: closed course only."),
        ("room", "ok", "Space for 9 hours of recording."),
    ],
    "blocked": [
        (
            "signals",
            "bad",
            "Boost ends too low: this car shows manifold pressure only up to 255 kPa, the limit asked needs 262.",
        ),
        ("engine", "bad", "Pedal comes 4 times a second, 8 are asked."),
        ("link", "ok", "Engine running, 13.9 V."),
        ("room", "ok", "Space for 9 hours."),
    ],
    "looking": [
        ("link", "ok", "Adapter found. Asking the engine."),
        ("signals", "looking", "4 of 6 so far."),
        ("engine", "todo", "Not asked yet."),
        ("road", "todo", "Not asked yet."),
        ("room", "ok", "Space for 9 hours of recording."),
    ],
}


def _attempt(
    number: int, outcome: str, start: float, length: float, text: str = "", remedy: str = "", **rest: Any
) -> dict[str, Any]:
    end = start + length
    reason = {"code": "high", "signal": "road_speed", "value": 91.0, "bound": 88.0, "t_s": end, "text": text}
    return {
        "number": number,
        "outcome": outcome,
        "start_s": start,
        "end_s": end,
        "duration_s": length,
        "secured_s": end - 4 if outcome == "secured" else None,
        "reason": reason if text else None,
        "remedy": remedy or None,
        "excursions": [],
        "progress": 1.0 if outcome == "secured" else 0.79,
        "small": False,
        **rest,
    }


OUT = {"signal": "road_speed", "start_s": 800.0, "duration_s": 0.6, "peak": 89.0}
VERDICT: dict[str, Any] = {
    "recipe": {"title": RECIPE["title"], "revision": 2, "sha256": "f00d"},
    "drive": {"duration_s": 2460.0, "samples": 98000, "signals": {}},
    "rules": 1,
    "alarms": [],
    "notes": [],
    "captures": [
        {
            "id": "part-load",
            "title": "Steady part load",
            "kind": "hold",
            "place": "road",
            "asked": 1,
            "qualified": 1,
            "best": 1,
            "never": None,
            "attempts": [
                _attempt(0, "missed", 492, 151, "Too fast: 91 km/h against 88 at 10:43.", "Stay under 88 km/h."),
                _attempt(1, "secured", 762, 204, "Too fast: 90 km/h against 88 at 16:06.", excursions=[OUT]),
            ],
        },
        {
            "id": "roll-on",
            "title": "Full pedal in fourth",
            "kind": "sweep",
            "place": "closed course",
            "asked": 2,
            "qualified": 2,
            "best": 1,
            "never": None,
            "attempts": [
                _attempt(
                    0, "stopped", 1320, 5.1, "Limit passed: Boost 99 kPa, limit 95, at 22:05.", "Tell the calibrator."
                ),
                _attempt(1, "secured", 1476, 9.8),
                _attempt(2, "secured", 1722, 9.6),
            ],
        },
        {
            "id": "settled-idle",
            "title": "Warm idle",
            "kind": "hold",
            "place": "parked",
            "asked": 1,
            "qualified": 0,
            "best": 0,
            "never": None,
            "attempts": [
                _attempt(0, "missed", 2220, 71, "Engine 1032 rpm against 1000 at 38:11.", "Stay under 1000 rpm.")
            ],
        },
    ],
}


def _signal(name: str, title: str, unit: str, times: list[float], values: list[float], **rest: Any) -> dict[str, Any]:
    base = {"signal": name, "name": title, "unit": unit, "discrete": False, "t_s": times, "values": values, "low": None}
    figures = {"mean": sum(values) / len(values), "least": min(values), "most": max(values)}
    return {**base, "high": None, "limit": None, "asked": "", "rate_hz": 4.0, "max_gap_s": 0.31, **figures, **rest}


def _window() -> dict[str, Any]:
    times = [750 + n * 0.5 for n in range(448)]
    since = [t - 762 for t in times]
    outside = [max(0.0, -t, t - 204) for t in since]
    speed = [
        round(80 + 4 * math.sin(t / 17) + 2.2 * math.sin(t / 7 + 1) + out * (-1.2 if t < 0 else 1), 1)
        for t, out in zip(since, outside, strict=True)
    ]
    coolant = [round(87 + 0.9 * math.sin(t / 40), 1) for t in times]
    pedal = [round(24 + 3 * math.sin(t / 9), 1) for t in times]
    return {
        "drive": "d1",
        "capture": "part-load",
        "number": 1,
        "outcome": "secured",
        "start_s": 762.0,
        "end_s": 966.0,
        "secured_s": 942.0,
        "signals": [
            _signal("road_speed", "Speed", "km/h", times, speed, low=72.0, high=88.0, asked="72 to 88"),
            _signal("gear", "Gear", "", times, [5.0] * len(times), low=5.0, high=5.0, asked="fifth", discrete=True),
            _signal("coolant_temp", "Coolant", "°C", times, coolant, low=80.0, asked="80 or more", rate_hz=0.5),
            _signal("pedal", "Pedal", "%", times, pedal, rate_hz=8.1, max_gap_s=0.16),
        ],
    }


PING_S = 1.0
"""So often the stream speaks when nothing happens, as a server's does; else the page has lost the laptop."""
DRIVE = {
    "id": "d1",
    "title": RECIPE["title"],
    "started_at": "2026-05-04T12:02:00Z",
    "duration_s": 2460.0,
    "asked": 3,
    "qualified": 2,
    "error": None,
    "recovered": False,
}


class Quiet(WSGIRequestHandler):
    """Writes no line for each request: thousands of them, and nobody reads one."""

    def log_request(self, code: int | str = "-", size: int | str = "-") -> None:
        """Says nothing."""


class FixtureServer:
    """The page over canned answers.

    Attributes:
        car: what is known of the car.
        answers: what a POST is answered with, by its path; others get a drive's id.
        marks: which answer /api/ready gives.
        recipes: what /api/recipes lists.
        posts: every POST as (path below /api/, body), for tests to look at.
        vendor: whether web/vendor is served.
        mute: whether streams are opened and then say nothing, as over a network that loses everything.
    """

    def __init__(self) -> None:
        self.reset()
        self._streams: list[queue.Queue[dict[str, Any] | None]] = []
        self._count = 0
        self._files: dict[tuple[str, ...], Answer] = {}
        self._server = make_server("127.0.0.1", 0, self._answer, threaded=True, request_handler=Quiet)
        self._server.daemon_threads = True
        threading.Thread(target=self._server.serve_forever, daemon=True).start()
        self.url = f"http://127.0.0.1:{self._server.server_port}"

    def reset(self) -> None:
        """As at the start."""
        self.face = "none"
        self.marks = "ready"
        self.marks_now: list[dict[str, Any]] = []
        self.recipes: list[dict[str, Any]] = [RECIPE]
        self.sources: list[dict[str, Any]] = SOURCES
        self.posts: list[tuple[str, Any]] = []
        self.car: dict[str, Any] = {
            "facts": {"octane": "98"}, "confirmed": None, "asked": [asdict(fact) for fact in FACTS], "pedal": None,
            "dial": None,
        }  # fmt: skip
        self.answers: dict[str, Any] = {}
        self.recipe_notes: list[str] = RECIPE["notes"]
        self.vendor = True
        self.mute = False

    def close(self) -> None:
        """Stops serving."""
        self.hang_up()
        self._server.shutdown()

    @property
    def face(self) -> str:
        """Name of the face that is in force until the next state is pushed."""
        return self._face

    @face.setter
    def face(self, name: str) -> None:
        self._face, self._pushed = name, None

    def push(self, state: dict[str, Any]) -> None:
        """Sends a live state to every open stream; a page whose stream is only coming hears it too, as of a server."""
        state = self._pushed = deepcopy(state)
        for stream in list(self._streams):
            stream.put(state)

    def hang_up(self) -> None:
        """Ends every open stream."""
        for stream in list(self._streams):
            stream.put(None)

    def state(self) -> dict[str, Any]:
        """The live state: the last that was pushed, else that of the present face."""
        if self._pushed is not None:
            return self._pushed
        if self.face in faces.FACES:
            return faces.copy(self.face)
        none = faces.copy("hold")
        none["drive"] |= {"phase": "none", "id": None}
        return none | {"lead": None, "captures": []}

    def _answer(self, environ: WSGIEnvironment, start_response: StartResponse) -> Iterable[bytes]:
        """What any server answers; the page's files from memory, since every test asks for all of them once more."""
        path = environ["PATH_INFO"]
        hidden = path.startswith("/vendor/") and not self.vendor
        if environ["REQUEST_METHOD"] != "GET" or path.startswith("/api/") or hidden:
            return self._app(environ, start_response)
        key = (path, environ.get("HTTP_ACCEPT_ENCODING", ""), environ.get("HTTP_IF_NONE_MATCH", ""))
        if key not in self._files:
            self._files[key] = Answer.from_app(self._app, environ, buffered=True)
        return self._files[key](environ, start_response)

    def _stream(self) -> Iterator[str]:
        mine: queue.Queue[dict[str, Any] | None] = queue.Queue()
        self._streams.append(mine)
        mine.put(self.state())
        try:
            while True:
                try:
                    state = mine.get(timeout=PING_S)
                except queue.Empty:
                    yield ": nothing\n\n" if self.mute else "event: ping\ndata: {}\n\n"
                    continue
                if state is None:
                    return
                if self.mute:
                    yield ": nothing\n\n"
                    continue
                self._count += 1
                yield f"id: boot-{self._count}\nevent: state\ndata: {json.dumps(state)}\n\n"
        finally:
            self._streams.remove(mine)

    @cached_property
    def _app(self) -> Flask:
        app = Flask(__name__, static_folder=None)
        files = Static()

        @app.before_request
        def late() -> None:
            if request.path.startswith("/api/"):
                hold_back()

        @app.after_request
        def policy(response: Response) -> Response:
            response.headers["Content-Security-Policy"] = CSP
            response.headers["X-Content-Type-Options"] = "nosniff"
            return response

        @app.get("/")
        def index() -> Response:
            return files.answer("index.html")

        @app.get("/<path:name>")
        def file(name: str) -> Response:
            if name.startswith("vendor/") and not self.vendor:
                abort(404)
            return files.answer(name)

        @app.get("/api/live")
        def live() -> Response:
            return Response(self._stream(), mimetype="text/event-stream")

        @app.post("/api/<path:name>")
        def post(name: str) -> tuple[Response, int]:
            body = request.get_data(as_text=True) if name == "recipes" else request.get_json(silent=True)
            self.posts.append((name, body))
            if name == "recipes" and "format = 1" not in body:
                message = "The recipe is not TOML: a key is expected at line 1."
                return jsonify(error={"code": "bad_input", "message": message, "where": "line 1"}), 400
            if name == "recipes":
                return jsonify(sha256="f00d"), 201
            if name == "drives":  # it is under way
                self.push(self.state())
            return jsonify(self.answers.get(name, {"id": "d1"})), 201

        canned: dict[str, Any] = {
            "about": lambda: {"name": "coach", "version": "0", "boot": "boot", "rules": 1, "languages": []},
            "words": lambda: load_words().get(request.args.get("section", "page")),
            "state": self.state,
            "recipes": lambda: {"recipes": self.recipes},
            "recipes/f00d": lambda: RECIPE | {"notes": self.recipe_notes},
            "sources": lambda: {"sources": self.sources},
            "cars/link:0": lambda: self.car,
            "ready": lambda: {
                "marks": self.marks_now or [{"id": i, "state": s, "text": text} for i, s, text in MARKS[self.marks]]
            },
            "drives": lambda: {
                "drives": [{"id": "d1", "title": RECIPE["title"], "duration_s": 2460.0, "asked": 3, "qualified": 2}]
            },
            "drives/d1": lambda: DRIVE,
            "drives/d1/attempts": lambda: VERDICT,
            "drives/d1/windows/part-load/1": _window,
            "drives/d1/lane": lambda: {"points": self._points()},
        }

        @app.get("/api/<path:name>")
        def get(name: str) -> Response:
            if name.endswith(".csv"):
                return Response("t_s,road_speed [km/h]\n0.0,80\n", mimetype="text/csv")
            if name.endswith(".zip"):
                return Response(b"PK\3\4", mimetype="application/zip")
            if name not in canned:
                abort(404)
            return jsonify(canned[name]())

        return app

    def _points(self) -> list[list[float]]:
        if self.face in faces.FACES:
            return faces.thread(self.face)
        return faces.boost_thread(1.0, 0.9) if request.args.get("capture") == "roll-on" else faces.speed_thread(1.0)


if __name__ == "__main__":
    import sys

    server = FixtureServer()
    server.face = sys.argv[1] if len(sys.argv) > 1 else "none"
    print(server.url, flush=True)
    threading.Event().wait()
