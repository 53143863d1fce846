"""Bytes of a log to clean UTF-8 lines: encoding, line ends, NULs and the size limits, decided by looking at the bytes.

Everything later works on one form: UTF-8, lines ending in a line feed, no byte-order mark, no NUL. The number of lines is
kept, so that a line number is what an editor shows.
"""

import codecs
import os
import re
import stat
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from pullbook.handover import Fault

MAX_BYTES = 150_000_000
MAX_LINE = 1_000_000
CHUNK = 1 << 20
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
_ONE_BYTE = ("cp1252", "cp850", "mac_roman")
_WESTERN = set("äöüÄÖÜßéèêëàâáçñíóôòúùûìîïãõœæøåÉÈÀÇÑÓ°µμ²³·º«»–−’ÂÊÎÔÛΩωλΛ±×½€")


@dataclass(frozen=True, slots=True)
class Text:
    """``data``: UTF-8 bytes, lines ending in ``\\n`` or ``\\r\\n``, NULs replaced by :data:`MARK`; ``encoding``: what the file was in."""

    data: bytes
    encoding: str
    warnings: tuple[str, ...] = ()


def read_text(path: Path, *, shown: str) -> Text | Fault:
    """Read a log's bytes and bring them to UTF-8 lines.

    Parameters
    ----------
    path
        The log. It is opened for reading only, and only where it is a regular file.
    shown
        Its name in messages.

    Returns
    -------
    Text or Fault
        A fault where the file cannot be opened, is empty, too long, binary, a picture, a document or markup.
    """

    def fault(found: str, expected: str = _TABLE, remedy: str = _EXPORT, line: int | None = None) -> Fault:
        return Fault(shown, line, None, found, expected, remedy)

    try:
        with os.fdopen(_open_at_once(path), "rb") as file:
            about = os.fstat(file.fileno())
            if not stat.S_ISREG(about.st_mode):
                return fault("something that is no regular file", "a regular file", "move it out of the day folder")
            if about.st_size > MAX_BYTES:
                return fault(
                    f"{about.st_size / 1e6:.0f} MB", f"at most {MAX_BYTES / 1e6:.0f} MB a log", "split the log into shorter files"
                )
            data = file.read(about.st_size + 1)
    except OSError as trouble:
        return fault(
            f"a file that cannot be read ({(trouble.strerror or 'unknown trouble').lower()})",
            "a readable file",
            "give the right to read it",
        )
    if not data[:4096].strip(_NOTHING) and not data.strip(_NOTHING):
        return fault("an empty file" if not data else "a file without any text")
    if what := _what_else(data):
        return fault(what, line=1 if what == "a web page or other markup" else None)
    decoded, encoding = _to_utf8(data)
    del data
    if encoding is None or _looks_binary(decoded):
        return fault("binary data, no text")
    warnings: list[str] = []
    if b"\x00" in decoded or MARK in decoded:
        if b"\x00" in decoded:
            warnings.append(
                f"{shown.rsplit(chr(47), 1)[-1]}: {decoded.count(0)} NUL bytes were passed over (a recorder that lost power leaves them)"
            )
        decoded = decoded.replace(b"\x00", MARK)
    if b"\r" in decoded and not _pairs_only(decoded):
        decoded = decoded.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    if b'"' in decoded[:JOIN]:
        decoded = _join_quoted_names(decoded)
    if (line := _long_line(decoded)) is not None:
        return fault(f"a line of more than {MAX_LINE} characters", line=line)
    return Text(decoded, encoding, tuple(warnings))


def _join_quoted_names(data: bytes) -> bytes:
    """Names with a line break inside their quotes, in the first lines alone, are put on one line; blank lines keep the count."""
    edge = data.find(b"\n", JOIN)
    head, rest = (data[: edge + 1], data[edge + 1 :]) if edge >= 0 else (data, b"")
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
    return b"\n".join(out) + rest


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


def _to_utf8(data: bytes) -> tuple[bytes, str | None]:
    """UTF-8 bytes without a mark, and Python's name of the codec they came in (None: no text)."""
    if data.startswith(codecs.BOM_UTF8):
        rest = _utf8(data[3:])
        return (rest if rest is not None else data[3:].decode("utf-8", "replace").encode()), "utf-8-sig"
    for mark, codec in ((codecs.BOM_UTF32_LE, "utf-32"), (codecs.BOM_UTF16_LE, "utf-16"), (codecs.BOM_UTF16_BE, "utf-16")):
        if data.startswith(mark):
            return data.decode(codec, "replace").encode("utf-8", "replace"), codec
    head = data[:65536]
    for first, codec in ((1, "utf-16-le"), (0, "utf-16-be")):
        zeros, others = head[first::2], head[1 - first :: 2]
        if zeros.count(0) > 0.8 * len(zeros) and others.count(0) < 0.1 * len(others):
            return data.decode(codec, "replace").encode("utf-8", "replace"), codec
    if (whole := _utf8(data)) is not None:
        return whole, "utf-8"
    return _from_one_byte(data)


