"""Several runs in the columns of one table, side by side: put one below the other, each a recording of its own.

A print-out that lays runs over each other writes ``rpm, Nm, kW, rpm, Nm, kW`` or one rpm and ``Torque run 1, Torque run 2``. Two
sensors of one run are written likewise, so columns are taken apart only where the headings, or the line above them, speak of
runs, or where each group has a speed of its own that is not the other's; all else stays a question.
"""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt
import polars as pl

from pullbook.arrays import Array
from pullbook.channels.column import Column, Talk
from pullbook.channels.run_names import Named, named_runs
from pullbook.text.raw import RawLog

MOST_RUNS = 60
LOAD = ("torque_nm", "power_kw", "torque_corrected_nm", "power_corrected_kw")
SHARED = ("rpm", "time_s", "counter")


@dataclass(slots=True)
class _Run:
    """Columns of one run by their heading without the run's name."""

    label: str
    columns: dict[str, Column]


def stack_runs(raw: RawLog, columns: list[Column], clocks: dict[str, pl.Series], hints: dict[str, Any], talk: Talk) -> RawLog:
    """Put runs that stand side by side one below the other; ``columns`` and ``clocks`` are changed in place.

    Parameters
    ----------
    raw, columns, clocks
        The log, its columns, and its clock columns as text by heading.
    hints
        columns.yaml: what it says of a column stands.
    talk
        Takes the warning.

    Returns
    -------
    RawLog
        With the line of every sample, and a block for each run; as given where there is but one run, or that is not sure.
    """
    speeds = sum(c.meaning.quantity == "rpm" for c in columns)
    loads = sum(c.meaning.quantity in LOAD for c in columns)
    if loads < 2 or raw.blocks is not None or len(clocks) > 1 or _settled(columns, hints):
        return raw
    parted = named_runs(raw, columns)
    found = _by_place(columns, parted) if speeds > 1 else None
    runs, shared = found or _by_label(columns, parted)
    worded = all(word for (_, _, word), c in zip(parted, columns, strict=True) if not any(c is s for s in shared))
    if not 2 <= len(runs) <= MOST_RUNS or not _sure(runs, shared, worded=worded):
        return raw
    has = [_filled(run) for run in runs]
    where = [np.flatnonzero(h) for h in has]
    if not all(len(w) >= 3 for w in where):
        return raw
    for header, cells in list(clocks.items()):
        clocks[header] = pl.concat([cells.gather(w) for w in where])
    columns[:] = _stacked(columns, runs, shared, where)
    names = [" / ".join(dict.fromkeys(c.header for c in run.columns.values())) for run in runs]
    if len(set(names)) == 1 and all(run.label for run in runs):
        names = [run.label for run in runs]
    talk.warn(
        f"{len(runs)} runs stand side by side; they are read as pulls 1 to {len(runs)}, from the left "
        f"(the first: {names[0][:80]!r}, the last: {names[-1][:80]!r})"
    )
    at = np.concatenate(where)
    blocks = np.repeat(np.arange(len(runs)), [len(w) for w in where])
    return replace(raw, lines=raw.lines.gather(at), cells=raw.lines.gather(at).to_frame(), blocks=pl.Series(blocks))


def _settled(columns: list[Column], hints: dict[str, Any]) -> bool:
    """Whether columns.yaml says of one of these columns what it is: then that stands."""
    named = {c.header for c in columns if c.meaning.quantity in (*LOAD, "rpm")}
    return any(h in named and isinstance(v, dict) and "channel" in v for h, v in hints.items())


