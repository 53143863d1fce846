"""The paper's letters: DejaVu Sans, regular and bold, how wide they are, and the part of the font file that a document needs.

A TrueType file is a list of tables (ISO/IEC 14496-22). A PDF wants the outlines of the letters used and next to nothing else, so
they are taken out here; a general library for fonts spends most of its time on tables that are then thrown away.
"""

from collections.abc import Mapping, Sequence
from functools import cache
from pathlib import Path
from struct import pack, pack_into, unpack_from

import numpy as np
from matplotlib.font_manager import FontProperties, findfont, get_font

SCREEN = "DejaVu Sans"
_KEPT = ("cvt ", "fpgm", "prep")
"""Tables that set outlines on a coarse grid; carried over as they are."""
_WORDS, _STEP, _MORE, _TWO_STEPS, _MATRIX = 0x0001, 0x0008, 0x0020, 0x0040, 0x0080
"""Flags of a part of a composite letter: long offsets, one scale, more parts follow, two scales, a matrix."""


class Typeface:
    """One weight of the paper's font. Lengths in thousandths of the letter size, as PDF counts them.

    Attributes
    ----------
    name
        The PostScript name.
    letters
        The number of the outline of every character the font has, by code point.
    box, ascent, descent
        The box round all letters (left, bottom, right, top), and how far they reach up and down.
    """

    def __init__(self, *, bold: bool) -> None:
        path = Path(findfont(FontProperties(family=SCREEN, weight="bold" if bold else "normal")))
        self.name = "DejaVuSans-Bold" if bold else "DejaVuSans"
        self.letters: Mapping[int, int] = get_font(path).get_charmap()
        data = path.read_bytes()
        where = [unpack_from(">4s4xII", data, 12 + 16 * i) for i in range(unpack_from(">H", data, 4)[0])]
        self._tables = {tag.decode("latin-1"): data[at : at + size] for tag, at, size in where}
        head, hhea = self._tables["head"], self._tables["hhea"]
        self._per_em = int(unpack_from(">H", head, 18)[0])
        long = unpack_from(">h", head, 50)[0] == 1
        self._starts = np.frombuffer(self._tables["loca"], ">u4" if long else ">u2").astype(int) * (1 if long else 2)
        self._metrics = int(unpack_from(">H", hhea, 34)[0])
        self.box = tuple(self._thousandths(v) for v in unpack_from(">4h", head, 36))
        self.ascent, self.descent = (self._thousandths(v) for v in unpack_from(">2h", hhea, 4))

    def _thousandths(self, units: int) -> float:
        return units * 1000 / self._per_em

    def _metric(self, outline: int) -> tuple[int, int]:
        """Advance and left bearing of an outline, font units."""
        table, last = self._tables["hmtx"], self._metrics - 1
        if outline <= last:
            advance, bearing = unpack_from(">Hh", table, 4 * outline)
        else:
            (advance,) = unpack_from(">H", table, 4 * last)
            (bearing,) = unpack_from(">h", table, 4 * self._metrics + 2 * (outline - self._metrics))
        return advance, bearing

    def advance(self, outline: int) -> float:
        """How far an outline moves the pen."""
        return self._thousandths(self._metric(outline)[0])

    def heights(self, outline: int) -> tuple[float, float]:
        """Lowest and highest point of an outline; both 0 where there is nothing to see."""
        start, end = self._starts[outline], self._starts[outline + 1]
        if start == end:
            return 0.0, 0.0
        low, high = unpack_from(">h2xh", self._tables["glyf"], start + 4)
        return self._thousandths(low), self._thousandths(high)

    def part(self, outlines: Sequence[int]) -> bytes:
        """A font file of these outlines alone, numbered in this order; the first is drawn for what the font does not have."""
        order, at = list(outlines), {outline: i for i, outline in enumerate(outlines)}
        bodies = [self._body(outline, order, at) for outline in order]  # which grows: a composite letter brings its parts along
        head, hhea, maxp = (bytearray(self._tables[tag]) for tag in ("head", "hhea", "maxp"))
        pack_into(">I", head, 8, 0)  # the sum of the whole file, which readers of a PDF do not ask for
        pack_into(">h", head, 50, 1)
        pack_into(">H", hhea, 34, len(order))
        pack_into(">H", maxp, 4, len(order))
        ends = np.cumsum([0, *map(len, bodies)])
        tables = {tag: self._tables[tag] for tag in _KEPT if tag in self._tables}
        tables |= {"glyf": b"".join(bodies), "head": bytes(head), "hhea": bytes(hhea), "maxp": bytes(maxp)}
        tables |= {"hmtx": b"".join(pack(">Hh", *self._metric(o)) for o in order), "loca": ends.astype(">u4").tobytes()}
        return _joined(tables)

    def _body(self, outline: int, order: list[int], at: dict[int, int]) -> bytes:
        """An outline's bytes; the parts of a composite one are numbered anew and added to ``order``."""
        body = bytearray(self._tables["glyf"][self._starts[outline] : self._starts[outline + 1]])
        if body and unpack_from(">h", body)[0] < 0:
            place, flags = 10, _MORE
            while flags & _MORE:
                flags, part = unpack_from(">HH", body, place)
                if part not in at:
                    at[part] = len(order)
                    order.append(part)
                pack_into(">H", body, place + 2, at[part])
                place += 8 if flags & _WORDS else 6
                place += 2 if flags & _STEP else 4 if flags & _TWO_STEPS else 8 if flags & _MATRIX else 0
        return bytes(body) + bytes(-len(body) % 4)


def _joined(tables: dict[str, bytes]) -> bytes:
    """A font file of tables: its directory, then each on a boundary of four bytes."""
    count = len(tables)
    power = 1 << (count.bit_length() - 1)
    head = pack(">IHHHH", 0x00010000, count, 16 * power, power.bit_length() - 1, 16 * (count - power))
    body, start = b"", len(head) + 16 * count
    for tag, data in sorted(tables.items()):
        padded = data + bytes(-len(data) % 4)
        total = int(np.frombuffer(padded, ">u4").sum(dtype=np.uint64)) & 0xFFFFFFFF
        head += pack(">4sIII", tag.encode("latin-1"), total, start + len(body), len(data))
        body += padded
    return head + body


@cache
def typeface(bold: bool) -> Typeface:
    """The paper's font, read once a process."""
    return Typeface(bold=bold)
