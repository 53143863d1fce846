"""The log's time: which columns carry it, in what form, and how it runs."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt
import polars as pl

from pullbook.arrays import Array
from pullbook.channels.asking import yaml_line
from pullbook.channels.clock import SLOWEST, RunningTime, run_time, scale_of_bare_numbers, sweep_of
from pullbook.channels.column import Column, Talk, UnitFrom
from pullbook.channels.stamps import read_stamps, started_at
from pullbook.channels.time_look import climbs, climbs_evenly, counts_rows, is_whole, runs_on
from pullbook.text.raw import RawLog
from pullbook.units import DAY_S

_SHEET_DAY_OF_1970 = 25_569  # spreadsheets count days from the end of 1899
FASTEST = 50_000.0
"""rpm a second: no sweep on a brake or roller is faster."""


YEAR_5000_S = 1e11
"""Seconds since 1970."""


@dataclass(frozen=True, slots=True)
class TimeAxis:
    """``time_s``: s from the first row, shape (rows,), or None in a log without a clock; ``recording``: shape (rows,), counts
    restarts from 0; ``order``: rows in order of time, None: as they stand. ``headers``, ``unit``, ``unit_from``: the columns it
    came from, the first one's unit and whence it is known; ``started``: ISO date and time of the first row;
    ``share_missing``: share of rows without a time, 0 to 1."""

    time_s: Array | None
    recording: npt.NDArray[np.int64]
    order: npt.NDArray[np.int64] | None
    headers: tuple[str, ...] = ()
    unit: str | None = None
    unit_from: UnitFrom | None = None
    started: str | None = None
    share_missing: float = 0.0
    coarse: bool = False  # many rows share a stamp
    whole_s: Array | None = None  # the stamps as written, in seconds, shape (rows,), where they are coarse
    face_s: float | None = None  # first row's seconds since midnight on a clock without a date
    remarks: tuple[str, ...] = ()


def find_time(
    raw: RawLog, columns: Sequence[Column], clocks: dict[str, pl.Series], rpm: Array, said: Sequence[dict[str, Any]], talk: Talk
) -> TimeAxis:
    """Time by heading, by the look of the cells, or by values that run on evenly; else none, and it is said.

    Parameters
    ----------
    raw, columns
        The log and what its columns are taken for.
    clocks
        Columns of clock times or moments, as text, by key.
    rpm
        Speed of each row, rpm, (n,), NaN where missing; tells where a recording ends.
    said
        What the preamble claims (:func:`pullbook.vocabulary.claims.claims`).
    talk
        Takes questions and warnings.

    Returns
    -------
    TimeAxis
        Seconds of each row, (n,), or none; which columns it came from and how surely.
    """
    blocks = raw.blocks.to_numpy() if raw.blocks is not None else None
    stamped = _from_clocks(columns, clocks, blocks, rpm)
    numeric = [c for c in columns if c.values is not None and c.channel in (None, "time_s") and c.kind == "number"]
    hinted = [c for c in numeric if c.hint.get("channel") == "time_s"]
    counters = [c for c in numeric if c.meaning.quantity == "counter" and climbs(c.values)]
    named = [c for c in numeric if c.meaning.quantity == "time_s" and not c.hint and climbs(c.values)]
    named += [c for c in counters if not is_whole(c.values)]  # "Sample time" in parts of a second
    named.sort(key=lambda c: not c.meaning.unit)
    counters = [c for c in counters if is_whole(c.values)]
    unnamed = [
        c
        for c in numeric[:1]
        if c is columns[0] and c.meaning.quantity is None and not c.meaning.concepts and climbs_evenly(c.values)
    ]
    column = next(iter([*hinted, *named]), None)
    if column is None and stamped is None and not counters and (rising := _rising_throttle(columns)) is not None:
        column, rising.channel = rising, None
        talk.warn(f"{rising.header!r} rises evenly from row to row: it is the time, no throttle")
    if stamped is not None and stamped.coarse and (parted := _with_parts(stamped, numeric)) is not None:
        return parted
    if stamped is not None and not (column is not None and (column.hint or (stamped.coarse and column.meaning.unit))):
        for remark in stamped.remarks:
            talk.warn(remark)
        return stamped
    if column is None and unnamed and not counters and not counts_rows(unnamed[0].values):
        column = unnamed[0]
    if column is not None:
        axis = _from_numbers(column, rpm, blocks, talk)
        return replace(axis, started=stamped.started) if stamped and stamped.started else axis
    counter = next(iter([*counters, *(c for c in unnamed if counts_rows(c.values))]), None)
    rate = next((c for c in said if c["what"] == "rate_hz" and c["value"] > 0), None)
    if counter is not None and counter.values is not None:
        line = yaml_line(talk.name, counter.header, channel="time_s", unit="s", scale=1 / rate["value"] if rate else 0.1)
        if rate:
            talk.ask(
                f"{counter.header!r} counts samples; line {rate['line']} says {rate['text']!r}, so one sample is taken "
                f"as {1 / rate['value']:g} s. Settle it {line}"
            )
            running = run_time(
                counter.values / rate["value"], clock_face=False, unit_scale=1 / rate["value"], blocks=blocks, rpm=rpm
            )
            for remark in running.remarks:
                talk.warn(remark)
            return _axis(running, (counter.header,), "s", "assumed", None, counter.share_missing())
        talk.ask(
            f"{counter.header!r} counts samples and nothing says how long one is: no time, no sweep rate. If it was 0.1 s, {line}"
        )
    else:
        unread = next((c for c in columns if c.meaning.quantity == "time_s" and c.kind in ("text", "clock")), None)
        why = f"{unread.header!r} holds no time that can be read" if unread else "no column of time"
        talk.warn(f"{why}: no sweep rate, no torque lag and no inertia can be known from this log")
    return TimeAxis(None, _recordings_without_clock(rpm, blocks), None)


def _rising_throttle(columns: Sequence[Column]) -> Column | None:
    """The column called throttle that runs on like a clock: "Tps" is short for time in French."""
    named = (c for c in columns if c.channel == "throttle_pct" and c.kind == "number" and not c.hint and c.meaning.unit is None)
    return next((c for c in named if c.values is not None and climbs_evenly(c.values)), None)


def _from_clocks(
    columns: Sequence[Column], clocks: dict[str, pl.Series], blocks: npt.NDArray[np.int64] | None, rpm: Array
) -> TimeAxis | None:
    """Time from clock or date-time columns; a column of dates alone goes with a column of times."""
    read = {h: s for h, cells in clocks.items() if (s := read_stamps(cells)) is not None and np.isfinite(s.seconds).any()}
    by_header = {c.header: c for c in columns}
    days = [h for h, s in read.items() if s.dated and np.nanmax(np.abs(s.seconds % DAY_S)) == 0]
    faces = [h for h in read if h not in days]
    if not faces:
        return None
    faces.sort(key=lambda h: (not by_header[h].hint, by_header[h].meaning.quantity != "time_s", not read[h].dated))
    face = faces[0]
    stamps = read[face]
    headers: tuple[str, ...] = (face,)
    seconds, dated = stamps.seconds, stamps.dated
    if not dated and days:
        seconds, headers, dated = seconds + read[days[0]].seconds, (face, days[0]), True
    running = run_time(seconds, clock_face=not dated, twelve_hour=stamps.twelve_hour, blocks=blocks, rpm=rpm)
    first = seconds[np.isfinite(seconds)][0]
    came: UnitFrom = "header" if by_header[face].meaning.unit else "assumed"
    axis = _axis(running, headers, "s", came, started_at(first) if dated else None, float(1 - np.isfinite(seconds).mean()))
    scale = by_header[face].factor
    coarse = len(seconds) > 3 and float(np.mean(np.diff(seconds) == 0)) > 0.3
    scaled = axis.time_s * scale if axis.time_s is not None and scale > 0 else axis.time_s
    return replace(axis, time_s=scaled, coarse=coarse, face_s=None if dated else float(first), whole_s=seconds if coarse else None)


def _from_numbers(column: Column, rpm: Array, blocks: npt.NDArray[np.int64] | None, talk: Talk) -> TimeAxis:
    assert column.values is not None
    unit = column.unit or column.meaning.unit
    came: UnitFrom = column.unit_from or column.meaning.unit_from or "assumed"  # type: ignore[assignment]
    name = unit.name if unit else "s"
    scale, day_one = 1.0, None
    told = unit is not None and unit.kind == "time"
    if unit is not None and told:
        scale = unit.factor
        if not column.hint and (better := _better_unit(column, rpm, scale)) is not None:
            scale, form = better
            talk.ask(
                f"by its heading {column.header!r} would make a sweep no engine has; taken as {form}. Settle it "
                f"{yaml_line(talk.name, column.header, channel='time_s', unit='s', scale=scale)}"
            )
            name, came = "s", "assumed"
        elif not column.hint and _crawls(column, rpm, scale):
            line = yaml_line(talk.name, column.header, channel="time_s", unit="s", scale=scale / 1000)
            talk.ask(
                f"by its heading {column.header!r} the speed never moved by more than {SLOWEST:g} rpm a second. "
                f"If it counts thousandths of that: {line}"
            )
    else:
        scale, why = scale_of_bare_numbers(column.values, rpm)
        came = "columns_yaml" if column.hint else "assumed"
        if why:
            name = "ms" if scale == 1e-3 else "s"
            if "since" not in why and "spreadsheet" not in why and not column.hint:
                talk.ask(
                    f"nothing says the unit of {column.header!r}; {why} fit the sweep. Settle it "
                    f"{yaml_line(talk.name, column.header, channel='time_s', unit=name)}"
                )
    known = column.values[:1000][np.isfinite(column.values[:1000])]
    if len(known):
        if scale == DAY_S and known[0] > 20_000:
            day_one = started_at((known[0] - _SHEET_DAY_OF_1970) * DAY_S)
        elif 1e9 < known[0] * scale < 4e9:
            day_one = started_at(known[0] * scale)
    scale *= column.factor
    seconds = column.values if scale == 1.0 else column.values * scale
    running = run_time(seconds, clock_face=scale == DAY_S, unit_scale=scale, blocks=blocks, rpm=rpm)
    column.channel = None
    for remark in running.remarks:
        talk.warn(remark)
    return _axis(running, (column.header,), name, came, day_one, column.share_missing())


def _with_parts(stamped: TimeAxis, numeric: Sequence[Column]) -> TimeAxis | None:
    """A clock of whole seconds with its thousandths in a column of their own, where together they run on."""
    for column in numeric:
        if column.values is None or column.unit is None or column.unit.name != "ms" or column.hint or stamped.whole_s is None:
            continue
        parts = column.values
        known = parts[np.isfinite(parts)]
        if (
            not len(known)
            or known.min() < 0
            or known.max() >= 1000
            or runs_on(parts)
            or not runs_on(stamped.whole_s + 1e-3 * parts)
        ):
            continue
        column.channel = None
        running = run_time(stamped.whole_s + 1e-3 * parts, clock_face=stamped.face_s is not None)
        return replace(
            stamped, time_s=running.time_s, recording=running.recording, order=running.order, coarse=False,
            headers=(*stamped.headers, column.header), remarks=running.remarks,
        )  # fmt: skip
    return None


def _crawls(column: Column, rpm: Array, scale: float) -> bool:
    """Whether speed goes over more than 600 rpm and yet is nowhere quick, as it would be if time were a thousandth."""
    assert column.values is not None
    sweep = sweep_of(column.values, rpm, 0.995)
    known = rpm[:40_000][np.isfinite(rpm[:40_000])]
    spans = len(known) > 0 and float(np.quantile(known, 0.95) - np.quantile(known, 0.05)) > 600
    return spans and bool(sweep) and sweep / scale < SLOWEST and 20 < 1000 * sweep / scale < FASTEST  # type: ignore[operator]


def _better_unit(column: Column, rpm: Array, scale: float) -> tuple[float, str] | None:
    """Factor to seconds that fits the sweep, and its name, where the heading's own cannot be: a cell's format was lost."""
    assert column.values is not None
    sweep = sweep_of(column.values, rpm)
    beyond = float(np.nanmin(column.values[:1000], initial=np.inf)) * scale  # in seconds since 1970 no log was begun there
    if not sweep or (sweep / scale <= FASTEST and not YEAR_5000_S < beyond < np.inf):
        return None
    bare, why = scale_of_bare_numbers(column.values, rpm)
    return (bare, why or "seconds") if sweep / bare <= FASTEST else None


def _axis(
    running: RunningTime, headers: tuple[str, ...], unit: str, came: UnitFrom, started: str | None, missing: float
) -> TimeAxis:
    return TimeAxis(
        running.time_s, running.recording, running.order, headers, unit, came, started, round(missing, 6), remarks=running.remarks
    )


def _recordings_without_clock(rpm: Array, blocks: npt.NDArray[np.int64] | None) -> npt.NDArray[np.int64]:
    """Without a clock a new header begins a new recording only where the speed starts again lower."""
    out = np.zeros(len(rpm), np.int64)
    if blocks is None:
        return out
    for i in np.flatnonzero(np.diff(blocks)) + 1:
        if not rpm[i] >= rpm[i - 1] - 1:
            out[i:] += 1
    return out
