"""The control line: a second TCP port on which faults are set off and the drive is begun anew, a word at a time.

It is a design of our own. One line in, one line out: `ok`, with more behind it where there is more to say, or `no` and
a sentence.
"""

from __future__ import annotations

import json
import threading
from contextlib import suppress

from coach.clock import US
from coach.errors import BadInput
from coach.sources.adapter.faults import KINDS, parse_fault
from coach.sources.adapter.ports import Connection, TcpPort
from coach.sources.adapter.server import AdapterServer

_LONGEST_LINE = 256
WORDS = {
    "fault": "fault KIND[@SECONDS][xN]: goes wrong so many seconds from now",
    "clear": "nothing goes wrong any more",
    "restart": "the drive begins anew with the next value that is asked for",
    "unplug": "the adapter is gone",
    "plug": "and back",
    "status": "what is set, and what has struck, as JSON",
    "faults": "all kinds, as JSON",
    "help": "these words, as JSON",
}
"""All it knows."""


class ControlLine:
    """Listens for words about an adapter.

    Args:
        server: the adapter.
        port: TCP port on this machine; 0 takes a free one.

    Raises:
        BadInput: the port cannot be had.
    """

    def __init__(self, server: AdapterServer, port: int = 0) -> None:
        self._server, self._port = server, TcpPort(port)
        self._open: list[tuple[Connection, threading.Thread]] = []
        self._lock = threading.Lock()
        self._thread = threading.Thread(target=self._accept, daemon=True, name="adapter-control")
        self._thread.start()

    @property
    def url(self) -> str:
        """Where it listens, as `socket://127.0.0.1:35001`."""
        return self._port.url

    def stop(self) -> None:
        """Listens no more."""
        self._port.close()
        self._thread.join()
        for connection, thread in self._open:
            connection.hang_up()
            thread.join()

    def say(self, line: str) -> str:
        """The answer to one line."""
        word, _, rest = line.strip().partition(" ")
        with self._lock:
            try:
                return self._do(word.lower(), rest)
            except BadInput as error:
                return f"no {error.message}"

    def _do(self, word: str, rest: str) -> str:
        server = self._server
        if word == "fault":
            kind, in_s, count = parse_fault(rest)
            server.faults.schedule(kind, in_s + server.since_us() / US, count)
            return "ok"
        if rest or word not in WORDS:
            raise BadInput(f"{word!r} is no word of this line; there are: {', '.join(WORDS)}")
        if word == "clear":
            server.faults.clear()
        elif word == "restart":
            restart = getattr(server.car, "restart", None)
            if restart is None:
                raise BadInput("this car has no drive that could begin anew")
            restart()
        elif word == "unplug":
            server.unplug()
        elif word == "plug":
            return f"ok {server.start()}"
        else:
            return f"ok {json.dumps(self._told(word))}"
        return "ok"

    def _told(self, word: str) -> dict[str, object]:
        server = self._server
        if word == "faults":
            return {kind: one.tells for kind, one in KINDS.items()}
        if word == "help":
            return dict(WORDS)
        return {
            "url": server.url if server.plugged_in else None,
            "seconds": round(server.since_us() / US, 3),
            "waiting": list(server.faults.waiting()),
            "struck": dict(server.faults.struck),
        }

    def _accept(self) -> None:
        while (connection := self._port.accept()) is not None:
            self._open = [(one, thread) for one, thread in self._open if thread.is_alive()]
            thread = threading.Thread(target=self._serve, args=(connection,), daemon=True, name="adapter-control-line")
            thread.start()
            self._open.append((connection, thread))

    def _serve(self, connection: Connection) -> None:
        heard = b""
        with suppress(OSError):  # whoever asked went away before the answer
            while data := connection.read():
                heard += data
                while b"\n" in heard or len(heard) > _LONGEST_LINE:
                    line, _, heard = heard.partition(b"\n")
                    connection.write(self.say(line.decode("utf-8", "replace")).encode("utf-8") + b"\n")
        connection.release()
