"""The live stream on a real server: gapless resume, honest gaps, slow clients, a clean stop."""

import errno
import json
import os
import signal
import socket
import subprocess
import sys
import threading
from http.client import HTTPConnection
from itertools import islice
from pathlib import Path

import pytest

from coach.clock import Clock
from coach.drive.ring import Ring
from coach.errors import BadInput, Conflict, StoreError
from coach.server import Demo, serve
from coach.server import live as live_module
from coach.server.run import listen
from coach.server.services import MOST_STREAMS
from coach.store import Store


def test_a_stream_begins_with_the_state_and_brings_what_happens(live):
    """A snapshot first, then every message in order, each with its id."""
    stream = live.stream()
    number, kind, data = next(stream)
    assert (number, kind, data["drive"]["phase"]) == (f"{live.services.boot}-0", "state", "none")
    for k in range(3):
        live.services.ring.publish("judge", {"k": k})
    assert [(i, e, d) for i, e, d in islice(stream, 3)] == [
        (f"{live.services.boot}-{k + 1}", "judge", {"k": k}) for k in range(3)
    ]


def test_who_comes_back_goes_on_where_it_left(live):
    """Last-Event-ID, by header or query: nothing twice, nothing left out."""
    ring, boot = live.services.ring, live.services.boot
    for k in range(5):
        ring.publish("judge", {"k": k})
    stream = live.stream(f"{boot}-2")
    assert next(stream)[1:] == ("resumed", {"messages": 3})
    assert [d["k"] for _, _, d in islice(stream, 3)] == [2, 3, 4]
    connection = HTTPConnection("127.0.0.1", live.port, timeout=60)
    connection.request("GET", f"/api/live?last={boot}-4")
    lines = connection.getresponse()
    assert lines.readline() == b"retry: 1000\n"
    lines.readline()
    # `resumed` has no id: whoever is cut off right after it is no farther than before.
    assert [lines.readline() for _ in range(3)] == [b"event: resumed\n", b'data: {"messages": 1}\n', b"\n"]
    assert lines.readline() == f"id: {boot}-5\n".encode()
    connection.close()


@pytest.mark.parametrize("last", ["otherboot-2", "nonsense", "-", "-1", "{boot}-99", "{boot}-x", "{boot}-" + "9" * 30])
def test_who_was_away_too_long_is_told_so(live, last):
    """Another boot, a number that never was: a gap, then the state."""
    for k in range(5):
        live.services.ring.publish("judge", {"k": k})
    stream = live.stream(last.format(boot=live.services.boot))
    assert [e for _, e, _ in islice(stream, 2)] == ["gap", "state"]


def test_who_knew_an_earlier_start_gets_all_of_this_one(live):
    """After a restart of the server nothing of its new life was seen before: a gap, the state, then all of it."""
    ring, boot = live.services.ring, live.services.boot
    for k in range(5):
        ring.publish("judge", {"k": k})
    stream = live.stream("0badb007-412")
    (gap_id, gap, told), (state_id, state, _), (no_id, resumed, many) = islice(stream, 3)
    assert (gap_id, gap, told) == (f"{boot}-0", "gap", {"after": "0badb007-412", "restarted": True})
    assert (state_id, state) == (f"{boot}-0", "state")
    assert (no_id, resumed, many) == (None, "resumed", {"messages": 5})
    assert [(i, d["k"]) for i, _, d in islice(stream, 5)] == [(f"{boot}-{k + 1}", k) for k in range(5)]


def test_who_missed_more_than_is_kept_is_told_so(live):
    """The ring is bounded: what is gone is said to be gone."""
    live.services.ring = ring = Ring(3)
    for k in range(10):
        ring.publish("judge", {"k": k})
    stream = live.stream(f"{live.services.boot}-2")
    assert [e for _, e, _ in islice(stream, 2)] == ["gap", "state"]
    ring.publish("judge", {"k": 10})
    assert next(stream)[2] == {"k": 10}


