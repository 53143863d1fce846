"""Clock faces, dates and date-times as text, brought to seconds.

Source of the calendar sums: proleptic Gregorian calendar as in the standard library.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta

import numpy as np
import polars as pl

from pullbook.arrays import Array
from pullbook.channels.stamps_alike import FIGURES, by_place
from pullbook.text.cells import MONTHS
from pullbook.units import DAY_S

SLICE = 16_384
_DATE_IN = re.compile(r"(?<![\d.])(?:\d{4}-\d{1,2}-\d{1,2}|\d{1,2}[./]\d{1,2}[./](?:\d{4}|\d{2}))(?![\d.])")
_FACE_IN = re.compile(r"(?<![\d:])\d{1,2}:\d{2}(?::\d{2})?(?:\s?[AaPp][Mm])?(?![\d:])")
_STAMP = (
    r"^\s*(?:(\d{1,4})[-./](\d{1,2})[-./](\d{1,4})[T ,]*)?(?:(\d{1,3}):(\d{2})(?::(\d{2}))?(?:[.,:](\d{1,9}))?"
    r"\s*([AaPp])?\.?\s?[Mm]?\.?)?"
    r"(?:Z|[-+]\d{2}:?\d{2})?\s*$"
)
_AROUND = r"^\s*(?:[^\W\d_]{2,10}[.,]* +)?(\d.*?\d)(?: (?:UTC|GMT|CES?T|MES?Z))?\s*$"
"""A stamp between the day of the week and the name of the zone."""


MOST_DAYS = 1_000
"""Different dates in a column, above which it is no log's clock."""


@dataclass(frozen=True, slots=True)
class Stamps:
    """Seconds on some zero, shape (rows,), NaN where a cell was no time. ``dated``: a calendar date was in the cells."""

    seconds: Array
    dated: bool
    twelve_hour: bool = False


def read_stamps(cells: pl.Series) -> Stamps | None:
    """Clock or date-time cells to seconds; None where most cells are neither.

    Examples
    --------
    >>> read_stamps(pl.Series(["11:59:59.5 AM", "12:00:00.5 PM"])).seconds.tolist()
    [43199.5, 43200.5]
    """
    cells = _in_figures(cells)
    parts = [_small(cells.slice(at, SLICE)) for at in range(0, max(len(cells), 1), SLICE)]
    told = sum(int((part["m"].is_not_null() | part["d1"].is_not_null()).sum()) for part in parts)
    if told < 0.5 * max(len(cells) - cells.null_count() - int((cells == "").sum()), 1):
        return None

    def any_has(figure: str) -> bool:
        return any(part[figure].null_count() < part.height for part in parts)

    twelve, dated = any_has("pm"), any_has("d1")
    h, m, s = (pl.col(name).cast(pl.Float64) for name in ("h", "m", "s"))
    if twelve:
        h = h % 12 + 12 * pl.col("pm").fill_null(0)
    face = h * 60 + m  # two figures alone are minutes and seconds
    if dated or any_has("s"):
        face = h * 3600 + m * 60 + s.fill_null(0)
    timed = pl.when(pl.col("m").is_not_null()).then(face + pl.col("f"))
    total = timed.when(pl.col("d1").is_not_null()).then(0.0).otherwise(float("nan"))
    if dated:
        if (days := _days(parts)) is None:
            return None
        total = total + days * DAY_S
    seconds = np.concatenate([part.select(total).to_series().to_numpy() for part in parts])
    return Stamps(seconds, dated, twelve)


def _small(cells: pl.Series) -> pl.DataFrame:
    """Figures of some cells in as few bytes as hold them: a whole log's are held at once."""
    part = by_place(cells, _STAMP)
    part = _taken_apart(cells) if part is None else part
    return part.cast(dict.fromkeys(("d1", "d2", "d3", "h", "m", "s"), pl.Int16))


