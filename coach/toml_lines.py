"""On which line of a TOML text each key stands, for errors. The text must have passed `tomllib` before."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Mapping

Path = tuple[str | int, ...]
_SPACE = " \t\r\n"
_ESCAPES = {"b": "\b", "t": "\t", "n": "\n", "f": "\f", "r": "\r", '"': '"', "\\": "\\", "e": "\x1b"}


def key_lines(text: str) -> dict[Path, int]:
    """The line, counted from 1, of every key and table header of a valid TOML text."""
    return _Scanner(text).run()


def line_of(lines: Mapping[Path, int], path: Path) -> int | None:
    """The line of `path`, or of the nearest table around it, or None."""
    for length in range(len(path), 0, -1):
        if path[:length] in lines:
            return lines[path[:length]]
    return None


class _Scanner:
    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.ends = [i for i, c in enumerate(text) if c == "\n"]
        self.lines: dict[Path, int] = {}
        self.rows: dict[Path, int] = {}  # array of tables: its last index

    def run(self) -> dict[Path, int]:
        table: Path = ()
        while self._skip():
            if self.text.startswith("[[", self.at):
                table = self._header(2)
            elif self.text[self.at] == "[":
                table = self._header(1)
            else:
                self._pair(table)
        return self.lines

    def _line(self) -> int:
        return bisect_right(self.ends, self.at - 1) + 1

    def _skip(self, what: str = _SPACE) -> bool:
        """Go past space and comments; says whether anything is left."""
        while self.at < len(self.text):
            if self.text[self.at] in what:
                self.at += 1
            elif self.text[self.at] == "#":
                end = self.text.find("\n", self.at)
                self.at = len(self.text) if end < 0 else end
            else:
                return True
        return False

    def _header(self, brackets: int) -> Path:
        line = self._line()
        self.at += brackets
        keys = self._key("]")
        self.at += brackets
        path: Path = ()
        for key in keys[:-1]:
            path = self._row((*path, key))
        path = (*path, keys[-1])
        if brackets == 2:
            self.lines.setdefault(path, line)
            self.rows[path] = self.rows.get(path, -1) + 1
        path = self._row(path)
        self.lines.setdefault(path, line)
        return path

    def _row(self, path: Path) -> Path:
        return (*path, self.rows[path]) if path in self.rows else path

    def _pair(self, table: Path) -> None:
        line = self._line()
        path = table
        for key in self._key("="):
            path = (*path, key)
            self.lines.setdefault(path, line)
        self.at += 1
        self._skip(" \t")
        self._value(path)

    def _key(self, end: str) -> list[str]:
        """The parts of a dotted key, up to and not including `end`."""
        parts = []
        while True:
            self._skip(" \t")
            mark = self.text[self.at]
            if mark in "\"'":
                parts.append(self._string())
            else:
                first = self.at
                while self.text[self.at] not in f" \t.{end}":
                    self.at += 1
                parts.append(self.text[first : self.at])
            self._skip(" \t")
            if self.text[self.at] == end:
                return parts
            self.at += 1  # the dot

    def _value(self, path: Path) -> None:
        mark = self.text[self.at]
        if mark in "\"'":
            self._string()
        elif mark == "[":
            self.at += 1
            index = 0
            while self._skip(_SPACE + ",") and self.text[self.at] != "]":
                self.lines.setdefault((*path, index), self._line())
                self._value((*path, index))
                index += 1
            self.at += 1
        elif mark == "{":
            self.at += 1
            while self._skip(_SPACE + ",") and self.text[self.at] != "}":
                self._pair(path)
            self.at += 1
        else:
            while self.at < len(self.text) and self.text[self.at] not in ",]}#\n":
                self.at += 1

    def _string(self) -> str:
        """Past a string of any of the four kinds; what it says, as far as a key needs that."""
        quote = self.text[self.at]
        mark = quote * 3 if self.text.startswith(quote * 3, self.at) else quote
        self.at += len(mark)
        said = []
        while not self.text.startswith(mark, self.at):
            if quote == '"' and self.text[self.at] == "\\":
                self.at += 1
                said.append(self._escape())
            else:
                said.append(self.text[self.at])
            self.at += 1
        self.at += len(mark)
        # Up to two quotes may stand right before the closing three.
        while len(mark) == 3 and self.text.startswith(quote, self.at):
            self.at += 1
        return "".join(said)

    def _escape(self) -> str:
        letter = self.text[self.at]
        digits = {"x": 2, "u": 4, "U": 8}.get(letter)
        if digits is None:
            return _ESCAPES.get(letter, "")
        code = self.text[self.at + 1 : self.at + 1 + digits]
        self.at += digits
        return chr(int(code, 16))
