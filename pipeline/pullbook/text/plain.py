"""The short ways: a log whose bytes pass checks over the whole file goes through the library's own parser for numbers.

Clean bytes go as they are; a messy log is mended first (:mod:`mend`): its odd lines are looked at one by one, everything else
stays bytes. Where that is not enough None is returned and the general way of :mod:`grid` is taken; all three give one table.
"""

import polars as pl

from pullbook.text.aligned import fill_blanks
from pullbook.text.cells import is_label
from pullbook.text.encoding import count_byte
from pullbook.text.layout import Layout, is_spaced, lay_out
from pullbook.text.line_bytes import may_be_cut
from pullbook.text.mend import mend
from pullbook.text.raw import RawLog
from pullbook.text.strict import mended_log, parse, raw_log
from pullbook.text.text import MARK, Text


def read_plain(text: Text, *, shown: str) -> RawLog | None:
    """Read a log's table by the short way.

    Parameters
    ----------
    text
        Clean lines. Its ``data`` are empty afterwards where they were changed on the way: the log is to be read again.
    shown
        The log's name in messages.

    Returns
    -------
    RawLog or None
        Numbers for numeric columns, text for clocks and words; None where the general way must look.
    """
    layout = lay_out(text.data)
    if layout is None and is_spaced(text.data):  # a column left blank, perhaps
        text.data = fill_blanks(text.data)
        layout = lay_out(text.data)
    if layout is None:
        return None
    if _is_clean(text.data, layout):
        rows = count_byte(text.data, b"\n", layout.offset) + (not text.data.endswith(b"\n"))
        if (parsed := parse(text, layout, rows=rows)) is not None:
            cells, spans = parsed
            if layout.clocks[0] and any(map(is_label, cells["0"].filter(cells["0"].str.contains(r"^\p{L}{2}")).to_list())):
                return None  # a summary under the rows: "Max;5400;212"
            lines = pl.int_range(layout.head.first_data, layout.head.first_data + rows, eager=True)
            return raw_log(layout, cells, lines, None, 0, text.warnings, spans)
    mended = mend(text, layout, name=shown.rsplit("/", 1)[-1])
    return mended_log(mended, layout, text.warnings) if mended is not None else None


def _is_clean(data: bytes, layout: Layout) -> bool:
    """Whether no quote, torn line, second mark, blank or broken row stands anywhere in the data lines."""
    if (
        layout.delimiter == " "
        or any(layout.behind)
        or not layout.regular
        or layout.thousands
        or layout.off_is_missing()
        or b'"' in data
        or MARK in data
    ):
        return False
    sign = layout.delimiter.encode()
    ends = data.endswith(b"\n")
    rows = count_byte(data, b"\n", layout.offset) + (not ends)
    if count_byte(data, sign, layout.offset) != rows * (layout.head.width - 1):
        return False
    other = b"," if layout.decimal == "." else b"."
    if sign != other and data.find(other, layout.offset) >= 0:
        return False
    return ends or not may_be_cut(data, layout.offset)
