"""The shortest way: a log of numbers alone goes straight to the library's parser, which is then the proof of its bytes.

The strict parser refuses every byte that no number has (NULs, letters, the other encoding, a lone return) and quotes that do not
pair off around one, so the body need not be looked at for them before. What it would pass over in silence is looked for: short
rows, blank lines, a point where the comma is the mark, a last line that was cut off. Where anything is left open the other ways
are taken (:mod:`plain`).
"""

import polars as pl

from pullbook.handover import Fault
from pullbook.text.encoding import count_byte
from pullbook.text.layout import lay_out
from pullbook.text.line_bytes import may_be_cut
from pullbook.text.plain import parse, raw_log
from pullbook.text.quotes import often_quoted
from pullbook.text.raw import RawLog
from pullbook.text.text import EDGE, MARK, clean_text, long_line

_WIDE = (b"\xff\xfe", b"\xfe\xff")


def read_straight(data: bytes, *, shown: str) -> tuple[RawLog, str] | None:
    """Read a log of numbers alone.

    Parameters
    ----------
    data
        The file's bytes, in whatever encoding.
    shown
        Its name in messages.

    Returns
    -------
    tuple or None
        The table and the encoding; None where another way must look.
    """
    edge = data.rfind(b"\n", 0, EDGE) + 1
    if not edge or data.startswith(_WIDE):
        return None
    head = clean_text(data[:edge], shown=shown)
    if isinstance(head, Fault) or head.warnings or MARK in head.data or head.data.count(b"\n") != data.count(b"\n", 0, edge):
        return None
    layout = lay_out(data, head.data)
    if (
        layout is None
        or layout.delimiter == " "
        or not layout.regular
        or any(layout.words)
        or layout.thousands
        or long_line(data) is not None
    ):
        return None
    if layout.decimal == "," and data.find(b".", layout.offset) >= 0:
        return None
    ends = data.endswith(b"\n")
    if not ends and may_be_cut(data, layout.offset):
        return None
    rows = count_byte(data, b"\n", layout.offset) + (not ends)
    skip, comma = layout.head.first_data - 1, layout.decimal == ","
    quoted = often_quoted(data, layout)
    cells = parse(data, layout, skip=skip, rows=rows, decimal_comma=comma, counted=False, quoted=quoted)
    if cells is None:
        return None
    lines = pl.int_range(skip + 1, skip + 1 + rows, eager=True)
    return raw_log(layout, cells, lines, None, 0, ()), head.encoding
