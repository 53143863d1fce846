"""Tables aligned by spaces whose slow columns are left blank: the place of a number tells its column."""

import re
from collections import defaultdict
from itertools import pairwise

import polars as pl

MOST_LINES = 300_000
BLANK = "-"


def fill_blanks(lines: pl.Series) -> pl.Series:
    """Put a dash where a row leaves a column blank, so that every row has all its columns.

    Parameters
    ----------
    lines
        Shape (lines,), as in the file.

    Returns
    -------
    pl.Series
        Same shape; only rows that leave the same columns blank as at least two others are touched: a lone short row is broken.
    """
    starts = lines.str.contains(r"^\s*[-+]?\d").fill_null(False)
    counts = lines.str.count_matches(r"\S+")
    tally = counts.filter(starts).value_counts(sort=True)
    rows = int(starts.sum())
    wide = max((c for c, n in tally.iter_rows() if n >= max(3, 0.05 * rows)), default=0)
    short = (starts & (counts < wide) & (counts >= 2)).arg_true()
    if not short.len() or short.len() > MOST_LINES:
        return lines
    spans = _spans(lines.filter(starts & (counts == wide)).head(400).to_list(), wide)
    if any(a[1] > b[0] for a, b in pairwise(spans)):
        return lines
    by_blanks: dict[tuple[int, ...], list[tuple[int, str]]] = defaultdict(list)
    for at, text in zip(short.to_list(), lines.gather(short).to_list(), strict=True):
        taken = {_nearest(m.span(), spans) for m in re.finditer(r"\S+", text)}
        blanks = tuple(k for k in range(wide) if k not in taken)
        if len(blanks) == wide - len(text.split()):
            by_blanks[blanks].append((at, _with_dashes(text, [spans[k] for k in blanks])))
    last = int(starts.arg_true()[-1])
    filled = [pair for some in by_blanks.values() if len(some) >= 3 for pair in some if pair[0] != last or len(some) > 0.2 * rows]
    if not filled:
        return lines
    return lines.scatter([at for at, _ in filled], [text for _, text in filled])


def _spans(texts: list[str], wide: int) -> list[tuple[int, int]]:
    spans = [(10**6, -1)] * wide
    for text in texts:
        found = [m.span() for m in re.finditer(r"\S+", text)]
        spans = [(min(a, c), max(b, d)) for (a, b), (c, d) in zip(spans, found, strict=True)]
    return spans


def _nearest(place: tuple[int, int], spans: list[tuple[int, int]]) -> int:
    a, b = place
    gaps = [max(lo - b, a - hi, 0) - max(0, min(b, hi) - max(a, lo)) for lo, hi in spans]
    return gaps.index(min(gaps))


def _with_dashes(text: str, spans: list[tuple[int, int]]) -> str:
    for _, end in spans:
        text = text.ljust(end)
        if text[end - 1].isspace():
            text = text[: end - 1] + BLANK + text[end:]
    return text