def test_a_reader_too_slow_for_the_ring_gets_a_gap(services):
    """It is not disconnected, and not lied to."""
    services.ring = ring = Ring(3)
    stream = live_module.events(services, None)
    next(stream)
    next(stream)
    for k in range(10):
        ring.publish("judge", {"k": k})
    assert b"event: gap" in next(stream)
    assert b"event: state" in next(stream)
    ring.close()
    assert list(stream) == []


def test_silence_is_filled_with_a_heartbeat(services, monkeypatch):
    """So that a page knows the line is alive."""
    monkeypatch.setattr(live_module, "HEARTBEAT_S", 0.0)
    stream = live_module.events(services, None)
    next(stream)
    next(stream)
    assert next(stream) == b"event: ping\ndata: {}\n\n"


def test_a_client_that_stops_reading_holds_up_nobody(live):
    """Its buffers fill, it is left behind; the others and the API go on."""
    stuck = socket.create_connection(("127.0.0.1", live.port))
    stuck.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
    stuck.sendall(b"GET /api/live HTTP/1.1\r\nHost: localhost\r\n\r\n")
    stream = live.stream()
    next(stream)
    fill = {"x": "y" * 10_000}
    for _ in range(400):
        live.services.ring.publish("judge", fill)
    live.services.ring.publish("drive", {"end": True})
    assert any(d.get("end") for _, e, d in stream if e == "drive")
    assert live.ask("GET", "/api/about")[0] == 200
    stuck.close()


def test_there_is_room_left_for_everything_else(live, wait_for):
    """Streams beyond the limit are refused in the one shape; one that goes makes room."""
    streams = [live.stream() for _ in range(MOST_STREAMS)]
    for stream in streams:
        next(stream)
    status, _headers, body = live.ask("GET", "/api/live")
    assert status == 503
    assert json.loads(body)["error"]["code"] == "too_many"
    assert live.ask("GET", "/api/about")[0] == 200
    live.open[0].sock.shutdown(socket.SHUT_RDWR)
    live.open[0].close()

    def room():
        live.services.ring.publish("judge", {})
        return live.ask("GET", "/api/live?strange=1")[0] == 400 and live.services.streams.acquire(blocking=False)

    wait_for(room)


def test_the_end_of_the_server_ends_the_streams(live):
    """A page that listens does not keep the server alive."""
    stream = live.stream()
    next(stream)
    live.services.ring.close()
    assert list(stream) == []
    clock = Clock()
    before = clock.steady_us()
    live.server.stop()
    assert clock.steady_us() - before < 2_000_000


def test_large_bodies_are_refused_whatever_their_length_says(live):
    """Declared too large, or sent in chunks: the same shape, and the server goes on."""
    status, _, body = live.ask("POST", "/api/recipes", b" " * 300_000, {"Content-Type": "application/toml"})
    assert status == 413
    assert json.loads(body)["error"]["code"] == "too_large"
    chunks = (b" " * 1000 for _ in range(400))
    status, _, body = live.ask("POST", "/api/recipes", chunks, {"Content-Type": "application/toml"})
    assert (status, json.loads(body)["error"]["code"]) == (413, "too_large")
    assert live.ask("GET", "/api/about")[0] == 200


