"""Bytes of a log to clean UTF-8 lines: encoding, line ends, NULs and the size limits, decided by looking at the bytes.

Everything later works on one form: UTF-8, lines ending in a line feed, no byte-order mark, no NUL. The number of lines is
kept, so that a line number is what an editor shows.
"""

import codecs
import io
import os
import re
import stat
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

from pullbook.handover import Fault
from pullbook.text.encoding import LONG, count_byte, pairs_only, to_utf8
from pullbook.text.raw import MOST_LINES
from pullbook.text.respelled import respelled
from pullbook.text.spaces import plain_spaces

MAX_BYTES = 180_000_000
MAX_LINE = 1_000_000
EDGE = 65_536
JOIN = 8_000
"""Bytes from the top in which a quoted name may run over several lines."""
MARK = b"\x1a"
"""What stands where a NUL stood: no log needs it, and a line that has it was not written whole."""

_TABLE = "a table of numbers with a line of column names, as plain text"
_EXPORT = "export the log again as CSV text; columns.yaml cannot help here, or move the file out of the day folder"
_NOTHING = b"\x00\x1a \t\r\n\xef\xbb\xbf\xff\xfe"
_MAGIC = (
    (b"\x89PNG", "a picture (PNG)"),
    (b"\xff\xd8\xff", "a picture (JPEG)"),
    (b"GIF8", "a picture (GIF)"),
    (b"RIFF", "a picture or sound file (RIFF)"),
    (b"BM", "a picture (bitmap)"),
    (b"II*\x00", "a picture (TIFF)"),
    (b"%PDF", "a PDF document"),
    (b"PK\x03\x04", "a spreadsheet or zip file"),
    (b"\xd0\xcf\x11\xe0", "an old spreadsheet or office file"),
    (b"\x1f\x8b", "a compressed file (gzip)"),
    (b"\x7fELF", "a program"),
    (b"MZ\x90", "a program"),
    (b"PAR1", "a Parquet file"),
    (b"SQLite format", "a database file"),
)
_MARKUP = re.compile(rb"\s*(?:<!doctype|<html|<head|<body|<\?xml|<svg|<table)", re.I)
_CONTROL = bytes(c for c in range(32) if c not in b"\t\n\r\x00\x0b\x0c\x1a")


@dataclass(slots=True)
class Text:
    """``data``: UTF-8 bytes, lines ending in ``\\n`` or ``\\r\\n``, NULs replaced by :data:`MARK`; ``encoding``:
    what the file was in. A reader that has mended the data may empty ``data``."""

    data: bytes
    encoding: str
    warnings: tuple[str, ...] = ()


def read_text(path: Path, *, shown: str) -> Text | Fault:
    """Read a log's bytes and bring them to UTF-8 lines: :func:`read_bytes`, then :func:`clean_text`."""
    data = read_bytes(path, shown=shown)
    return data if isinstance(data, Fault) else clean_text(data, shown=shown)


def read_bytes(path: Path, *, shown: str) -> bytes | Fault:
    """Read a log's bytes.

    Parameters
    ----------
    path
        The log. It is opened for reading only, and only where it is a regular file.
    shown
        Its name in messages.

    Returns
    -------
    bytes or Fault
        A fault where the file cannot be opened, is empty, too long, of too many lines, a picture, a document or markup.
    """
    try:
        with os.fdopen(_open_at_once(path), "rb") as file:
            about = os.fstat(file.fileno())
            if not stat.S_ISREG(about.st_mode):
                return _fault(shown, "something that is no regular file", "a regular file", "move it out of the day folder")
            if about.st_size > MAX_BYTES:
                found = f"{about.st_size / 1e6:.0f} MB"
                return _fault(shown, found, f"at most {MAX_BYTES / 1e6:.0f} MB a log", "split the log into shorter files")
            data = _read_twofold(file.fileno(), about.st_size) or file.read(about.st_size + 1)
    except OSError as trouble:
        found = f"a file that cannot be read ({(trouble.strerror or 'unknown trouble').lower()})"
        return _fault(shown, found, "a readable file", "give the right to read it")
    if not data[:4096].strip(_NOTHING) and not data.strip(_NOTHING):
        return _fault(shown, "an empty file" if not data else "a file without any text")
    if what := _what_else(data):
        return _fault(shown, what, line=1 if what == "a web page or other markup" else None)
    if len(data) > EDGE and data.count(b"\n", 0, EDGE) * len(data) > 0.9 * MOST_LINES * EDGE:
        return too_many_lines(data, shown=shown) or data
    return data


def too_many_lines(data: bytes, *, shown: str) -> Fault | None:
    """The fault of a log of more lines than may be held, looked for before anything else is made of them.

    Parameters
    ----------
    data
        Lines that end in a line feed.
    shown
        The log's name in messages.
    """
    if (lines := count_byte(data, b"\n")) <= MOST_LINES:
        return None
    found, expected = f"{lines / 1e6:.1f} million lines", f"at most {MOST_LINES / 1e6:.0f} million lines a log"
    return _fault(shown, found, expected, "split the log into shorter files")