def _utf8(data: bytes) -> bytes | None:
    """The data where they are UTF-8 (without the part of a last character that was cut off), else None."""
    if data.isascii():
        return data
    whole = data
    edge = data.rfind(b"\n", 0, 65536) + 1  # umlauts and degree signs mostly stand in the first lines alone
    if edge and highest_byte(data, edge) < 128:
        data = data[:edge]
    try:
        data.decode("utf-8")
    except UnicodeDecodeError as trouble:
        cut = len(data) == len(whole) and trouble.start >= len(data) - 3 and trouble.reason == "unexpected end of data"
        return data[: trouble.start] if cut and trouble.start else None
    return whole


def _from_one_byte(data: bytes) -> tuple[bytes, str | None]:
    """Choose among the one-byte codecs of western Europe by the letters they give; ask the library for the rest."""
    marks = re.sub(rb"[\x00-\x7f]+", b" ", data[:2_000_000])[:20_000]
    best, score = "cp1252", -1.0
    for codec in _ONE_BYTE:
        letters = marks.decode(codec, "replace").replace(" ", "")
        share = sum(c in _WESTERN for c in letters) / len(letters)
        if share > score + 0.1:
            best, score = codec, share
    if score < 0.5:
        if data[:65536].translate(None, bytes(range(32, 127)) + b"\t\r\n\x00\x1a").__len__() > 0.3 * len(data[:65536]):
            return data, None
        from charset_normalizer import from_bytes

        guess = from_bytes(data[:200_000]).best()
        best = guess.encoding if guess is not None else best
    for codec in (best, "cp1252"):
        sample = marks.decode(codec, "replace")
        if codec in _ONE_BYTE and sample.count("\ufffd") <= 0.02 * len(sample):
            return _transcode(data, codec), codec
        if codec not in _ONE_BYTE and (text := data.decode(codec, "replace")).count("\ufffd") <= 0.001 * len(text) + 8:
            return text.encode(), codec
    return _transcode(data, "latin-1"), "latin-1"


def _transcode(data: bytes, codec: str) -> bytes:
    """One-byte codec to UTF-8: where few bytes are no ASCII only they are touched."""
    view = np.frombuffer(data, np.uint8)
    places = [np.flatnonzero(view[at : at + CHUNK] > 127) + at for at in range(0, len(view), CHUNK)]
    marks = np.concatenate(places)
    if len(marks) > 50_000:
        return data.decode(codec, "replace").encode()
    pieces, at = [], 0
    for i in marks.tolist():
        pieces += (data[at:i], data[i : i + 1].decode(codec, "replace").encode())
        at = i + 1
    return b"".join([*pieces, data[at:]])


def _pairs_only(data: bytes) -> bool:
    """Whether every carriage return is followed by a line feed: such lines may stay as they are."""
    view = np.frombuffer(data, np.uint8)
    if view[-1] == 13:
        return False
    for at in range(0, len(view), CHUNK):
        returns = np.flatnonzero(view[at : at + CHUNK] == 13) + at
        if not (view[returns + 1] == 10).all():
            return False
    return True


def highest_byte(data: bytes, start: int) -> int:
    """Largest byte from ``start`` on, without a copy of the data."""
    view = np.frombuffer(data, np.uint8)
    return max((int(view[at : at + CHUNK].max()) for at in range(start, len(view), CHUNK)), default=0)


def count_byte(data: bytes, byte: bytes, start: int = 0) -> int:
    """How often one byte stands in the data from ``start`` on; faster than ``bytes.count`` where it is frequent."""
    view = np.frombuffer(data, np.uint8)
    return sum(int(np.count_nonzero(view[at : at + CHUNK] == byte[0])) for at in range(start, len(view), CHUNK))


def _looks_binary(data: bytes) -> bool:
    """More than a trace of control characters anywhere (NULs and end marks apart) means no text."""
    for start in {0, len(data) // 2, max(len(data) - 65536, 0)}:
        piece = data[start : start + 65536]
        if len(piece) - len(piece.translate(None, _CONTROL)) > 0.01 * len(piece) + 2:
            return True
    return data.count(0) > 0.5 * len(data) and b"\n" not in data


def _long_line(data: bytes) -> int | None:
    """Number of the first line that is longer than any log's, found by jumping from limit to limit."""
    start, size = 0, len(data)
    while size - start > MAX_LINE:
        end = data.rfind(b"\n", start, start + MAX_LINE + 1)
        if end < 0:
            return data.count(b"\n", 0, start) + 1
        start = end + 1
    return None
