"""Partition folders: ``engine=<value>/day=<value>`` with values percent-encoded as Hive does.

Hive escapes control characters and the characters in ``ESCAPED``; everything else, spaces and umlauts too, stands as it is.
A value longer than 200 encoded bytes is cut and ends in a hash of the whole name; the whole name is a column of every table.
"""

import hashlib
from pathlib import Path
from urllib.parse import unquote

from pullbook.book import printable

ESCAPED = frozenset("\"#%'*/:=?\\{[]^\x7f") | frozenset(map(chr, range(0x20)))
MOST_BYTES = 200
_HASH_DIGITS = 16


def encode(value: str) -> str:
    """One partition value as it stands in a folder name.

    Examples
    --------
    >>> encode("Müller's 350 [2]"), encode("2031-04-05")
    ('Müller%27s 350 %5B2%5D', '2031-04-05')
    """
    value = printable(value)
    encoded = _escaped(value)
    if len(encoded.encode()) <= MOST_BYTES:
        return encoded
    tail = "~" + hashlib.sha256(value.encode()).hexdigest()[:_HASH_DIGITS]
    room = MOST_BYTES - len(tail)
    kept: list[str] = []
    for letter in value:  # whole letters only: a cut inside %2F or inside an umlaut would decode to something else
        piece = _escaped(letter)
        room -= len(piece.encode())
        if room < 0:
            break
        kept.append(piece)
    return "".join(kept) + tail


def decode(encoded: str) -> str:
    """The value of :func:`encode` again (the cut form of a long one)."""
    return unquote(encoded, errors="surrogateescape")


def partition(engine: str, day: str) -> Path:
    """Where a day lies inside each table's folder."""
    return Path(partition_text(engine, day))


def partition_text(engine: str, day: str) -> str:
    """The same as text, for where thousands are looked at."""
    return f"engine={encode(engine)}/day={encode(day)}"


def day_key(engine: str, day: str) -> str:
    """A file-safe name for one engine's day, the same on every machine."""
    return hashlib.sha256(f"{printable(engine)}\n{printable(day)}".encode()).hexdigest()[:24]


def _escaped(text: str) -> str:
    if ESCAPED.isdisjoint(text):  # nearly every name, and there are thousands
        return text
    return "".join(f"%{ord(c):02X}" if c in ESCAPED else c for c in text)
