"""Channels watched over: what is no measurement is taken out and said, what cannot be an engine's is named."""

import numpy as np
import numpy.typing as npt
import polars as pl

from pullbook.arrays import Array
from pullbook.channels.column import Column, Talk, find
from pullbook.channels.dead import at_rail, longest_stuck, never_moves
from pullbook.channels.faulty import doubled, sentinels, speed_spikes
from pullbook.channels.placeholders import KEPT, LEAP_C, SLOW, leapt_to, outcasts
from pullbook.channels.torn import torn_stretches
from pullbook.columns import CHANNELS
from pullbook.units import KW_TO_NM_RPM
from pullbook.wording import counted

TORQUE_A_LITRE = 500.0  # N·m
RAILED = frozenset(("torque_nm", "lambda", "knock", "exhaust_c", "map_kpa"))
"""Channels whose sensors have a rail."""
FLOOR = 0.1
"""Share of the most a channel reads below which its least may be what an absorber shows in over-run."""


def blank_sentinels(column: Column, talk: Talk) -> None:
    """Set a column's "no value" numbers to missing."""
    assert column.values is not None
    spec = CHANNELS[column.channel or "rpm"]
    factor = (column.unit.factor if column.unit else 1.0) * column.factor
    lo, hi = (None if edge is None or factor <= 0 else edge / factor for edge in (spec.lo, spec.hi))
    hit, values = sentinels(column.values, lo, hi, span=column.span)
    others = np.where(hit, np.nan, column.values) if values else column.values
    more = () if column.channel in KEPT else outcasts(others, lo, hi, None if values else column.span)
    if column.channel in SLOW:
        more += leapt_to(others, LEAP_C / factor if factor > 0 else LEAP_C, None if values else column.span)
    if more := tuple(dict.fromkeys(more)):
        hit, values = hit | np.isin(column.values, more), (*values, *more)
    if values:
        column.values, column.source, column.span = np.where(hit, np.nan, column.values), None, None
        rows = counted(int(hit.sum()), "row")
        talk.warn(f"column {column.header!r}: {', '.join(f'{v:g}' for v in values)} is no value; {rows} read as missing")


def blank_spikes(
    kept: dict[str, Array], lines: pl.Series, recording: npt.NDArray[np.int64], time_s: Array | None, talk: Talk
) -> None:
    """Set rpm dropouts and spikes to missing; the rows stay. Where a recording begins speed may be any.

    Parameters
    ----------
    kept
        Values by channel, in the channel's unit, (n,) each; ``rpm`` is replaced.
    lines, recording, time_s
        Each row's line in the file, which of the recordings it is of, and its time, s, (n,) each; None without a clock.
    talk
        Takes the warning.
    """
    rpm = kept["rpm"]
    edges = np.flatnonzero(np.diff(recording)) + 1 if recording[-1] else np.zeros(0, np.int64)
    if time_s is not None:
        pieces = zip(np.split(rpm, edges), np.split(time_s, edges), strict=True)
        off = np.concatenate([torn_stretches(some, clock) for some, clock in pieces])
        if off.any():
            rows, first = counted(int(off.sum()), "row"), int(np.argmax(off))
            talk.warn(
                f"rpm leaps away and back again, faster than an engine can, on {rows} from line {lines[first]} on "
                f"({rpm[first]:g}): read as missing"
            )
            kept["rpm"] = rpm = np.where(off, np.nan, rpm)
    off = np.concatenate([speed_spikes(part) for part in np.split(rpm, edges)])
    if off.any():
        where = ", ".join(map(str, lines.filter(pl.Series(off)).head(5).to_list()))
        values = ", ".join(f"{v:g}" for v in rpm[off][:5])
        rows = counted(int(off.sum()), "row")
        talk.warn(f"rpm dropouts or spikes on {rows} read as missing (line {where}: {values})")
        kept["rpm"] = np.where(off, np.nan, rpm)


def blank_doubled(kept: dict[str, Array], lines: pl.Series, talk: Talk) -> None:
    """Set to missing the stretches in which rpm reads twice or half, seen against the roller or against power over torque.

    Parameters
    ----------
    kept, lines, talk
        As for :func:`blank_spikes`.
    """
    rpm = kept["rpm"]
    over = ("torque_nm", "power_kw")
    tests: list[tuple[str, Array, Array | None]] = [("the roller", kept["roller_rpm"], None)] if "roller_rpm" in kept else []
    tests += [("power over torque", kept["power_kw"], kept["torque_nm"])] if all(name in kept for name in over) else []
    for what, reference, under in tests:
        off = doubled(rpm, reference, under)
        if off.any():
            first, rows = lines[int(np.argmax(off))], counted(int(off.sum()), "row")
            talk.warn(f"rpm reads twice or half on {rows} from line {first} on, against {what}; read as missing")
            kept["rpm"] = rpm = np.where(off, np.nan, rpm)


