"""Programs started as a person starts them, and ended with Ctrl-C."""

import re
import signal
import subprocess
import sys
from contextlib import contextmanager
from pathlib import Path

ROOT = Path(__file__).parents[2]
COMMAND = [sys.executable, "-c", "from coach.cli import main; main()"]


@contextmanager
def running(*words, until=r"http://\S+"):
    """A process of `coach`; yields what it said, once that matches `until`. Ctrl-C must end it cleanly."""
    command = [*COMMAND, *map(str, words)]
    process = subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    try:
        said = ""
        while not re.search(until, said):
            line = process.stdout.readline()
            assert line, (said, process.stderr.read())
            said += line
        yield said
        process.send_signal(signal.SIGINT)
        assert process.wait(60) == 0
        assert process.stderr.read() == ""
    finally:
        process.kill()
        process.wait()
        process.stdout.close()
        process.stderr.close()


@contextmanager
def serving(*words):
    """A process that serves; yields its page's address."""
    with running(*words) as said:
        yield re.search(r"http://\S+", said)[0]


def ended(*words):
    """A process that ends by itself."""
    command = [*COMMAND, *map(str, words)]
    return subprocess.run(command, cwd=ROOT, capture_output=True, text=True, timeout=30, check=False)
