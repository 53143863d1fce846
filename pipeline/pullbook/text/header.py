"""Where the table begins: preamble, the line of column names (stacked or aligned by spaces too), the units row."""

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from pullbook.text.cells import is_filler, is_value, joined_stamps, split
from pullbook.vocabulary.claims import claims
from pullbook.vocabulary.naming import understand, unit_fits
from pullbook.vocabulary.units_text import Unit, unit_of

Numbered = tuple[int, str]
_ENDED = re.compile(r"[^\[({<]+[\[({<][^\])}>]*[\])}>]")
MOST_NAMES = 1_500
"""Names that are understood: a log of more columns is refused, and a hundred thousand took a minute."""
MANY_VALUES = 20
"""Values that no line of words holds, however many words stand between them: a wide log may have many columns of words."""
FAR = 8
"""Lines from the names down to the data, blank ones counted: names with line breaks in them leave some."""


@dataclass(frozen=True, slots=True)
class Header:
    """A header: its first line, the names, the unit cells under them, and ``first_data``, the first data line; lines count from 1.

    ``line`` None: no names at all; ``width``: cells of a data row, trailing blanks counted.
    """

    line: int | None
    names: tuple[str, ...]
    units: tuple[str | None, ...]
    first_data: int
    width: int


def find_header(lines: Sequence[Numbered], delimiter: str) -> Header | None:
    """The first header among the first non-blank lines of a log.

    Parameters
    ----------
    lines
        (line number, text) of non-blank lines from the top.
    delimiter
        As decided for the file.

    Returns
    -------
    Header or None
        None where no data row follows anywhere.
    """
    rows = [split(text, delimiter) for _, text in lines]
    start = _data_start(rows)
    if start is None:
        return None
    width = len(rows[start])
    names: list[tuple[int, list[str]]] = []
    data = [t for _, t in lines[start : start + 60]]
    below = lines[start][0]
    broken: list[int] = []
    for i in range(start - 1, max(start - 9, -1), -1):  # upwards, as long as lines follow each other (a blank one may part them)
        if below - lines[i][0] > (2 if names else FAR) or len(names) == 4:
            break
        if _is_rule(rows[i]) or (lines[i][1].lstrip()[:1] in ("#", "/", "%", "'") and not known_names(rows[i])):
            below = lines[i][0]
            continue
        if not _may_be_names(rows[i], width) and not _goes_on(rows, i, width):
            if names or len(broken) == 3:
                break
            broken.append(lines[i][0])  # a row that was not written whole, right under the names
            below = lines[i][0]
            continue
        names.append((i, _name_cells(lines[i][1], rows[i], delimiter, data, width)))
        below = lines[i][0]
    first_line = lines[start][0]
    if broken and names and (len(names[0][1]) == width or known_names(names[0][1]) >= 2):
        first_line = broken[-1]
    elif broken:
        names = []
    if not names:
        return Header(None, tuple(f"column {k + 1}" for k in range(width)), (None,) * width, first_line, width)
    names = [n for k, n in enumerate(names) if n[1] not in (m[1] for m in names[k + 1 :])]  # the same names twice are one header
    units = next((n for n in names if is_units_row(n[1])), None) if len(names) > 1 else None
    worded = [n for n in names if n is not units and (units is None or n[0] < units[0] or not is_units_row(n[1]))] or [names[0]]
    line, cells = _best_names(worded, lines, delimiter)
    if units is not None and known_names(cells) < 0.5 * known_names(
        units[1]
    ):  # units alone are the names ("s,rpm,Nm" under a remark)
        line, cells, units = lines[units[0]][0], units[1], None
    if units is not None and delimiter == " ":
        units = (units[0], _units_in_place(lines[units[0]][1], units[1], cells, [t for n, t in lines if n == line], width))
    pad = max(width, len(cells))
    unit_cells = tuple((units[1] + [""] * pad)[:pad]) if units else ("",) * pad
    return Header(line, tuple(cells), tuple(u or None for u in unit_cells)[: len(cells)], first_line, width)


def is_units_row(cells: Sequence[str]) -> bool:
    """Whether a row below the names holds units: most of its words are unit spellings and none is a number."""
    words = [c.strip("[](){}<> ") for c in cells if c.strip("[](){}<> ")]
    if all(re.fullmatch(r"[-–—]+", w) for w in words):
        return False
    known = sum(unit_of(w) is not None for w in words)
    return bool(words) and known >= max(1, 0.6 * len(words)) and not any(is_value(w) and w.strip("-–—") for w in words)


def is_data(cells: Sequence[str]) -> bool:
    """Whether a row holds values: more than half of what stands in it reads as numbers, times or dates, or many do."""
    filled = [c for c in cells if c]
    values = sum(map(is_value, filled))
    words = sum(not is_filler(c) and not is_value(c) for c in filled)
    return values > 0 and (values >= 1.5 * words or values >= MANY_VALUES) and (len(cells) > 1)