def _by_place(columns: list[Column], parted: list[Named]) -> tuple[list[_Run], list[Column]] | None:
    """Groups that repeat the same headings from left to right, each with its own speed, behind columns of time they share."""
    for lead in range(min(3, len(columns))):
        if any(c.meaning.quantity not in ("time_s", "counter") and c.kind != "clock" for c in columns[:lead]):
            break
        rest = parted[lead:]
        for width in range(2, len(rest) // 2 + 1):
            bases = [base for base, _, _ in rest[:width]]
            if len(rest) % width or bases * (len(rest) // width) != [base for base, _, _ in rest] or len(set(bases)) < width:
                continue
            groups = [range(k, k + width) for k in range(lead, len(columns), width)]
            labels = [{parted[k][1] for k in group} - {""} for group in groups]
            if any(len(names) > 1 for names in labels):
                continue
            runs = [
                _Run(next(iter(names), ""), {parted[k][0]: columns[k] for k in group})
                for names, group in zip(labels, groups, strict=True)
            ]
            quantities = {c.meaning.quantity for c in runs[0].columns.values()}
            if "rpm" in quantities and quantities & set(LOAD):
                return runs, columns[:lead]
    return None


def _by_label(columns: list[Column], parted: list[Named]) -> tuple[list[_Run], list[Column]]:
    """Columns whose headings name their run, in any order; the others are shared by all."""
    runs: dict[str, _Run] = {}
    shared = []
    for column, (base, label, worded) in zip(columns, parted, strict=True):
        if worded:
            run = runs.setdefault(label, _Run(label, {}))
            if base in run.columns:
                return [], []
            run.columns[base] = column
        else:
            shared.append(column)
    return list(runs.values()), shared


def _sure(runs: list[_Run], shared: list[Column], *, worded: bool) -> bool:
    """Whether the groups are runs beyond doubt: alike, not the same numbers again, power over torque the same in all."""
    first = runs[0].columns
    if any(c.meaning.quantity not in SHARED and c.kind != "clock" for c in shared):
        return False  # whose would it be?
    if any(set(run.columns) != set(first) for run in runs) or len({run.label for run in runs}) not in (1, len(runs)):
        return False
    for base, column in first.items():
        others = [run.columns[base] for run in runs[1:]]
        if any(c.meaning.quantity != column.meaning.quantity or c.meaning.unit != column.meaning.unit for c in others):
            return False
        if any((c.values is None) != (column.values is None) or c.unit != column.unit for c in others):
            return False
    loads = [_of(run, *LOAD) for run in runs]
    if any(x is None for x in loads) or any(_same(loads[0], x) for x in loads[1:]):
        return False
    timed = any(c.meaning.quantity == "time_s" or c.kind == "clock" for c in shared)
    own = [_of(run, "rpm") for run in runs]
    if any(x is None for x in own):  # one speed for all: no sweep of one run has two torques, a print-out by rpm has
        if timed or not worded or not any(c.meaning.quantity == "rpm" for c in shared):
            return False
    elif timed and not worded and any(_in_step(own[0], x) for x in own[1:]):
        return False  # two sensors on one run
    return _agree(runs, shared)


def _of(run: _Run, *quantities: str) -> Array | None:
    return next((c.values for c in run.columns.values() if c.meaning.quantity in quantities and c.values is not None), None)


def _same(a: Array | None, b: Array | None) -> bool:
    return a is not None and b is not None and bool(np.array_equal(a, b, equal_nan=True))


def _in_step(a: Array | None, b: Array | None) -> bool:
    """Whether one speed is a constant times the other throughout."""
    if a is None or b is None:
        return False
    with np.errstate(invalid="ignore", divide="ignore"):
        ratio = (b / a)[(a > 300) & (b > 300)]
    return not len(ratio) or float(np.quantile(ratio, 0.95) - np.quantile(ratio, 0.05)) < 0.02 * abs(float(np.median(ratio)))


def _agree(runs: list[_Run], shared: list[Column]) -> bool:
    """Whether torque times speed over power is the same in every run (P = T·ω; true where one of them is not logged)."""
    common = next((c.values for c in shared if c.meaning.quantity == "rpm"), None)
    middles = []
    for run in runs:
        speed = _of(run, "rpm")
        speed = common if speed is None else speed
        torque, power = _of(run, "torque_nm", "torque_corrected_nm"), _of(run, "power_kw", "power_corrected_kw")
        if speed is None or torque is None or power is None:
            return True
        loaded = (power > 0.2 * np.nanmax(power, initial=0.0)) & np.isfinite(torque) & np.isfinite(speed)
        if loaded.any():
            middles.append(float(np.median(torque[loaded] * speed[loaded] / power[loaded])))
    return not middles or max(middles) - min(middles) <= 0.02 * abs(float(np.median(middles)))


def _filled(run: _Run) -> npt.NDArray[np.bool_]:
    """Rows in which the run has a value at all: a shorter run leaves its last rows blank."""
    return np.asarray(np.any([np.isfinite(c.values) for c in run.columns.values() if c.values is not None], axis=0))


def _stacked(columns: list[Column], runs: list[_Run], shared: list[Column], where: list[npt.NDArray[np.int64]]) -> list[Column]:
    """The shared columns repeated for each run, and those of the first run with the rows of the others below."""
    out = []
    for column in columns:
        base = next((b for b, c in runs[0].columns.items() if c is column), None)
        if base is None and not any(column is c for c in shared):
            continue
        parts = [column if base is None else run.columns[base] for run in runs]
        values = [c.values[w] for c, w in zip(parts, where, strict=True) if c.values is not None]
        out.append(replace(column, values=np.concatenate(values) if values else None, source=None, span=None))
    return out
