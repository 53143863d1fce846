"""Logs in which the comma parts the cells and marks the decimals too, read where every line proves how its cells pair.

``0,10,3105,0,175,8`` under three names is three numbers when every row of the file has twice as many cells as there are names,
every second cell is a fraction, as long in all rows of its column, and none can be a group of thousands. Else nothing tells.
"""

import polars as pl

from pullbook.text.header import Header
from pullbook.text.slabs import Lines

_WHOLE = r"(?:[-+]?\d+|\d{1,2}:\d{2}(?::\d{2})?)"
REMARK = (
    "the comma parts cells and marks decimals: every row has twice as many cells as there are names, so they were read in pairs"
)


def pairs_proved(lines: Lines, head: Header) -> bytes | None:
    """The lines with a point for the comma inside each number.

    Parameters
    ----------
    lines
        The log's.
    head
        Its header, on a line of its own.

    Returns
    -------
    bytes or None
        As many lines, the same header; None where a line below the header is neither blank, nor the same header again, nor a row
        of pairs, where a column's fractions differ in length, or where all of a column's could be groups of thousands.
    """
    if head.line is None or head.width != 2 * len(head.names):
        return None
    first = lines[head.first_data - 1].strip(" \r").split(",")
    sizes = [len(cell) for cell in first[1::2]]
    if len(first) != head.width or not all(1 <= size <= 3 for size in sizes):
        return None
    row = "^ *" + ",".join(rf"{_WHOLE},\d{{{size}}}" for size in sizes) + " *\r?$"
    grouped = [k for k, size in enumerate(sizes) if size == 3]
    may_group = dict.fromkeys(grouped, True)
    out, names = [], lines[head.line - 1]
    for start, some in lines.slabs():
        body = some.slice(max(head.first_data - 1 - start, 0)) if start + len(some) >= head.first_data else some.clear()
        filled = body.filter((body.str.strip_chars(" \r") != "") & (body != names))
        if not filled.str.contains(row).all():
            return None
        for k in grouped:
            cell = filled.str.extract(rf"^ *(?:[^,]*,){{{2 * k}}}([^,]*),", 1)
            may_group[k] = may_group[k] and bool(cell.str.contains(r"^[-+]?[1-9]\d{0,2}$").all())
        mended = body.str.replace_all(rf"({_WHOLE}),(\d+)(,|\s*$)", "${1}.${2}${3}")
        mended = pl.select(pl.when(body == names).then(body).otherwise(mended)).to_series()
        out += [some.head(len(some) - len(body)), mended]
    if any(may_group.values()):
        return None
    return ("\n".join(pl.concat(out).to_list()) + "\n").encode()


def may_be_pairs(head: Header) -> bool:
    """Whether rows have so many more cells than there are names that a comma may do two things at once."""
    return head.line is not None and 1.5 * len(head.names) <= head.width <= 2 * len(head.names)