def looks_like_names(cells: Sequence[str]) -> bool:
    """Whether a row in the body may be a header: words, two or more, and not a single value."""
    filled = [c for c in cells if c and not re.fullmatch(r"[-–—=*_.]+", c)]
    words = [
        c
        for c in filled
        if re.search(r"[^\W\d]", c) and not is_value(c) and c.casefold() not in ("nan", "null", "none", "n/a", "off", "on")
    ]
    return len(words) >= 2 and not any(map(is_value, filled)) and len(words) >= 0.5 * len(filled)


def _data_start(rows: Sequence[Sequence[str]]) -> int | None:
    widths = Counter(len(r) for r in rows if is_data(r))
    if not widths:
        return None
    usual = widths.most_common(1)[0][0]
    full = sum(len([c for c in r if c]) for r in rows if len(r) == usual and is_data(r)) / widths[usual]
    for i, row in enumerate(rows):
        if not is_data(row) or len([c for c in row if c]) < min(0.34 * full, 2):
            continue
        ahead = rows[i + 1 : i + 4]
        alike = sum(is_data(r) and len(r) == len(row) for r in ahead)
        if alike == 3 or (len(row) == usual and (alike >= min(2, len(ahead)) or _under_names(rows, i, usual))):
            return i  # one row may stand alone between its names and the same names again
    return None


def _under_names(rows: Sequence[Sequence[str]], i: int, width: int) -> bool:
    """Whether the row right above, or above remarks, rules and units, holds names."""
    for row in reversed(rows[max(0, i - 4) : i]):
        if _may_be_names(row, width) and not is_units_row(row) and (len(row) == width or known_names(row) >= 2):
            return True
        if is_data(row):
            return False
    return False


def _may_be_names(cells: Sequence[str], width: int) -> bool:
    filled = [c for c in cells if c]
    return len(filled) >= max(2, 0.4 * min(width, 6)) and sum(is_value(c) and c.strip("-") != "" for c in filled) <= 0.2 * len(
        filled
    )


def _goes_on(rows: Sequence[Sequence[str]], i: int, width: int) -> bool:
    """Whether a row is the second line of some of the names above it: words, each under one of them."""
    filled = [k for k, cell in enumerate(rows[i]) if cell]
    above = rows[i - 1] if i else []
    worded = any(re.search(r"[^\W\d]{2}", rows[i][k]) and not is_value(rows[i][k]) for k in filled)
    return worded and not is_data(rows[i]) and _may_be_names(above, width) and all(k < len(above) and above[k] for k in filled)


def _is_rule(cells: Sequence[str]) -> bool:
    """A drawn line under a header: dashes and nothing else."""
    filled = [c for c in cells if c]
    return bool(filled) and all(re.fullmatch(r"[-–—=_+*:|]{2,}", c) for c in filled)


def known_names(cells: Sequence[str]) -> float:
    """How many of the cells name a quantity in words, each that has its unit counted 1.2 times."""
    return sum(1.0 + 0.2 * (m.unit is not None) for c in cells[:MOST_NAMES] if (m := understand(c)).quantity and m.strong)


def _told(cells: Sequence[str]) -> float:
    """As :func:`known_names`, names that say of what no channel is kept counted nearly as much: "Lambda" over "target"."""
    read = [understand(c) for c in cells]
    return sum((1.0 if m.quantity and m.strong else 0.9 if m.concepts else 0.0) + 0.2 * (m.unit is not None) for m in read)


def speaks_of_speed(cells: Sequence[str]) -> bool:
    """Whether one of the cells names the speed of engine or roller."""
    return any(understand(c).quantity in ("rpm", "roller_rpm") for c in cells[:MOST_NAMES])


