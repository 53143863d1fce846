"""One log, read: from a path to samples in kept units, with every decision shown and every doubt asked."""

from pathlib import Path
from typing import Any

import numpy as np
import polars as pl

from pullbook.arrays import Array, extremes
from pullbook.channels.asking import yaml_line
from pullbook.channels.assign import assign, no_speed
from pullbook.channels.column import Column, Talk, find
from pullbook.channels.columns_made import make_columns
from pullbook.channels.columns_yaml import obey
from pullbook.channels.doubts import impossible, obey_preamble, say_advance
from pullbook.channels.faulty import LEAP, steps_within
from pullbook.channels.liveliness import movement
from pullbook.channels.named_by_proof import name_by_proof
from pullbook.channels.newest_first import oldest_first
from pullbook.channels.settle import settle_rest
from pullbook.channels.settle_power import settle_power
from pullbook.channels.side_by_side import stack_runs
from pullbook.channels.stamps import preamble_moment
from pullbook.channels.time_axis import TimeAxis, find_time
from pullbook.channels.watch_channels import blank_doubled, blank_sentinels, blank_spikes, derive_torque, note_dead, note_limits
from pullbook.columns import CHANNELS
from pullbook.handover import ColumnRead, Fault, LogReading
from pullbook.text.grid import read_grid
from pullbook.text.plain import read_plain
from pullbook.text.raw import RawLog
from pullbook.text.straight import read_straight
from pullbook.text.text import Text, clean_text, read_bytes, read_text
from pullbook.vocabulary.claims import claims, weather_question

MOST_RECORDINGS = 2_000
LONGEST_NAME = 500
"""Characters of a heading: every question about it repeats it."""
SPELLED = frozenset("N·m lbf·ft kgf·m kW hp PS rpm s ms °BTDC °C °F K kPa hPa inHg psi %".split())  # noqa: SIM905
"""Units as outputs spell them; a unit outside the list is shown as none."""


def read_log(
    path: Path, *, shown: str, hints: dict[str, dict[str, Any]] | None = None, displacement_l: float | None = None,
    advance_scale: str | None = None,
) -> LogReading:  # fmt: skip
    """Read one log of any dialect. Never raises for what is in the file.

    Parameters
    ----------
    path
        The log; opened for reading only.
    shown
        Its name in outputs, relative to the book.
    hints
        columns.yaml for this log: heading -> ``channel``, ``unit``, ``sign``, ``scale``.
    displacement_l
        Engine size in litres; bounds torque (500 N·m a litre), else 10 000 N·m.
    advance_scale
        engine.yaml's ``crank`` or ``distributor`` for the logs' advance, where it says.

    Returns
    -------
    LogReading
        ``error`` set where the log cannot be used; ``segments`` are found elsewhere.
    """
    table = _read_table(path, shown)
    if isinstance(table, Fault):
        return refused(shown, table)
    raw, encoding = table
    if isinstance(raw, Fault):
        return refused(shown, raw, encoding=encoding)
    return understand_log(raw, encoding, shown=shown, hints=hints or {}, displacement_l=displacement_l, advance_scale=advance_scale)


def _read_table(path: Path, shown: str) -> tuple[RawLog | Fault, str] | Fault:
    """A log's cells and encoding by the shortest way that proves them; its bytes are let go on the way."""
    data = read_bytes(path, shown=shown)
    if isinstance(data, Fault):
        return data
    as_written = Text(data, "")
    del data
    if (straight := read_straight(as_written, shown=shown)) is not None:
        return straight
    text = clean_text(as_written.data, shown=shown) if as_written.data else read_text(path, shown=shown)
    as_written.data = b""
    if isinstance(text, Fault):
        return text
    encoding = text.encoding
    raw: RawLog | Fault | None = read_plain(text, shown=shown)
    if raw is None and not text.data:
        again = read_text(path, shown=shown)
        if isinstance(again, Fault):
            return again
        text = again
    return read_grid(text, shown=shown) if raw is None else raw, encoding


def refused(
    shown: str, fault: Fault, *, encoding: str | None = None, raw: RawLog | None = None, columns: tuple[ColumnRead, ...] = (),
    warnings: tuple[str, ...] = (),
) -> LogReading:  # fmt: skip
    """The reading of a log that could not be used.

    Parameters
    ----------
    shown
        Its name in outputs.
    fault
        Why.
    encoding, raw, columns
        As far as it was understood before.
    warnings
        What can be said of it all the same.
    """
    return LogReading(
        file=shown, encoding=encoding, delimiter=raw.delimiter if raw else None, decimal=raw.decimal if raw else None,
        header_line=raw.header_line if raw else None, rows=0, columns=columns,
        rows_dropped=(raw.dropped + raw.cells.height) if raw else 0,
        samples=pl.DataFrame(schema={"line": pl.Int64, "recording": pl.Int64}), error=fault,
        warnings=(*(raw.warnings if raw else ()), *warnings),
    )  # fmt: skip


