"""One log, read: from a path to samples in kept units, with every decision shown and every doubt asked."""

from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import polars as pl

from pullbook.columns import CHANNELS
from pullbook.handover import ColumnRead, Fault, LogReading
from pullbook.reading.channels import Column, Talk, assign, find, no_speed, obey
from pullbook.reading.claims import claims, weather_question
from pullbook.reading.columns_made import make_columns
from pullbook.reading.grid import read_grid
from pullbook.reading.raw import RawLog
from pullbook.reading.settle import settle_power, settle_rest
from pullbook.reading.text import Text, read_text
from pullbook.reading.timing import Timing, find_time
from pullbook.reading.watch_channels import blank_sentinels, blank_spikes, derive_torque, note_dead, note_limits

Array = npt.NDArray[np.float64]


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
    text = read_text(path, shown=shown)
    if isinstance(text, Fault):
        return refused(shown, text)
    raw = read_grid(text, shown=shown)
    if isinstance(raw, Fault):
        return refused(shown, raw, encoding=text.encoding)
    return understand_log(raw, text, shown=shown, hints=hints or {}, displacement_l=displacement_l, advance_scale=advance_scale)


def refused(
    shown: str, fault: Fault, *, encoding: str | None = None, raw: RawLog | None = None, columns: tuple[ColumnRead, ...] = ()
) -> LogReading:
    """The reading of a log that could not be used."""
    return LogReading(
        file=shown, encoding=encoding, delimiter=raw.delimiter if raw else None, decimal=raw.decimal if raw else None,
        header_line=raw.header_line if raw else None, rows=0, rows_dropped=(raw.dropped + raw.cells.height) if raw else 0, columns=columns,
        samples=pl.DataFrame(schema={"line": pl.Int64, "recording": pl.Int64}), warnings=raw.warnings if raw else (), error=fault,
    )  # fmt: skip


def understand_log(
    raw: RawLog,
    text: Text,
    *,
    shown: str,
    hints: dict[str, dict[str, Any]],
    displacement_l: float | None,
    advance_scale: str | None,
) -> LogReading:
    """From cells to channels."""
    name = shown.rsplit("/", 1)[-1]
    talk = Talk(name)
    made = make_columns(raw, hints, shown=shown, talk=talk)
    if isinstance(made, Fault):
        return refused(shown, made, encoding=text.encoding, raw=raw)
    raw, columns, clocks = made
    obey(columns, hints, talk)
    assign(columns, talk)
    said = claims(raw.preamble)
    for column in columns:
        if column.channel:
            blank_sentinels(column, talk)
    rpm = find(columns, "rpm")
    reads = tuple(_column_read(c, raw.cells.height) for c in columns)
    if rpm is None:
        return refused(shown, no_speed(columns, shown, raw.header_line, name), encoding=text.encoding, raw=raw, columns=reads)
    timing = find_time(raw, columns, clocks, rpm.kept(), said, talk)
    unusable = settle_power(columns, talk)
    _obey_preamble(columns, said, talk)
    settle_rest(columns, talk)
    if fault := impossible(columns, shown, raw):
        return refused(shown, fault, encoding=text.encoding, raw=raw, columns=reads)
    _say_advance(columns, timing, said, talk)
    samples = _samples(raw, columns, timing, talk, displacement_l)
    if (weather := weather_question(name, said)) is not None:
        talk.questions.append(weather)
    return LogReading(
        file=shown, encoding=text.encoding, delimiter=raw.delimiter, decimal=raw.decimal, header_line=raw.header_line, rows=samples.height,
        rows_dropped=raw.dropped, columns=tuple(_column_read(c, raw.cells.height, timing) for c in columns), samples=samples, claims=said,
        questions=tuple(dict.fromkeys([*raw.questions, *talk.questions])), warnings=tuple(dict.fromkeys([*raw.warnings, *talk.warnings])),
        started=timing.started, unusable=unusable,
    )  # fmt: skip


def _column_read(column: Column, rows: int, timing: Timing | None = None) -> ColumnRead:
    if (
        timing is not None
        and column.header in timing.headers
        and column.kind in ("clock", "number", "text")
        and column.channel is None
    ):
        first = column.header == timing.headers[0]
        return ColumnRead(
            column.header,
            "time_s" if first else None,
            timing.unit if first else None,
            timing.unit_from if first else None,
            False,
            timing.share_missing,
        )
    if column.kind == "empty" or column.values is None:
        missing = 1.0 if column.kind == "empty" else 0.0
    else:
        missing = float(1.0 - np.isfinite(column.values).mean()) if rows else 1.0
    unit = column.unit.name if column.unit is not None and column.unit.kind != "none" else None
    return ColumnRead(column.header, column.channel, unit, column.unit_from if unit else None, column.corrected, round(missing, 6))


