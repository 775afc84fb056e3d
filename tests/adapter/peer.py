"""A client of the adapter for tests: sends a line, reads up to the prompt, never waits longer than it must."""

from __future__ import annotations

import os
import select
import socket


class Peer:
    """An open line to the adapter. Every failure is a ConnectionError; a read without an end is one after `wait_s`."""

    def __init__(self, url, wait_s=5.0):
        self.wait_s, self.unread, self.line = wait_s, b"", None
        if url.startswith("socket://"):
            host, port = url.removeprefix("socket://").split(":")
            self.line = socket.create_connection((host, int(port)))
            self.handle = self.line.fileno()
        else:
            self.handle = os.open(url, os.O_RDWR | os.O_NOCTTY)

    def send(self, data):
        try:
            if self.line is not None:
                self.line.sendall(data)
            else:
                os.write(self.handle, data)
        except OSError as error:
            raise ConnectionError("nobody takes it") from error

    def ask(self, text):
        self.send(text.encode("latin-1") + b"\r")
        return self.read()

    def read(self):
        """The bytes up to the prompt, without it."""
        while b">" not in self.unread:
            self.unread += self.some(self.wait_s)
        got, _, self.unread = self.unread.partition(b">")
        return got

    def some(self, wait_s):
        """What comes next, at least a byte."""
        if not select.select([self.handle], [], [], wait_s)[0]:
            raise ConnectionError(f"nothing came behind {self.unread!r}")
        try:
            got = self.line.recv(4096) if self.line is not None else os.read(self.handle, 4096)
        except OSError as error:
            raise ConnectionError("the line broke") from error
        if not got:
            raise ConnectionError("the line was closed")
        return got

    def until_broken(self):
        """Talks until the line breaks."""
        while True:
            self.ask("")

    def ready(self):
        """No echo, a protocol found."""
        self.ask("ATE0")
        self.ask("0100")
        return self

    def close(self):
        if self.line is not None:
            self.line.close()
        else:
            os.close(self.handle)

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.close()