def understand_log(
    raw: RawLog,
    encoding: str,
    *,
    shown: str,
    hints: dict[str, dict[str, Any]],
    displacement_l: float | None,
    advance_scale: str | None,
) -> LogReading:
    """From cells to channels.

    Parameters
    ----------
    raw, encoding
        Its cells, which are used up, and its codec.
    shown, hints, displacement_l, advance_scale
        As for :func:`read_log`.
    """
    name = shown.rsplit("/", 1)[-1]
    if (longest := max(raw.headers, key=len, default="")) and len(longest) > LONGEST_NAME:
        found, expected = f"a column name of {len(longest)} characters", f"at most {LONGEST_NAME} characters"
        fault = Fault(shown, raw.header_line, f"{longest[:60]}…", found, expected, "export the log again with plain names")
        return refused(shown, fault, encoding=encoding, raw=raw)
    talk = Talk(name)
    made = make_columns(raw, hints, shown=shown, talk=talk)
    if isinstance(made, Fault):
        return refused(shown, made, encoding=encoding, raw=raw)
    raw, columns, clocks = made
    raw, clocks = oldest_first(raw, columns, clocks, talk)
    in_file = raw
    raw = stack_runs(raw, columns, clocks, hints, talk)
    obey(columns, hints, talk)
    assign(columns, talk)
    said = claims(raw.preamble)
    for column in columns:
        if column.channel:
            blank_sentinels(column, talk)

    def give_up(fault: Fault, warnings: tuple[str, ...] = ()) -> LogReading:
        return refused(shown, fault, encoding=encoding, raw=raw, columns=tuple(map(_column_read, columns)), warnings=warnings)

    rpm = find(columns, "rpm")
    if rpm is None:
        return give_up(no_speed(columns, shown, raw.header_line, name))
    axis = find_time(raw, columns, clocks, rpm.kept(), said, talk)
    if axis.headers and (again := int(axis.recording[-1])) > MOST_RECORDINGS:
        found = f"a clock that starts again {again} times"
        expected = f"at most {MOST_RECORDINGS} recordings in a log"
        remedy = f"export the log again with a running clock, or {yaml_line(name, axis.headers[0], channel='ignore')}"
        return give_up(Fault(shown, raw.header_line, axis.headers[0], found, expected, remedy))
    clocks.clear()  # text of a whole log, used up
    name_by_proof(columns, axis.headers, talk)
    unusable = settle_power(columns, talk)
    obey_preamble(columns, said, talk)
    settle_rest(columns, talk, advance_scale=advance_scale)
    if (cannot_be := impossible(columns, shown, raw)) is not None:
        return give_up(cannot_be, tuple(f"{name}: {text}" for text in movement(columns)))
    say_advance(columns, said, talk)
    samples = _samples(raw, columns, axis, talk, displacement_l)
    if (weather := weather_question(name, said)) is not None:
        talk.questions.append(weather)
    return LogReading(
        file=shown, encoding=encoding, delimiter=raw.delimiter, decimal=raw.decimal, header_line=raw.header_line,
        rows=in_file.lines.len(), rows_dropped=raw.dropped, columns=tuple(_column_read(c, axis) for c in columns),
        samples=samples, claims=said,
        questions=tuple(dict.fromkeys([*raw.questions, *talk.questions])),
        warnings=tuple(dict.fromkeys([*raw.warnings, *talk.warnings])),
        started=axis.started or preamble_moment(raw.preamble, axis.face_s), unusable=unusable,
    )  # fmt: skip


def _column_read(column: Column, axis: TimeAxis | None = None) -> ColumnRead:
    if axis is not None and column.header in axis.headers and column.channel is None:
        first = column.header == axis.headers[0]
        name, unit, came = ("time_s", axis.unit, axis.unit_from) if first else (None, None, None)
        return ColumnRead(column.header, name, unit, came, False, axis.share_missing)
    unit = column.unit.name if column.unit is not None and column.unit.name in SPELLED else None
    missing = round(column.share_missing(), 6)
    return ColumnRead(column.header, column.channel, unit, column.unit_from if unit else None, column.corrected, missing)


def _samples(raw: RawLog, columns: list[Column], axis: TimeAxis, talk: Talk, displacement_l: float | None) -> pl.DataFrame:
    kept: dict[str, Array] = {c.channel: c.kept() for c in columns if c.channel}
    if not steps_within(kept["rpm"], LEAP):
        blank_doubled(kept, raw.lines, talk)
        blank_spikes(kept, raw.lines, axis.recording, axis.time_s, talk)
    derive_torque(kept, columns, talk)
    known = {c.channel: c.span for c in columns if c.channel and c.span and kept[c.channel] is c.values}
    spans = {name: known.get(name) or extremes(values) for name, values in kept.items()}
    note_limits(kept, columns, raw.lines, displacement_l, talk, spans)
    note_dead(kept, columns, raw.lines, talk, spans)
    untouched = {c.channel: c.source for c in columns if c.source is not None and c.channel and kept[c.channel] is c.values}
    data: dict[str, pl.Series] = {"line": raw.lines.cast(pl.Int64), "recording": pl.Series(axis.recording)}
    if axis.time_s is not None:
        data["time_s"] = pl.Series(axis.time_s)
    for name in CHANNELS:
        if name in untouched:
            data[name] = untouched[name]
        elif name in kept:
            data[name] = pl.Series(kept[name], nan_to_null=bool(np.isnan(np.add.reduce(kept[name]))))
    frame = pl.DataFrame(data)
    return frame[axis.order] if axis.order is not None else frame