def _obey_preamble(columns: list[Column], said: tuple[dict[str, Any], ...], talk: Talk) -> None:
    """A preamble that says the values are corrected holds for torque and power whose headings say nothing."""
    claim = next((c for c in said if c["what"] == "correction"), None)
    for name in ("torque_nm", "power_kw"):
        column = find(columns, name)
        if (
            column is None
            or column.corrected
            or claim is None
            or claim["value"] == "none"
            or "uncorrected" in column.meaning.concepts
        ):
            continue
        column.corrected = claim["value"]
    corrected = [c for c in columns if c.channel in ("torque_nm", "power_kw") and c.corrected]
    if corrected:
        standard = corrected[0].corrected
        if standard == "unknown":
            talk.ask(
                f"{' and '.join(repr(c.header) for c in corrected)} are already corrected and are not corrected again: to which standard? "
                "Say it in day.yaml: logs_already_corrected: SAE J1349 (or SAE J607, ISO 1585, DIN 70020)"
            )
        else:
            talk.warn(
                f"{' and '.join(repr(c.header) for c in corrected)} are already corrected ({standard}) and are not corrected again"
            )
    smooth = next((c for c in said if c["what"] == "smoothed"), None)
    if smooth:
        talk.warn(f"line {smooth['line']} says {smooth['text']!r}: the values are smoothed; no noise can be estimated from them")


def impossible(columns: list[Column], shown: str, raw: RawLog) -> Fault | None:
    """Speeds that are no engine's (negative, or all below any idle) stop the log: its units are not physical."""
    rpm = find(columns, "rpm")
    assert rpm is not None
    kept = rpm.kept()
    known = kept[np.isfinite(kept)]
    expected = "engine speed in rpm"
    if not len(known):
        return Fault(
            shown,
            raw.header_line,
            rpm.header,
            "no value",
            expected,
            f"in columns.yaml: name the column of speed: {{channel: rpm, unit: rpm}}",
        )
    if known.max() < 60 or np.mean(known < -50) > 0.05 or (np.mean(known < 0) > 0.2 and known.max() < 1000):
        found = f"speeds from {known.min():.4g} to {known.max():.4g}: no physical units"
        from pullbook.reading.asking import yaml_line

        return Fault(
            shown,
            raw.header_line,
            rpm.header,
            found,
            expected,
            yaml_line(shown.rsplit("/", 1)[-1], rpm.header, channel="rpm", unit="rpm", scale=1),
        )
    return None


def _say_advance(columns: list[Column], timing: Timing, said: tuple[dict[str, Any], ...], talk: Talk) -> None:
    """All witnesses of advance side by side; none at all is asked for."""
    shown = [c for c in columns if c.channel and c.channel.startswith("advance")]
    if not shown:
        if find(columns, "torque_nm") is not None or find(columns, "power_kw") is not None:
            talk.ask(
                "no column of advance; which advance was set? Say it in pulls.csv (initial_deg, total_deg), or name the column in columns.yaml: {channel: advance_deg}"
            )
        return
    if len(shown) > 1:
        sides = "; ".join(f"{c.header!r} {np.nanmedian(c.kept()):.1f} ({c.channel})" for c in shown)
        talk.ask(
            f"{len(shown)} columns speak of advance, medians side by side: {sides}. advance_deg is used; is that the advance the engine got?"
        )
    for claim in said:
        if claim["what"] == "mark":
            talk.ask(
                f"line {claim['line']} says {claim['text']!r}; it is kept as a claim and not applied: say it in day.yaml zero_mark or columns.yaml"
            )


def _samples(raw: RawLog, columns: list[Column], timing: Timing, talk: Talk, displacement_l: float | None) -> pl.DataFrame:
    kept: dict[str, Array] = {c.channel: c.kept() for c in columns if c.channel}
    blank_spikes(kept, raw.lines, talk)
    derive_torque(kept, columns, talk)
    note_limits(kept, columns, raw.lines, displacement_l, talk)
    note_dead(kept, columns, raw.lines, talk)
    data: dict[str, Any] = {"line": raw.lines.cast(pl.Int64), "recording": pl.Series(timing.recording)}
    if timing.time_s is not None:
        data["time_s"] = timing.time_s
    data |= {name: kept[name] for name in CHANNELS if name in kept}
    frame = pl.DataFrame(data)
    floats = [c for c in frame.columns if c not in ("line", "recording")]
    frame = frame.with_columns(pl.col(floats).fill_nan(None))
    return frame[timing.order] if timing.order is not None else frame
