"""Which row belongs under which header of a log, and which rows are broken."""

import polars as pl

from pullbook.reading.cells import is_label, split
from pullbook.reading.header import Header, find_header, is_data, is_units_row, looks_like_names
from pullbook.reading.text import MARK

ODD_LINES = 20_000


def headers_below(
    lines: pl.Series, frame: pl.DataFrame, number: pl.Series, body: pl.Series, head: Header, delimiter: str
) -> tuple[list[Header], list[int]]:
    """Headers repeated inside the log, and every line that belongs to one (names, units)."""
    starts = r"^[\s\"']*[-+−]?[.,]?\d"
    probes = [
        c for c in frame.columns[: head.width] if frame[c].slice(head.first_data - 1, 200).str.contains(starts).mean() or 0.0 > 0.8
    ][:2]
    if not probes:
        return [head], []
    odd = body
    for column in probes:
        odd = odd & (~frame[column].str.contains(starts)).fill_null(True)
    headers, taken = [head], []
    odd_numbers = number.filter(odd)[:ODD_LINES].to_list()
    previous: Header | None = None
    for line in odd_numbers:
        original = lines[line - 1]
        cells = split(original, delimiter)
        follower = previous is not None and line - (previous.line or 0) <= 2
        if follower and previous is not None and is_units_row(cells):
            taken.append(line)
            headers[-1] = Header(previous.line, previous.names, tuple(c or None for c in cells), line + 1, previous.width)
        elif looks_like_names(cells):
            below = [t for t in lines[line : line + 8].to_list() if t.strip()][:6]
            if not any(is_data(split(t, delimiter)) for t in below[:3]):
                continue
            found = find_header(
                [(line, original), *((line + 1 + j, t) for j, t in enumerate(lines[line : line + 60].to_list()) if t.strip())],
                delimiter,
            )
            if found is None or found.line != line:
                if sum(c in head.names for c in cells) < 0.5 * len(head.names):
                    continue
                found = Header(line, tuple(cells), (None,) * len(cells), line + 1, head.width)
            previous = found
            headers.append(found)
            taken += range(line, found.first_data)
    return headers, taken


def rows_of(
    header: Header, lines: pl.Series, frame: pl.DataFrame, widths: pl.Series, number: pl.Series, rows: pl.Series, data: bytes
) -> tuple[pl.DataFrame, list[int], list[int], int]:
    """Whole rows of one header; line numbers of broken rows and of lines of words; count of columns without a name."""
    named = len(header.names)
    while named > 1 and not header.names[named - 1]:
        named -= 1
    here = pl.DataFrame({"line": number, "w": widths}).hstack(frame).filter(rows)
    if here.height == 0:
        return here.drop("w"), [], [], 0
    beyond = frame.columns[named:]
    extra = 0
    if beyond and header.width > named:
        filled = here.select(pl.col(beyond).is_not_null() & (pl.col(beyond) != "")).mean().row(0)
        extra = max((j + 1 for j, share in enumerate(filled) if (share or 0.0) > 0.5), default=0)
    full = named + extra
    spill = beyond[extra:]
    overflow = pl.any_horizontal([pl.col(c).is_not_null() & (pl.col(c) != "") for c in spill]) if spill else pl.lit(False)
    sound = (pl.col("w") >= full) & ~overflow & (pl.col("w") <= len(frame.columns))
    here = here.with_columns(ok=sound)
    short = here.filter((pl.col("w") < full) & ~overflow)["line"]
    last = int(number.filter(widths > 0)[-1])
    usual_short = int(short.len()) > 0.1 * here.height and here.height > 20
    if usual_short:  # a recorder that leaves trailing blanks away
        here = here.with_columns(
            ok=pl.col("ok") | ((pl.col("w") < full) & (pl.col("w") >= 2) & (pl.col("line") != last) & ~overflow)
        )
    if MARK in data:
        torn = number.filter(lines.str.contains("\x1a", literal=True)).to_list()
        here = here.with_columns(ok=pl.col("ok") & ~pl.col("line").is_in(torn))
    bad = here.filter(~pl.col("ok"))["line"].to_list()
    words = [b for b in bad if not is_data(split(lines[b - 1], "\t")) and lines[b - 1].lstrip(' "')[:1] not in "+-.0123456789,;\t|"]
    label = here["0"].str.contains(r"^\p{L}{2,}").fill_null(False) & here["ok"]
    if 0 < int(label.sum()) <= 0.1 * here.height:  # a summary under the rows: "Max;5400;212"
        labels = [n for n, cell in here.filter(label).select("line", "0").iter_rows() if is_label(cell)]
        words += labels
        here = here.with_columns(ok=pl.col("ok") & ~pl.col("line").is_in(labels))
    kept = here.filter("ok")
    if (
        kept.height
        and not data.endswith((b"\n", MARK))
        and int(kept["line"][-1]) == last
        and _cut_short(kept, frame.columns[:full])
    ):
        kept, bad = kept.head(-1), [*bad, last]
    return kept.select("line", *frame.columns[:full]), [b for b in bad if b not in set(words)], words, extra


def _cut_short(kept: pl.DataFrame, columns: list[str]) -> bool:
    """Whether a last line without a line end stops inside its last number: fewer decimals than every row before."""
    last = kept[columns[-1]][-1]
    before = kept[columns[-1]].head(-1).drop_nulls().tail(200)
    if before.len() < 3:
        return False
    if last is None or last == "":
        return before.len() > 0.9 * min(kept.height - 1, 200)
    decimals = before.str.extract(r"[.,](\d+)$", 1).str.len_chars().fill_null(0)
    tail = last.replace(",", ".").rpartition(".")[2] if "." in last or "," in last else ""
    return int(decimals.min() or 0) == int(decimals.max() or 0) > len(tail)  # type: ignore[arg-type]