def derive_torque(kept: dict[str, Array], columns: list[Column], talk: Talk) -> None:
    """A log with power and no torque has torque all the same: T = P·9549.3/rpm.

    Parameters
    ----------
    kept, talk
        As for :func:`blank_spikes`; ``torque_nm`` is put in, N·m.
    columns
        Where the channels came from: power whose unit is only assumed gives no torque.
    """
    power = find(columns, "power_kw")
    if "torque_nm" in kept or power is None or (power.unit_from == "assumed" and not power.hint):
        return
    with np.errstate(divide="ignore", invalid="ignore"):
        kept["torque_nm"] = np.where(kept["rpm"] > 100, kept["power_kw"] * KW_TO_NM_RPM / kept["rpm"], np.nan)
    talk.warn(f"no column of torque: it is computed from {power.header!r} and rpm")


def note_limits(
    kept: dict[str, Array],
    columns: list[Column],
    lines: pl.Series,
    displacement_l: float | None,
    talk: Talk,
    spans: dict[str, tuple[float, float]],
) -> None:
    """Values outside what engines do are named (contract 8), never changed.

    Parameters
    ----------
    kept
        Values by channel, in the channel's unit, (n,) each.
    columns, lines
        Where they came from, and each row's line in the file.
    displacement_l
        Litres, to judge torque by; None: the channel's own limits.
    talk
        Takes the warnings.
    spans
        Smallest and largest value by channel.
    """
    for name, values in kept.items():
        spec = CHANNELS[name]
        lo, hi = spec.lo, spec.hi
        if name in ("torque_nm", "torque_corrected_nm") and displacement_l:
            lo, hi = -TORQUE_A_LITRE * displacement_l, TORQUE_A_LITRE * displacement_l
        low, high = spans[name]
        if (lo is None or low >= lo) and (hi is None or high <= hi):
            continue
        with np.errstate(invalid="ignore"):
            out = np.zeros(len(values), bool)
            if lo is not None:
                out |= values < lo
            if hi is not None:
                out |= values > hi
        if out.any():
            column = find(columns, name)
            row = int(np.argmax(out))
            header = column.header if column else name
            limits = f"{'' if lo is None else f'{lo:g}'} to {'' if hi is None else f'{hi:g}'}"
            talk.warn(
                f"column {header!r}: {counted(int(out.sum()), 'value')} outside what engines do ({name} {limits}), the first on "
                f"line {lines[row]}: {values[row]:g}"
            )


def note_dead(
    kept: dict[str, Array], columns: list[Column], lines: pl.Series, talk: Talk, spans: dict[str, tuple[float, float]]
) -> None:
    """Warn of sensors that never move, stick or sit at their rail; parameters as for :func:`note_limits`."""
    rpm = kept["rpm"]
    for column in columns:
        if column.channel is None:
            if column.kind == "empty" and column.header:
                talk.warn(f"column {column.header!r} holds no value at all")
            continue
        low, high = spans[column.channel]
        if column.kind == "empty" or low > high:
            talk.warn(f"column {column.header!r} holds no value at all")
            continue
        values = kept[column.channel]
        if low == high and never_moves(values):
            level = low
            if column.channel == "knock":
                talk.warn(
                    f"{column.header!r} never moves ({level:g} throughout): no evidence that the sensor works; it says "
                    "nothing about knock"
                )
            elif column.channel in ("rpm", "torque_nm", "lambda", "exhaust_c", "map_kpa"):
                talk.warn(f"{column.header!r} never moves ({level:g} throughout): stuck, or held by the recorder")
            continue
        edge = at_rail(values, (low, high), rpm) if column.channel in RAILED else None
        if column.channel in ("torque_nm", "power_kw", "rpm", "lambda"):
            first, count = longest_stuck(values, rpm if column.channel != "rpm" else None)
            if count >= (15 if column.channel != "lambda" else 60):
                at_edge = edge is not None and values[first] == edge
                what = _stillness(values, rpm, (first, count), (low, high), column.channel, at_edge=at_edge)
                talk.warn(f"{column.header!r} {what.format(line=lines[first])}")
                edge = None if at_edge else edge
        if edge is not None:
            talk.warn(f"{column.header!r} sits at {edge:g} for many rows: at its rail, the true value may lie beyond")


def _stillness(values: Array, rpm: Array, run: tuple[int, int], span: tuple[float, float], channel: str, *, at_edge: bool) -> str:
    """What a channel that stands still is: at the floor of an absorber in over-run, at its rail, or stuck."""
    first, count = run
    speeds = rpm[first : first + count]
    speeds = speeds[np.isfinite(speeds)]
    falls = len(speeds) > 0 and speeds[-1] < speeds[0] - 0.5 * (speeds.max() - speeds.min())
    if channel in ("torque_nm", "power_kw") and values[first] == span[0] <= FLOOR * span[1] and falls:
        return (
            f"reads {span[0]:g}, its least, on {count} rows from line {{line}} while rpm falls: the floor of what is measured in "
            "over-run; no pull uses it"
        )
    moves = "" if channel == "rpm" else " while rpm moves"
    at = "at its rail, where the true value may lie beyond, or " if at_edge else ""
    return f"stands still for {count} rows from line {{line}}{moves}: {at}stuck or held"