def _in_figures(cells: pl.Series) -> pl.Series:
    """Dates with a month's name, or written as eight figures, as day/month/year and year-month-day; 9h05m03.5s as 9:05:03.5."""
    some = cells.drop_nulls().head(50)
    if some.str.contains(r"^\s*[^\W\d_]{2,10}[.,]* +\d| [A-Z]{3,4}\s*$").any():
        cells = cells.str.replace(_AROUND, "${1}")
        some = cells.drop_nulls().head(50)
    if some.str.contains(r"(?i)\d ?m(?:in)? ?[\d.,]+ ?s\s*$|\d ?h ?\d{2} ?m(?:in)? ?[\d.,]+\s*$").any():
        whole = cells.str.replace_all(r"(?i)([a-z] ?)(\d)([.,]| ?[a-z])", "${1}0${2}${3}")  # one figure of minutes or seconds
        cells = whole.str.replace(r"(?i)(\d) ?h ?", "${1}:").str.replace(r"(?i)(\d) ?m(?:in)? ?(\d[\d.,]*)(?: ?s)?", "${1}:${2}")
    if some.str.contains(r"^\s*[12]\d{7}[T ]").any():
        cells = cells.str.replace(r"^\s*([12]\d{3})(\d{2})(\d{2})[T ]+", "${1}-${2}-${3} ")
    if some.str.contains(r"\d[-./ ]{1,2}[^\W\d_]{3}").any():
        for word, month in MONTHS.items():
            cells = cells.str.replace(rf"(?i)(\d)[-./ ]{{1,2}}{word}[^\W\d_]*\.?[-./ ](\d)", f"${{1}}/{month}/${{2}}")
    return cells


def _taken_apart(cells: pl.Series) -> pl.DataFrame:
    """Figures of some cells as small numbers: d1, d2, d3, h, m, s (null: absent), f (part of a second), pm (0, 1, null)."""
    part = cells.str.extract_groups(_STAMP).struct.unnest()
    part.columns = [*FIGURES, "half"]
    fraction = pl.col("f").fill_null("0")
    return part.select(
        pl.col("d1", "d2", "d3", "h", "m", "s").cast(pl.Int32),
        (fraction.cast(pl.Float64) / pl.lit(10.0).pow(fraction.str.len_chars().cast(pl.Float64))).alias("f"),
        pl.col("half").str.to_lowercase().eq("p").cast(pl.Int8).alias("pm"),
    )


def _days(parts: list[pl.DataFrame]) -> pl.Expr | None:
    """Days since 1970 of the written dates, day first unless the cells themselves say otherwise (NaN: none); None where they are
    of more days than any log's."""
    dates = pl.concat([part.select("d1", "d2", "d3").unique() for part in parts]).unique().drop_nulls()
    if dates.height > MOST_DAYS:
        return None
    seen = dates.rows()
    month_first = any(b > 12 for a, b, _ in seen if a <= 12) and not any(a > 12 for a, _, _ in seen)
    days = []
    for a, b, c in seen:
        year, month, day = (a, b, c) if a > 31 else (c, a, b) if month_first else (c, b, a)
        year += 2000 if year < 70 else 1900 if year < 100 else 0
        try:
            days.append(float(date(year, month, day).toordinal() - date(1970, 1, 1).toordinal()))
        except ValueError:
            days.append(np.nan)
    key = pl.col("d1").cast(pl.Int64) * 100_000_000 + pl.col("d2") * pl.lit(10_000, pl.Int64) + pl.col("d3")
    keys = [a * 100_000_000 + b * 10_000 + c for a, b, c in seen]
    return key.replace_strict(keys, days, default=float("nan"), return_dtype=pl.Float64)


def started_at(seconds_since_1970: float) -> str | None:
    """ISO date and time, to the millisecond, of a dated first row; None where no calendar reaches."""
    try:
        moment = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(seconds=float(seconds_since_1970))
    except (OverflowError, ValueError):
        return None
    return moment.replace(tzinfo=None).isoformat(timespec="milliseconds")


def preamble_moment(preamble: Sequence[tuple[int, str]], face_s: float | None) -> str | None:
    """When a log began, as the lines above its header say: a date and a time, or a date for a clock that has none.

    Parameters
    ----------
    preamble
        (line, text) above the header.
    face_s
        Seconds since midnight of the log's own first row, where it has a clock without a date.

    Examples
    --------
    >>> preamble_moment([(1, "Bench 2"), (2, "Date: 06.05.2031"), (3, "Time 14:30")], None)
    '2031-05-06T14:30:00.000'
    """
    dates = [m[0] for _, text in preamble for m in [_DATE_IN.search(text)] if m]
    faces = [m[0] for _, text in preamble for m in [_FACE_IN.search(text)] if m]
    if len(set(dates)) != 1 or (face_s is None and len(set(faces)) != 1):
        return None  # none, or more than one: nothing says which
    read = read_stamps(pl.Series([f"{dates[0]} {faces[0] if face_s is None else '00:00'}"]))
    if read is None or not np.isfinite(read.seconds[0]):
        return None
    return started_at(float(read.seconds[0]) + (face_s or 0.0))
