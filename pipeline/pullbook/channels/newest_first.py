"""Logs whose newest row stands first: turned round, so that time runs on."""

from dataclasses import replace

import numpy as np
import polars as pl

from pullbook.arrays import Array
from pullbook.channels.column import Column, Talk
from pullbook.channels.columns_made import Clocks
from pullbook.channels.stamps import read_stamps
from pullbook.text.raw import RawLog

LEAST = 10
SHARE = 0.95
"""Share of steps back in time above which a log is taken to be written backwards (a counter that wraps goes back seldom)."""


def oldest_first(raw: RawLog, columns: list[Column], clocks: Clocks, talk: Talk) -> tuple[RawLog, Clocks]:
    """The log in order of time; ``columns`` are turned in place, and it is said.

    Parameters
    ----------
    raw, columns, clocks
        The log, its columns, and its clock columns as text by heading.
    talk
        Takes the warning.
    """
    time = next((c for c in columns if c.meaning.quantity == "time_s" and (c.values is not None or c.header in clocks)), None)
    if time is None or raw.blocks is not None or not _runs_back(time, clocks):
        return raw, clocks
    for column in columns:
        if column.values is not None:
            column.values, column.source = column.values[::-1].copy(), None
    talk.warn("the newest row stands first; the rows were put in order of time")
    turned = replace(raw, cells=raw.cells.reverse(), lines=raw.lines.reverse())
    return turned, {header: cells.reverse() for header, cells in clocks.items()}


def _runs_back(time: Column, clocks: Clocks) -> bool:
    values: Array | None = time.values
    if values is None:
        few: pl.Series = clocks[time.header].head(2000)
        stamps = read_stamps(few)
        values = stamps.seconds if stamps is not None else np.zeros(0)
    step = np.diff(values[:40_000])
    step = step[np.isfinite(step) & (step != 0)]
    return len(step) > LEAST and float(np.mean(step < 0)) > SHARE