def clean_text(data: bytes, *, shown: str) -> Text | Fault:
    """A log's bytes as UTF-8 lines; a fault where they are binary, or a line is longer than any log's.

    Parameters
    ----------
    data
        The file's bytes, in whatever encoding.
    shown
        The log's name in messages.
    """
    decoded, encoding = to_utf8(data)
    del data
    if encoding is None or looks_binary(decoded):
        return _fault(shown, "binary data, no text")
    warnings: list[str] = []
    if b"\x00" in decoded or MARK in decoded:
        if b"\x00" in decoded:
            warnings.append(
                f"{shown.rsplit(chr(47), 1)[-1]}: {decoded.count(0)} NUL bytes were passed over (a recorder that lost "
                "power leaves them)"
            )
        decoded = decoded.replace(b"\x00", MARK)
    if b"\r" in decoded and not _ends_in_pairs(decoded):
        decoded = line_feeds(decoded)
    decoded = plain_spaces(decoded)
    decoded = respelled(decoded)
    if b'="' in decoded[:EDGE]:  # a spreadsheet's way to keep a number text: ="12"
        decoded = decoded.replace(b'="', b'"')
    if b'"' in decoded[:JOIN]:
        decoded = _join_quoted_names(decoded)
    if (line := long_line(decoded)) is not None:
        return _fault(shown, f"a line of more than {MAX_LINE} characters", line=line)
    return Text(decoded, encoding, tuple(warnings))


def _fault(shown: str, found: str, expected: str = _TABLE, remedy: str = _EXPORT, line: int | None = None) -> Fault:
    return Fault(shown, line, None, found, expected, remedy)


def _join_quoted_names(data: bytes) -> bytes:
    """Names with a line break inside their quotes, in the first lines alone, are put on one line; blank lines keep the count."""
    edge = data.find(b"\n", JOIN)
    head = data[: edge + 1] if edge >= 0 else data
    lines, out, at = head.split(b"\n"), [], 0
    while at < len(lines):
        line, taken = lines[at], 1
        while line.count(b'"') % 2 and taken < 7 and at + taken < len(lines) and not lines[at + taken].lstrip(b' "')[:1].isdigit():
            line = line.rstrip(b"\r") + b" " + lines[at + taken]
            taken += 1
        if taken == 1 or line.count(b'"') % 2:
            line, taken = lines[at], 1
        out += [line, *[b""] * (taken - 1)]
        at += taken
    return b"\n".join(out) + data[len(head) :] if out != lines else data


def line_feeds(data: bytes) -> bytes:
    """Every kind of line end as a line feed."""
    return data if pairs_only(data) else data.replace(b"\r\n", b"\n").replace(b"\r", b"\n")


def _ends_in_pairs(data: bytes) -> bool:
    """Whether the first and the last lines all end in a pair; a lone return between them is met by the strict parser."""
    top = data[: data.rfind(b"\n", 0, EDGE) + 1]
    end = data[data.find(b"\n", max(len(data) - EDGE, 0)) + 1 :]
    return bool(top) and pairs_only(top) and (not end or pairs_only(end))


def _read_twofold(file: int, size: int) -> bytes:
    """A long file's bytes, its halves read at the same time (most of the time goes to fresh memory); nothing where that fails."""
    if size < LONG or not hasattr(os, "preadv"):
        return b""
    buffer = io.BytesIO(bytes(size))  # memory not touched yet, which nobody else holds: it becomes the result without a copy
    with buffer.getbuffer() as memory, ThreadPoolExecutor(2) as pool:

        def fill(first: int, stop: int) -> bool:
            while first < stop and (got := os.preadv(file, [memory[first:stop]], first)):
                first += got
            return first == stop

        whole = all(pool.map(fill, (0, size // 2), (size // 2, size)))
    return buffer.getvalue() if whole else b""


def _open_at_once(path: Path) -> int:
    """Open without waiting: a pipe put in place of a log must not hold the run."""
    return os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))


def _what_else(data: bytes) -> str | None:
    """Name what the first bytes say the file is, when that is no log."""
    head = data[:4096]
    for magic, what in _MAGIC:
        if head.startswith(magic) and (len(magic) > 2 or b"\x00" in head):
            return what
    return "a web page or other markup" if _MARKUP.match(head.removeprefix(codecs.BOM_UTF8)) else None


def looks_binary(data: bytes) -> bool:
    """More than a trace of control characters anywhere (NULs and end marks apart) means no text."""
    for start in {0, len(data) // 2, max(len(data) - 65536, 0)}:
        piece = data[start : start + 65536]
        if len(piece) - len(piece.translate(None, _CONTROL)) > 0.01 * len(piece) + 2:
            return True
    return b"\n" not in data and data.count(0) > 0.5 * len(data)


def long_line(data: bytes) -> int | None:
    """Number of the first line that is longer than any log's, found by jumping from limit to limit."""
    start, size = 0, len(data)
    while size - start > MAX_LINE:
        end = data.rfind(b"\n", start, start + MAX_LINE + 1)
        if end < 0:
            return data.count(b"\n", 0, start) + 1
        start = end + 1
    return None
