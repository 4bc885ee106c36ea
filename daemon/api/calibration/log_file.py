"""A log as another logger wrote it: delimited text, of which two columns are wanted.

`read_head` reads the beginning, and `open_log` finds out how the file is written; what it cannot
find out it asks for, by raising `UnansweredError`. Then `LogFile.readings` reads row after row, in
one pass and without keeping them, so that a log may have any length.
"""

import csv
import gzip
import hashlib
import io
import math
import zlib
from collections import Counter
from collections.abc import Iterable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from itertools import chain, islice, repeat
from typing import IO, NamedTuple

from daemon.api.calibration.log_columns import (
    Cells,
    Layout,
    LayoutError,
    Question,
    Told,
    laid_out,
    shown,
)
from daemon.api.errors import InputError

HEAD_CHARACTERS = 1 << 16
"""So much of the file is looked at to find out how it is written."""

GREATEST = 1e15
"""Seconds and amperes beyond this, infinite ones and "nan" are no readings."""

_LOOKED_AT = 1 << 14
"""Characters in which the delimiter shows."""

_BATCH_ROWS = 128
"""Few, so that they are in the processor's cache still and wake no garbage collection."""

_DELIMITERS = "\t;|, "
"""Tried in this order: what is first is least likely to stand inside a number or a name."""