def test_a_drive_is_told_live_from_its_first_event_to_the_saved_windows(live, drive, services):
    """The whole stream of a replay: phases, states, judge's events in order, and saved after secured."""
    stream = live.stream()
    next(stream)
    made = drive("replay:everything-qualifies")
    seen = []
    for _, kind, data in stream:
        seen.append((kind, data))
        if sum(k == "saved" and d["whole"] for k, d in seen) == 4:
            break
    kinds = [k for k, _ in seen]
    assert {"drive", "state", "judge", "saved"} <= set(kinds)
    told = [d["type"] for k, d in seen if k == "judge"]
    assert told.count("secured") == 4
    assert (
        told == [m.event.__class__.__name__.lower() for m in services.store.events(made.id)]
        or "excursion_began" in told
    )
    for capture, number in {(d["capture"], d["number"]) for k, d in seen if k == "saved"}:
        secured = next(i for i, (k, d) in enumerate(seen) if k == "judge" and d["type"] == "secured"
                       and (d["capture"], d["number"]) == (capture, number))  # fmt: skip
        saved = next(
            i for i, (k, d) in enumerate(seen) if k == "saved" and (d["capture"], d["number"]) == (capture, number)
        )
        assert secured < saved
    assert [d["phase"] for k, d in seen if k == "drive"][-1] == "ended"


# --- the server as a program


def run_in_thread(folder, **more):
    """Runs `serve` until its `stop` is set; gives the address, the event and the thread."""
    stop, ready, address = threading.Event(), threading.Event(), []
    thread = threading.Thread(
        target=serve, args=("127.0.0.1", 0, folder, Clock()),
        kwargs={"stop": stop, "on_ready": lambda a: (address.append(a), ready.set()), **more}, daemon=True,
    )  # fmt: skip
    thread.start()
    assert ready.wait(60)
    return address[0], stop, thread


def test_the_server_starts_its_demo_and_stops_within_two_seconds(tmp_path, wait_for):
    """What was received is stored, the drive is closed, the folder is free."""
    folder = tmp_path / "data"
    address, stop, thread = run_in_thread(folder, demo=Demo())
    assert address.startswith("http://127.0.0.1:")
    clock = Clock()
    before = clock.steady_us()
    stop.set()
    thread.join(60)
    assert clock.steady_us() - before < 2_500_000
    assert not thread.is_alive()
    with Store(folder, clock) as store:
        (row,) = store.drives()
        assert (row.phase, row.recovered, row.error) == ("ended", False, None)
        assert row.samples > 0


@pytest.mark.skipif(os.name != "posix", reason="signals are POSIX")
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_a_signal_stops_the_program_cleanly(tmp_path, number):
    """Ctrl-C and a service manager: exit 0, no traceback, nothing left running."""
    code = (
        "import sys, pathlib\nfrom coach.server import serve, Demo\n"
        "serve(port=0, data_dir=pathlib.Path(sys.argv[1]), demo=Demo(), on_ready=lambda a: print(a, flush=True))\n"
    )
    run = subprocess.Popen(
        [sys.executable, "-c", code, str(tmp_path / "data")], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(p for p in sys.path if p)},
    )  # fmt: skip
    assert run.stdout.readline().startswith("http://")
    run.send_signal(number)
    _, errors = run.communicate(timeout=60)
    assert (run.returncode, errors) == (0, "")


def test_a_drive_is_recovered_after_a_kill(tmp_path):
    """Kill -9 in mid-drive: the next start closes the drive as recovered with what was committed, judged again."""
    code = (
        "import sys, pathlib\nfrom coach.server import serve, Demo\n"
        "serve(port=0, data_dir=pathlib.Path(sys.argv[1]), demo=Demo(speed=50.0),"
        " on_ready=lambda a: print(a, flush=True))\n"
    )
    folder = tmp_path / "data"
    run = subprocess.Popen(
        [sys.executable, "-c", code, str(folder)], stdout=subprocess.PIPE, text=True,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(p for p in sys.path if p)},
    )  # fmt: skip
    address = run.stdout.readline().strip()
    host, _, port = address.removeprefix("http://").rstrip("/").partition(":")
    connection = HTTPConnection(host, int(port), timeout=60)
    connection.request("GET", "/api/live")
    for line in connection.getresponse():
        if line.startswith(b"event: saved"):
            break
    run.kill()
    run.wait(60)
    run.stdout.close()
    connection.close()
    address, stop, thread = run_in_thread(folder)
    try:
        host, _, port = address.removeprefix("http://").rstrip("/").partition(":")
        connection = HTTPConnection(host, int(port), timeout=60)
        connection.request("GET", "/api/drives")
        (row,) = json.loads(connection.getresponse().read())["drives"]
        assert (row["phase"], row["recovered"]) == ("ended", True)
        connection.request("GET", f"/api/drives/{row['id']}/attempts")
        verdict = json.loads(connection.getresponse().read())
        assert sum(a["outcome"] == "secured" for c in verdict["captures"] for a in c["attempts"]) >= 1
        connection.close()
    finally:
        stop.set()
        thread.join(60)
    with Store(folder, Clock()) as store:
        windows = store.windows(row["id"])
        assert windows
        assert all(w.whole and (folder / w.path).stat().st_size == w.size for w in windows)