def _best_names(worded: list[tuple[int, list[str]]], lines: Sequence[Numbered], delimiter: str) -> tuple[int, list[str]]:
    """One line, or the stacked lines joined: whichever tells most."""
    choices = [(known_names(cells), lines[i][0], cells) for i, cells in worded]  # the lowest line first: it wins a tie
    best = max(choices, key=lambda c: c[0])
    most = max(sum(map(bool, c)) for _, c in worded)
    full = [
        (i, cells) for i, cells in worded if sum(map(bool, cells)) >= 0.6 * max(len(c) for _, c in worded) and not _numbered(cells)
    ]
    full = [(i, cells) for i, cells in full if not _of_the_day(lines[i][1])] if len(full) > 1 else full
    if len(full) > 1:
        pad = max(len(cells) for _, cells in full)
        stacked = [" ".join(w for _, cells in reversed(full) if (w := (cells + [""] * pad)[k])) for k in range(pad)]
        parted = delimiter != " " or all(re.search(r"\S\s{2,}\S", lines[i][1]) for i, _ in full)  # no sentence over a spaced table
        as_wide = most >= 3 and parted and all(sum(map(bool, cells)) == most for _, cells in full)
        if _told(stacked) > _told(best[2]) + 0.5 or (as_wide and _told(stacked) >= _told(best[2])):
            return lines[full[-1][0]][0], stacked
    said = [(i, cells) for i, cells in reversed(worded) if not _of_the_day(lines[i][1])] or worded
    (top, names), *below = said
    under = [cells for _, cells in below if all(k < len(names) and names[k] for k, cell in enumerate(cells) if cell)]
    if under and len(under) == len(below) and sum(map(bool, names)) >= 3 and not any(map(_numbered, [names, *under])):
        joined = [" ".join([name, *(c[k] for c in under if k < len(c) and c[k])]) for k, name in enumerate(names)]
        words = [cell for cells in under for cell in cells if cell]
        known = names == best[2] and sum(bool(understand(cell).concepts) for cell in words) >= 0.5 * len(words)
        if _told(joined) > _told(best[2]) + (-0.1 * len(words) if known else 0.5):  # some of the names go on in the line below
            return lines[top][0], joined
    return best[1], best[2]


def _units_in_place(text: str, units: list[str], names: list[str], above: Sequence[str], width: int) -> list[str]:
    """The units of a space-aligned table, blank where a name has none: by the places of the rows, or of the names where those fit
    the units better (a time wider than its column pushes the rows aside).
    """
    by_names = aligned_names(text, above, width)

    def fitting(cells: list[str]) -> int:
        pairs = ((understand(name).quantity, unit_of(cell)) for name, cell in zip(names, cells, strict=False))
        return sum(1 if unit_fits(quantity, unit) else -1 for quantity, unit in pairs if quantity and unit is not None)

    return by_names if len(by_names) == width and fitting(by_names) > fitting(units) else units


def _of_the_day(text: str) -> bool:
    """Weather noted above the names: as many words and signs as a line of names, and none of them a name."""
    return any(claim["what"] in ("baro_kpa", "temperature_c", "humidity_pct") for claim in claims([(0, text)]))


def _numbered(cells: Sequence[str]) -> bool:
    """Channel numbers above the names: one word and a running number."""
    stems = {re.sub(r"\d+", "", c).strip() for c in cells if c}
    return len(stems) == 1 and len([c for c in cells if c]) > 1


def _name_cells(text: str, cells: list[str], delimiter: str, data: Sequence[str], width: int) -> list[str]:
    if delimiter == " ":
        return aligned_names(text, data, width)
    if len(cells) > width and not any(cells[width:]):
        return cells[:width]
    if len(cells) > width:
        merged: list[str] = []
        for cell in cells:  # a comma inside an unquoted name: "Torque, Nm"
            if merged and (unit := unit_of(cell)) is not None and unit_of(merged[-1]) is None and _unit_of_name(merged[-1], unit):
                merged[-1] += f"{delimiter} {cell}"
            else:
                merged.append(cell)
        if len(merged) == width:
            return merged
    return cells


def _unit_of_name(name: str, unit: Unit) -> bool:
    """Whether a cell of its own may be the unit of the name before it, and is no name itself ("t,rpm,Nm")."""
    quantity = understand(name).quantity
    return unit_fits(quantity, unit) if quantity else unit.kind not in ("speed", "torque", "power")


def aligned_names(text: str, data: Sequence[str], width: int) -> list[str]:
    """Names of a space-aligned table: parted by two or more spaces, else each word goes to the column it stands over.

    Parameters
    ----------
    text
        The line of names.
    data
        Lines of rows, to see where columns begin and end.
    width
        Columns of the table.
    """
    wide = re.split(r"\s{2,}|\t", text.strip())
    if len(wide) == width:
        return wide
    words = text.split()
    if len(words) == width:
        return words
    if len(ended := _ENDED.findall(text)) == width and not _ENDED.sub("", text).strip():
        return [name.strip() for name in ended]  # each name ends in its unit: "Engine speed [rpm] Torque [Nm]"
    spans: list[tuple[int, int]] = []
    for line in data:
        found = [m.span() for m in re.finditer(r"\S+", joined_stamps(line))]
        if len(found) == width:
            spans = [(min(a, c), max(b, d)) for (a, b), (c, d) in zip(spans, found, strict=True)] if spans else found
    if not spans:
        return wide
    names = [""] * width
    for word in re.finditer(r"\S+", text):
        a, b = word.span()
        gap = [max(lo - b, a - hi, 0) + 0.001 * abs((a + b) - (lo + hi)) - max(0, min(b, hi) - max(a, lo)) for lo, hi in spans]
        k = gap.index(min(gap))
        names[k] = f"{names[k]} {word[0]}".strip()
    return names