_GZIP_MAGIC = b"\x1f\x8b"
_MARKS = ((b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16"), (b"\xef\xbb\xbf", "utf-8-sig"))


class UnansweredError(InputError):
    """The file leaves open how it is to be read; `questions` says what has to be told."""

    def __init__(self, where: str, questions: tuple[Question, ...]) -> None:
        self.questions = questions
        super().__init__(where, tuple(question.problem for question in questions))


class Head(NamedTuple):
    """The beginning of a file: its rows with their line numbers, and the delimiter of its fields.

    `text` is what was read of `stream` so far.
    """

    where: str
    text: str
    stream: IO[str]
    delimiter: str
    rows: Cells


@dataclass(slots=True)
class Unread:
    """Rows that could not be read: how many, and line, reason and text of the first."""

    rows: int = 0
    first_line: int = 0
    why: str = ""


class LogFile:
    """A log and how it is read. `unread` is whole when `readings` has ended."""

    def __init__(self, head: Head, layout: Layout) -> None:
        self.where = head.where
        self.layout = layout
        self.unread = Unread()
        self._reader = csv.reader(
            chain(io.StringIO(head.text, newline=""), head.stream),
            delimiter=head.delimiter,
            skipinitialspace=head.delimiter == " ",
        )

    def readings(self) -> Iterator[tuple[float, float, str]]:
        """Each row's seconds, A, and group ("" without one). To be called once.

        A row that cannot be read is counted and passed over; an empty line is no row. Raises
        InputError when the file breaks off (damaged compression, a disk that fails).
        """
        return chain.from_iterable(zip(*columns, strict=False) for columns in self._columns())

    def _columns(self) -> Iterator[tuple[list[float], list[float], Iterable[str]]]:
        """Times, currents and groups, some thousand rows at a time: far faster than row by row."""
        for rows, line in self._batches():
            try:
                columns = self._read(rows)
            except (ValueError, TypeError, IndexError):
                columns = self._read(self._sound(rows, line))
            yield columns

    def _batches(self) -> Iterator[tuple[list[list[str]], int]]:
        """Rows of data as the csv module gives them, and the number of the line before them."""
        reader, header_line = self._reader, self.layout.header_line
        try:
            while reader.line_num < header_line:
                with suppress(csv.Error):
                    next(reader)
            while True:
                rows: list[list[str]] = []
                line = reader.line_num
                error = None
                try:
                    for row in islice(reader, _BATCH_ROWS):
                        rows.append(row)
                except csv.Error as raised:  # costs one row: the reader goes on behind it
                    error = str(raised)
                if not rows and error is None:
                    return
                yield rows, line
                if error is not None:
                    self._pass_over(reader.line_num, 1, error)
        except OSError as error:
            said = f"breaks off after line {reader.line_num}: {error}"
            raise InputError(self.where, (said,)) from error

    def _read(self, rows: list[list[str]]) -> tuple[list[float], list[float], Iterable[str]]:
        """The columns of rows; raises ValueError, TypeError or IndexError for one that is unfit."""
        layout = self.layout
        time, current, group = layout.time, layout.current, layout.group_index
        index, read, factor = time.index, time.read, time.factor
        times_s = [read(row[index]) * factor for row in rows]
        index, read, factor = current.index, current.read, current.factor
        currents_a = [read(row[index]) * factor for row in rows]
        for values in (times_s, currents_a):
            if values and not (
                all(map(math.isfinite, values))
                and -GREATEST < min(values) <= max(values) < GREATEST
            ):
                raise ValueError("a value beyond all bounds")
        groups = repeat("") if group is None else [row[group] for row in rows]
        return times_s, currents_a, groups

    def _sound(self, rows: list[list[str]], line: int) -> list[list[str]]:
        """The rows that can be read; the others are counted. `line` is the last before them."""
        sound = []
        for row in rows:
            # A stray quotation mark makes one row of many lines, none of which is read.
            lines = 1 + sum(cell.count("\n") for cell in row)
            line += lines
            try:
                self._read([row])
            except (ValueError, TypeError, IndexError):
                if any(cell.strip() for cell in row):
                    self._pass_over(line, lines, self._why(row))
            else:
                sound.append(row)
        return sound

    def _why(self, row: list[str]) -> str:
        """Why a row cannot be read."""
        for column in (self.layout.time, self.layout.current):
            if column.index >= len(row):
                break
            cell = row[column.index]
            try:
                value = column.read(cell) * column.factor
            except (ValueError, TypeError):
                return f"{column.name}: {column.form} expected, got {shown(cell)}"
            if not abs(value) < GREATEST:
                return f"{column.name}: no reading can be {shown(cell)}"
        return f"{len(row)} fields, too few"

    def _pass_over(self, line: int, lines: int, why: str) -> None:
        if not self.unread.rows:
            self.unread.first_line, self.unread.why = line, why
        self.unread.rows += lines


class Content(io.RawIOBase):
    """The bytes of a file, unpacked if they are packed by gzip, and their SHA-256 when all read.

    Whatever keeps them from being read is an OSError, damaged packing too.
    """

    def __init__(self, file: io.BufferedReader) -> None:
        packed = file.peek(2)[:2] == _GZIP_MAGIC
        self._file: gzip.GzipFile | io.BufferedReader = (
            gzip.GzipFile(fileobj=file) if packed else file
        )
        self._hash = hashlib.sha256()

    def readable(self) -> bool:
        """True: it can be read."""
        return True

    def readinto(self, buffer: "memoryview") -> int:  # type: ignore[override]
        """Read into a buffer; 0 at the end."""
        try:
            data = self._file.read(len(buffer))
        except (EOFError, zlib.error) as error:
            raise OSError(str(error)) from error
        self._hash.update(data)
        buffer[: len(data)] = data
        return len(data)

    def sha256(self) -> str:
        """SHA-256 of what was read so far, in hexadecimal."""
        return self._hash.hexdigest()


def read_head(content: Content, where: str, delimiter: str | None) -> Head:
    """Read the beginning of a file and find its delimiter, unless it is told.

    Text is UTF-8 or, with a byte order mark, UTF-16; a file that is neither is taken as Latin-1,
    since numbers are the same in it. Raises InputError for a file that is empty, is no text, cannot
    be read, or has no delimiter in common.
    """
    file = io.BufferedReader(content, 1 << 16)
    try:
        start = file.peek(1 << 16)
        stream = io.TextIOWrapper(file, _encoding(start), errors="replace", newline="")
        text = stream.read(HEAD_CHARACTERS)
        text += stream.readline() if text[-1:] not in ("\n", "") else ""
    except (OSError, UnicodeError) as error:
        raise InputError(where, (f"cannot be read: {error}",)) from error
    if not text.strip():
        raise InputError(where, ("is empty",))
    line = text.strip().splitlines()[0]
    if "\0" in line:
        raise InputError(where, ("is no text: its first line holds zero bytes",))
    found = delimiter or _delimiter(text)
    if found is None:
        said = f"no delimiter found (tab, ; | , or space) in {shown(line)}; say it by --delimiter"
        raise InputError(where, (said,))
    return Head(where, text, stream, found, _cells(text, found))


def open_log(head: Head, told: Told) -> LogFile:
    """Find out how the log is to be read. `head` may be used again after an error.

    Raises UnansweredError when something has to be told first, and InputError for what was told
    and does not fit the file.
    """
    try:
        found = laid_out(head.rows, told)
    except LayoutError as error:
        raise InputError(head.where, (str(error),)) from error
    if not isinstance(found, Layout):
        raise UnansweredError(head.where, found)
    return LogFile(head, found)


def _encoding(start: bytes) -> str:
    for mark, encoding in _MARKS:
        if start.startswith(mark):
            return encoding
    try:
        start.decode("utf-8")
    except UnicodeDecodeError as error:
        # A character that is cut off at the end is no sign of another encoding.
        return "utf-8" if error.start > len(start) - 4 else "latin-1"
    return "utf-8"


def _cells(text: str, delimiter: str) -> Cells:
    """The rows of a text that have fields, each with the number of its last line."""
    reader = csv.reader(
        io.StringIO(text, newline=""), delimiter=delimiter, skipinitialspace=delimiter == " "
    )
    rows: Cells = []
    while True:
        try:
            for row in reader:
                if any(map(str.strip, row)):
                    rows.append((reader.line_num, row))
        except csv.Error:
            continue
        return rows


def _delimiter(text: str) -> str | None:
    """The first delimiter that gives three rows in five the same number of fields, two or more."""
    some = text[:_LOOKED_AT]
    for delimiter in _DELIMITERS:
        rows = _cells(some, delimiter)
        widths = Counter(len(row) for _, row in rows)
        width, count = widths.most_common(1)[0] if widths else (0, 0)
        if width > 1 and count >= 0.6 * len(rows):
            return delimiter
    return None
