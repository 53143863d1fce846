"""The shortest way: a log goes from its bytes to the library's parser, which is then the proof of them.

The strict parser refuses every byte that no number has (NULs, letters, the other encoding, a lone return) and quotes that do not
pair off around one, so the body need not be looked at for them before. What it would pass over in silence is looked for: short
rows, blank lines, a point where the comma is the mark, a last line that was cut off. A log with a few such lines is mended
(:mod:`mend`) in the encoding it has. Where anything is left open the other ways are taken (:mod:`plain`).
"""

import polars as pl

from pullbook.handover import Fault
from pullbook.text.encoding import count_byte, to_utf8
from pullbook.text.layout import Layout, lay_out, top_bytes
from pullbook.text.line_bytes import may_be_cut
from pullbook.text.mend import mend
from pullbook.text.quotes import often_quoted
from pullbook.text.raw import RawLog, Spans
from pullbook.text.respelled import respelled
from pullbook.text.strict import mended_log, parse, raw_log
from pullbook.text.text import EDGE, MARK, Text, clean_text, long_line, looks_binary

_WIDE = (b"\xff\xfe", b"\xfe\xff")


def read_straight(text: Text, *, shown: str) -> tuple[RawLog, str] | None:
    """Read a log of numbers and clocks.

    Parameters
    ----------
    text
        The file's bytes, in whatever encoding. They are empty afterwards where the table was made or they
        were changed on the way.
    shown
        Its name in messages.

    Returns
    -------
    tuple or None
        The table and the encoding; None where another way must look.
    """
    data = text.data
    edge = data.rfind(b"\n", 0, max(EDGE, top_bytes(data))) + 1
    if not edge or data.startswith(_WIDE):
        return None
    top = to_utf8(data[:edge])[0]
    if respelled(top) is not top:
        return None
    head = clean_text(data[:edge], shown=shown)
    if isinstance(head, Fault) or head.warnings or MARK in head.data or head.data.count(b"\n") != data.count(b"\n", 0, edge):
        return None
    layout = lay_out(data, head.data)
    if layout is None or layout.delimiter == " " or long_line(data) is not None:
        return None
    del data
    if (parsed := _numbers_alone(text, layout)) is not None:
        (cells, spans), first = parsed, layout.head.first_data
        return raw_log(layout, cells, pl.int_range(first, first + cells.height, eager=True), None, 0, (), spans), head.encoding
    if not text.data.endswith(b"\n") or b'="' in text.data[:EDGE] or often_quoted(text.data, layout) or looks_binary(text.data):
        return None
    mended = mend(text, layout, name=shown.rsplit("/", 1)[-1])
    raw = mended_log(mended, layout, ()) if mended is not None else None
    return (raw, mended.encoding) if mended is not None and raw is not None else None


def _numbers_alone(text: Text, layout: Layout) -> tuple[pl.DataFrame, Spans] | None:
    """Cells of a log in which nothing but numbers stands; None where it holds more, or a doubt."""
    if not layout.regular or any(layout.words) or layout.thousands or any(layout.behind):
        return None
    if layout.decimal == "," and text.data.find(b".", layout.offset) >= 0:
        return None
    ends = text.data.endswith(b"\n")
    if not ends and may_be_cut(text.data, layout.offset):
        return None
    rows = count_byte(text.data, b"\n", layout.offset) + (not ends)
    return parse(text, layout, rows=rows, counted=False, quoted=often_quoted(text.data, layout))
