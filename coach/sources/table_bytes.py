"""The bytes of a table: packing, encoding, delimiter, whole lines in blocks of bounded size. Knows no signal."""

from __future__ import annotations

import codecs
import csv
import gzip
import zlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from types import TracebackType
from typing import BinaryIO, Self, cast

from coach.errors import TableError
from coach.sources.table_lines import Block, Lines, Odd, cells_in

BLOCK = 1 << 20
"""Bytes that are worked on at a time: few enough for the processor's cache, enough that calls do not count."""
LONGEST_LINE = 1 << 20
"""Bytes of the longest line that is taken."""
MOST_COLUMNS = 4096

_HEAD = 1 << 16
_BOMS = ((codecs.BOM_UTF8, "utf-8"), (codecs.BOM_UTF16_LE, "utf-16-le"), (codecs.BOM_UTF16_BE, "utf-16-be"))
_DELIMITERS = (",", ";", "\t")

Progress = Callable[[int, int], None]
"""Called with the bytes of the file that were read and the bytes that it has."""


@dataclass
class TableFile:
    """A table opened for reading: use in a `with`, then `open_header`, then `blocks` once.

    Attributes:
        path: a file, packed with gzip or not.
        most_bytes: unpacked bytes after which it is refused.
        encoding: found by its mark or its first bytes: `utf-8`, `utf-16-le`, `utf-16-be` or `cp1252`.
        delimiter: `,`, `;` or a tab.
        header: the cells of the first line that is neither empty nor a comment (`#`).
        sample: the first lines after the header, to look at; they come again in `blocks`.
        short_lines: lines with fewer cells than the header.
        cut_line: number of a last line that ends in its middle, left out; 0 when there is none.
        open_line: number of a last line that is whole but has no line end; 0 when there is none.
    """

    path: Path
    most_bytes: int = 8 << 30
    progress: Progress | None = None
    encoding: str = "utf-8"
    delimiter: str = ","
    header: list[str] = field(default_factory=list)
    sample: list[str] = field(default_factory=list)
    short_lines: Odd = field(default_factory=Odd)
    cut_line: int = 0
    open_line: int = 0

    def __enter__(self) -> Self:
        try:
            self._raw = self.path.open("rb")
            magic = self._raw.read(2)
            self._size = self._raw.seek(0, 2)
            self._raw.seek(0)
        except FileNotFoundError:
            raise self.error("there is no such file") from None
        except OSError as broken:
            raise self.error(f"the file cannot be read: {broken.strerror or broken}") from None
        packed = magic == b"\x1f\x8b"
        self._file = cast("BinaryIO", gzip.GzipFile(fileobj=self._raw, mode="rb")) if packed else self._raw
        self._bytes = 0
        self._rest = b""
        self._line = 1
        self._only_cr = self._returns = False
        self._decoder: codecs.IncrementalDecoder | None = None
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._raw.close()

    def error(self, message: str, line: int | None = None, column: str | None = None) -> TableError:
        """The error of this file, `where` naming line and column as far as they are given."""
        where = self.path.name
        if line is not None:
            where += f", line {line}"
        if column is not None:
            where += f", column {_short(column)!r}"
        return TableError(message, where=where)

    @property
    def share_read(self) -> float:
        """How much of the file has been read, 0 to 1."""
        return self._raw.tell() / self._size if self._size else 1.0

    @property
    def size(self) -> int:
        """Bytes of the file as it stands on the disk."""
        return self._size

    @property
    def header_lines(self) -> int:
        """Lines up to and with the header."""
        return self._line - 1

    @property
    def untouched(self) -> bool:
        """Whether the bytes on the disk are the table's own: not packed, UTF-8 without a mark, lines end as usual."""
        return self._file is self._raw and self._decoder is None and not self._only_cr

    @property
    def returns(self) -> bool:
        """Whether there is a carriage return among the first bytes."""
        return self._returns

    def tell_whole(self) -> None:
        """Tells whoever wants to know that all of it was read, without reading it here."""
        if self.progress is not None:
            self.progress(self._size, self._size)

    def open_header(self, delimiter: str | None = None) -> None:
        """Finds encoding, delimiter and header.

        Args:
            delimiter: known already, else found in the header.

        Raises:
            TableError: empty, not text, no header, too many columns.
        """
        head = self._file_read(_HEAD)
        if not head:
            raise self.error("the file is empty; a table has a header line and at least one row")
        self._settle_encoding(head)
        text = self._decoded(head)
        if b"\0" in text:
            raise self.error("this is not a text table; save it as CSV")
        self._returns = b"\r" in text
        self._only_cr = self._returns and b"\n" not in text
        self._rest = self._plain(text)
        while True:
            line = self._take_line()
            if line is None:
                raise self.error("there is no header line; the first line of a table names its columns")
            shown = line.decode("utf-8", "replace")
            if shown.strip().lower().startswith("sep=") and len(shown.strip()) == 5:
                delimiter = delimiter or shown.strip()[-1]
            elif shown.strip() and not shown.lstrip().startswith("#"):
                break
        self.delimiter = delimiter or max(_DELIMITERS, key=shown.count)
        try:
            self.header = next(csv.reader([shown], delimiter=self.delimiter), [])
        except csv.Error:
            raise self.error("the header cannot be read; it is one line of names", self._line - 1) from None
        if len(self.header) > MOST_COLUMNS:
            raise self.error(f"the header has {len(self.header)} columns; at most {MOST_COLUMNS} are read")
        lines = self._rest[:_HEAD].decode("utf-8", "replace").split("\n")
        self.sample = [s for s in lines[: -1 if len(lines) > 1 else None] if s.strip()]
        self._settle_width()

    def blocks(self) -> Iterator[Block]:
        """All lines after the header, in order.

        A last line without a line end is given one; if it has fewer cells than the header it is left out as cut.

        Raises:
            TableError: a line that is too long or has too many cells, a quote that is not closed, damaged packing, more
                than `most_bytes`.
        """
        while more := self._read_more():
            end = more.rfind(b"\n") + 1
            # What was left may hold whole lines of the first bytes.
            whole = end or self._rest.rfind(b"\n") + 1
            data = b"".join((self._rest, memoryview(more)[:end])) if end else self._rest[:whole]
            self._rest = more[end:] if end else self._rest[whole:] + more
            if len(self._rest) > LONGEST_LINE:
                line = self._line + data.count(b"\n")
                raise self.error(f"the line is longer than {LONGEST_LINE >> 20} MB; this is no table of samples", line)
            if whole:
                yield from self._block(data)
        end = self._rest.rfind(b"\n") + 1
        if end:
            yield from self._block(self._rest[:end])
        tail = self._rest[end:]
        if tail.strip():
            if cells_in(tail, self.delimiter) < len(self.header):
                self.cut_line = self._line
            else:
                self.open_line = self._line
                yield from self._block(tail + b"\n")

    def _block(self, data: bytes) -> Iterator[Block]:
        """`data`, whole lines, as a block, if any is not blank."""
        lines = Lines(data, self._line, self.delimiter, len(self.header))
        self._line += lines.count
        block = lines.block(self.short_lines, self.error)
        if block.data:
            yield block

    def _settle_width(self) -> None:
        """Header and rows may differ by a delimiter at the end of the line; the rows decide."""
        if not self.sample:
            return
        cells = cells_in(self.sample[0].encode(), self.delimiter)
        while len(self.header) > max(cells, 1) and not self.header[-1].strip():
            self.header.pop()
        if cells == len(self.header) + 1 and self.sample[0].rstrip(" ").endswith(self.delimiter):
            self.header.append("")

    def _settle_encoding(self, head: bytes) -> None:
        for mark, encoding in _BOMS:
            if head.startswith(mark):
                self.encoding = encoding
                self._decoder = codecs.getincrementaldecoder("utf-8-sig" if encoding == "utf-8" else encoding)(
                    "replace"
                )
                return
        try:
            codecs.getincrementaldecoder("utf-8")("strict").decode(head, final=len(head) < _HEAD)
        except UnicodeDecodeError:
            self.encoding = "cp1252"
            self._decoder = codecs.getincrementaldecoder("cp1252")("replace")

    def _file_read(self, size: int) -> bytes:
        try:
            data = self._file.read(size)
        except (EOFError, gzip.BadGzipFile, zlib.error):
            raise self.error("the packed file is cut short or damaged; copy it again") from None
        except OSError as broken:
            raise self.error(f"the file cannot be read: {broken.strerror or broken}") from None
        self._bytes += len(data)
        if self._bytes > self.most_bytes:
            raise self.error(f"the table has more than {self.most_bytes >> 30} GB; cut it into drives")
        if self.progress is not None:
            self.progress(self._raw.tell(), self._size)
        return data

    def _decoded(self, data: bytes, *, final: bool = False) -> bytes:
        """`data` as UTF-8 without a byte order mark."""
        if self._decoder is None:
            return data
        return self._decoder.decode(data, final=final).lstrip("\ufeff").encode("utf-8", "replace")

    def _plain(self, data: bytes) -> bytes:
        """`data` with a line feed at each line end.

        A stray carriage return becomes a blank, also one whose line feed comes with the next bytes: no harm in a cell.
        """
        if b"\r" not in data:
            return data
        if self._only_cr:
            return data.replace(b"\r", b"\n")
        return data.replace(b"\r\n", b"\n").replace(b"\r", b" ")

    def _read_more(self) -> bytes:
        """The next bytes as plain UTF-8; empty at the end."""
        while True:
            data = self._file_read(BLOCK)
            text = self._plain(self._decoded(data, final=not data))
            if text or not data:
                return text

    def _take_line(self) -> bytes | None:
        """The next line, without its end, of the first bytes; None when there is none left."""
        while b"\n" not in self._rest:
            if len(self._rest) > LONGEST_LINE:
                raise self.error("the first line is longer than 1 MB; this is no table of samples")
            more = self._read_more()
            if not more:
                line, self._rest = self._rest, b""
                return line or None
            self._rest += more
        line, _, self._rest = self._rest.partition(b"\n")
        self._line += 1
        return line


def _short(text: str) -> str:
    """`text` fit for a sentence."""
    text = "".join(c if c.isprintable() else "?" for c in text)
    return text if len(text) <= 60 else text[:59] + "…"