def test_a_port_in_use_is_one_sentence():
    """Before anything else is begun."""
    taken = listen("127.0.0.1", 0)
    try:
        with pytest.raises(Conflict, match="is in use; choose another one"):
            listen("127.0.0.1", taken.bind_addr[1])
    finally:
        taken.stop()
    with pytest.raises(BadInput, match="0 to 65535"):
        listen("127.0.0.1", 70_000)


def test_only_this_machine_is_listened_on():
    """Other addresses come in another version, with their doors."""
    for host in ("0.0.0.0", "192.168.1.5", "evil.example"):
        with pytest.raises(BadInput, match="this machine only"):
            listen(host, 0)


def test_a_folder_in_use_refuses_the_second_server_and_frees_its_port(tmp_path):
    """A sentence; nothing is left listening."""
    with Store(tmp_path / "data", Clock()), pytest.raises(StoreError, match="another coach"):
        serve(port=0, data_dir=tmp_path / "data", stop=threading.Event())


def test_the_server_process_never_loads_pandas(tmp_path):
    """Not at import, and not by reading a table, judging and drawing a drive."""
    code = (
        "import sys, pathlib, threading, json, urllib.request\n"
        "import coach.server\n"
        "print('pandas' in sys.modules, 'pint' in sys.modules)\n"
        "stop = threading.Event()\n"
        "def ready(a):\n"
        "    get = lambda p: json.load(urllib.request.urlopen(a + p))\n"
        "    d = get('api/drives')['drives'][0]['id']\n"
        "    get(f'api/drives/{d}/attempts')\n"
        "    stop.set()\n"
        "coach.server.serve(port=0, data_dir=pathlib.Path(sys.argv[1]), demo=coach.server.Demo(speed=None),"
        " on_ready=ready, stop=stop)\n"
        "print('pandas' in sys.modules)\n"
    )
    run = subprocess.run(
        [sys.executable, "-c", code, str(tmp_path / "data")], capture_output=True, text=True, check=True,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(p for p in sys.path if p)},
    )  # fmt: skip
    assert run.stdout == "False False\nFalse\n"
    assert not Path("coach.db").exists()


def test_a_browser_is_opened_when_asked(monkeypatch, tmp_path, wait_for):
    """With the page's address."""
    opened = []
    monkeypatch.setattr("webbrowser.open", opened.append)
    address, stop, thread = run_in_thread(tmp_path / "data", open_browser=True)
    wait_for(lambda: opened)
    stop.set()
    thread.join(60)
    assert opened == [address]


@pytest.mark.parametrize(("number", "words"), [(13, "above 1023"), (98, "in use"), (99, "not possible to listen")])
def test_each_reason_why_a_port_cannot_be_had_has_its_sentence(monkeypatch, number, words):
    """Forbidden, in use, anything else."""
    if number == 98:
        number = errno.EADDRINUSE

    def refuse(*_, **__):
        raise OSError(number, "no")

    monkeypatch.setattr("coach.server.port.socket.create_server", refuse)
    with pytest.raises((BadInput, Conflict), match=words):
        listen("127.0.0.1", 8765)
