"""Spikes of torque in the pulls of a log, named where the log is looked at; the estimate leaves the same samples out."""

from dataclasses import replace

import numpy as np
import polars as pl

from pullbook.arrays import Array
from pullbook.handover import LogReading, Segment
from pullbook.measure.runs import runs
from pullbook.measure.spikes import spikes, torque_spikes
from pullbook.wording import counted, few

EDGE = 3
"""Samples at either end of a pull in which torque may rise or fall at once: the throttle opens and shuts."""
MOST = 3
"""Samples in a row that may be a spike."""


def with_spikes_named(log: LogReading) -> LogReading:
    """``log`` with a warning where torque leaps off its neighbours and back again within a pull or a hold."""
    samples = log.samples
    if not {"torque_nm", "rpm", "time_s"}.issubset(samples.columns):
        return log
    pieces = [s for s in log.segments if s.kind in ("pull", "aborted", "hold")]
    hits = np.concatenate([_spiked(samples, piece) for piece in pieces]) if pieces else np.zeros(0, np.int64)
    if not len(hits):
        return log
    column = next((c.header for c in log.columns if c.channel == "torque_nm"), "torque_nm")
    lines, values = samples["line"].gather(hits).to_list(), samples["torque_nm"].gather(hits).to_list()
    text = (
        f"{log.file.rsplit('/', 1)[-1]}: column {column!r}: {counted(len(hits), 'torque spike')} far off the samples about it "
        f"(line {few(lines, 5)}; the first reads {values[0]:.4g} N·m); left out of every estimate"
    )
    return replace(log, warnings=(*log.warnings, text))


def _spiked(samples: pl.DataFrame, piece: Segment) -> Array:
    """Rows of a pull whose torque is a spike, as the alignment of the pull finds them."""
    part = samples.slice(piece.first, piece.rows)
    rpm, time, torque = (part[name].cast(pl.Float64).to_numpy() for name in ("rpm", "time_s", "torque_nm"))
    good = np.flatnonzero(np.isfinite(rpm) & np.isfinite(time) & ~spikes(rpm))
    x = torque[good]
    seen = np.flatnonzero(np.isfinite(x))
    if len(seen) < 2 * EDGE + 2:
        return np.zeros(0, np.int64)
    off = torque_spikes(x)[seen]
    x = x[seen]
    out = []
    for a, b in runs(off):
        leap = float(np.min(np.abs(x[a:b] - x[a - 1]))) if a else 0.0
        if a >= EDGE and b <= len(x) - EDGE and b - a <= MOST and abs(x[b] - x[a - 1]) < 0.5 * leap:
            out.append(np.arange(a, b))
    rows = np.concatenate(out) if out else np.zeros(0, np.int64)
    return np.asarray(good[seen[rows]] + piece.first)
