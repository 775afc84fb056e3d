"""The server as it is shipped, in a process of its own, with a stamp where a sample comes in and one at its verdict.

Run by the benchmark alone: `python -m coach.bench.watched FOLDER RECIPE LINK`. It serves until its input ends.
"""

from __future__ import annotations

import contextlib
import sys
import threading
from collections.abc import Iterator
from pathlib import Path
from unittest.mock import patch

from coach.clock import Clock
from coach.drive.inbox import Inbox
from coach.drive.loop import Loop
from coach.drive.parts import Parts
from coach.server.carlink import GivenLink
from coach.server.run import serve
from coach.server.starting import Given
from coach.sources.base import Instant, SourceEvent

STAMPS = "stamps.txt"


class Stamps:
    """When each instant came in, and how long until it was stored in its block, judged and handed on.

    Attributes:
        took: microseconds of the steady clock at the verdict, and microseconds since it was received.
    """

    def __init__(self, clock: Clock) -> None:
        self.clock = clock
        self.took: list[tuple[int, float]] = []
        self._came_ns: dict[int, int] = {}

    def came(self, event: SourceEvent) -> None:
        """The link has read it, and is about to queue it."""
        if isinstance(event, Instant):
            self._came_ns[id(event)] = self.clock.fine_ns()

    def judged(self, event: SourceEvent) -> None:
        """The loop is done with it."""
        came_ns = self._came_ns.pop(id(event), None)
        if came_ns is not None:
            self.took.append((self.clock.steady_us(), (self.clock.fine_ns() - came_ns) / 1e3))

    def write(self, path: Path) -> None:
        """One line for each instant."""
        path.write_text("".join(f"{at_us} {took_us:.1f}\n" for at_us, took_us in self.took), "ascii")


@contextlib.contextmanager
def stamped(stamps: Stamps) -> Iterator[None]:
    """Drives that are started inside are stamped; nothing else about them differs."""

    class StampedInbox(Inbox):
        def put(self, event: SourceEvent) -> None:
            stamps.came(event)
            super().put(event)

    class StampedLoop(Loop):
        def __init__(self, parts: Parts) -> None:
            super().__init__(parts)

        def take(self, event: SourceEvent) -> None:
            super().take(event)
            stamps.judged(event)

    with patch("coach.drive.drive.Inbox", StampedInbox), patch("coach.drive.drive.Loop", StampedLoop):
        yield


def main(folder: Path, recipe: Path, link: str) -> None:
    """Serves a car behind `link` until the input ends; the address is its first line, the stamps stand in `folder`."""
    stop = threading.Event()

    def wait() -> None:
        sys.stdin.read()
        stop.set()

    threading.Thread(target=wait, daemon=True).start()

    def ready(address: str) -> None:
        sys.stdout.write(f"{address}\n")
        sys.stdout.flush()

    clock = Clock()
    stamps = Stamps(clock)
    # A car that is not there: nobody has to agree to anything before it drives.
    given = Given((recipe,), (), None, (GivenLink(link, begin=lambda: None),))
    with stamped(stamps):
        serve(port=0, data_dir=folder / "data", clock=clock, given=given, on_ready=ready, stop=stop)
    stamps.write(folder / STAMPS)


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]), sys.argv[3])
