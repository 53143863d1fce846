"""Which codec a log's bytes are in, and the bytes as UTF-8; byte counting that touches little memory."""

import codecs
import re

import numpy as np

from pullbook.twofold import twofold

CHUNK = 1 << 20
LONG = 8_000_000
"""Bytes from which a second thread pays."""
_ONE_BYTE = ("cp1252", "cp850", "mac_roman")
_WESTERN = set("äöüÄÖÜßéèêëàâáçñíóôòúùûìîïãõœæøåÁÉÍÓÚÀÈÌÒÙÂÊÎÔÛËÏÇÑŒ°µμ²³·ºª«»–−’‘”“ΩωλΛ±×½€\u00a0")
_GROUPING = re.compile(rb"(?<=\d)[\x80-\xff](?=\d{3}(?!\d))")
"""A byte between a digit and exactly three digits: no letter stands there, only a sign that groups thousands."""
_GROUPS = set("\u00a0\u2009\u202f’´")


def to_utf8(data: bytes) -> tuple[bytes, str | None]:
    """UTF-8 bytes without a mark, and Python's name of the codec they came in (None: no text)."""
    if data.startswith(codecs.BOM_UTF8):
        rest = _utf8(data[3:])
        return (rest if rest is not None else data[3:].decode("utf-8", "replace").encode()), "utf-8-sig"
    for mark, codec in ((codecs.BOM_UTF32_LE, "utf-32"), (codecs.BOM_UTF16_LE, "utf-16"), (codecs.BOM_UTF16_BE, "utf-16")):
        if data.startswith(mark):
            return _whole_pairs(data).decode(codec, "replace").encode("utf-8", "replace"), codec
    head = data[:65536]
    for first, codec in ((1, "utf-16-le"), (0, "utf-16-be")):
        zeros, others = head[first::2], head[1 - first :: 2]
        if zeros.count(0) > 0.8 * len(zeros) and others.count(0) < 0.1 * len(others):
            return _whole_pairs(data).decode(codec, "replace").encode("utf-8", "replace"), codec
    if (whole := _utf8(data)) is not None:
        return whole, "utf-8"
    return _from_one_byte(data)


def _whole_pairs(data: bytes) -> bytes:
    """The data without the half of a last character that a file cut off leaves."""
    return data[: len(data) // 2 * 2]


def _utf8(data: bytes) -> bytes | None:
    """The data where they are UTF-8 (without the part of a last character that was cut off), else None."""
    if data.isascii():
        return data
    edge = data.rfind(b"\n", 0, 65536) + 1  # umlauts and degree signs mostly stand in the first lines alone
    try:
        data[:edge].decode("utf-8")
        if not edge or highest_byte(data, edge) > 127:
            data.decode("utf-8")
    except UnicodeDecodeError as trouble:
        # a file cut inside a character at its very end is still UTF-8
        cut = trouble.start >= len(data) - 3 and trouble.reason == "unexpected end of data"
        return data[: trouble.start] if cut and trouble.start else None
    return data


def _from_one_byte(data: bytes) -> tuple[bytes, str | None]:
    """Choose among the one-byte codecs of western Europe by the letters they give; ask the library for the rest."""
    head = data[:2_000_000]
    grouping = b"".join(set(_GROUPING.findall(head)))
    marks = re.sub(rb"[\x00-\x7f]+", b" ", _GROUPING.sub(b"", head) if grouping else head)[:20_000]
    best, score = "cp1252", -1.0
    for codec in _ONE_BYTE:
        letters = marks.decode(codec, "replace").replace(" ", "")
        share = sum(c in _WESTERN for c in letters) / len(letters) if letters else 1.0
        share *= 1.0 if set(grouping.decode(codec, "replace")) <= _GROUPS else 0.5
        if share > score + 0.1:
            best, score = codec, share
    if score < 0.5:
        if len(data[:65536].translate(None, bytes(range(32, 127)) + b"\t\r\n\x00\x1a")) > 0.3 * len(data[:65536]):
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
    pieces: list[bytes] = []
    at = 0
    for i in marks.tolist():
        pieces += (data[at:i], data[i : i + 1].decode(codec, "replace").encode())
        at = i + 1
    return b"".join([*pieces, data[at:]])


def pairs_only(data: bytes) -> bool:
    """Whether every carriage return is followed by a line feed: such lines may stay as they are."""
    view = np.frombuffer(data, np.uint8)
    if not len(view) or view[-1] == 13:
        return not len(view)
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

    def count(at: int) -> int:
        return int(np.count_nonzero(view[at : at + CHUNK] == byte[0]))

    return sum(twofold(count, range(start, len(view), CHUNK), long=len(view) > LONG))
