"""Pulls that stand far off all others over their whole span, more than any timing makes: another unit, engine or gear."""

import numpy as np

from pullbook.arrays import Array
from pullbook.hill.day_table import DayTable
from pullbook.units import KGF_M, LBF_FT

OFF, OFF_UNTIMED = 0.12, 0.20  # ln torque against most pulls, whatever the timing; where the advance is not known
STEEP = 1e-3  # 1/°²: what the sharpest hill takes off a pull run so far from the others
LEAST_PULLS, LEAST_ROWS = 4, 5
_MISTAKEN = ((LBF_FT, "lb·ft against N·m"), (KGF_M, "kgf·m against N·m"), (KGF_M / LBF_FT, "lb·ft against kgf·m"))
_RATIO_LN = 0.03
_TURNS = 20


def pull_levels(table: DayTable) -> Array:
    """Each pull's ln torque against most pulls, (P,), NaN where it shares few rows with most: medians by turns over pulls and rows.

    Source: median polish, Tukey, Exploratory Data Analysis (1977): a third of the pulls may be wrong without moving the others.
    """
    count = table.present.sum(axis=0)
    shared = table.present & (2 * count > len(table.pull_id)) & (count >= 3)
    level = np.zeros(len(table.pull_id))
    if not shared.any():
        return np.full(len(level), np.nan)
    values = np.where(shared, table.ln_torque, np.nan)[:, shared.any(axis=0)]
    heard = np.isfinite(values).sum(axis=1) >= LEAST_ROWS
    values = values[heard][:, np.isfinite(values[heard]).any(axis=0)]
    if not values.size:
        return np.full(len(level), np.nan)
    own = np.zeros(len(values))
    for _ in range(_TURNS):
        own = np.nanmedian(values - np.nanmedian(values - own[:, None], axis=0), axis=1)
    level[:] = np.nan
    level[heard] = own - np.median(own)
    return level


def find_odd(table: DayTable) -> dict[int, float]:
    """Pulls (by place) that are none of this day's, with their ln torque against the others.

    Parameters
    ----------
    table
        Every pull that might be used, advance NaN where unknown.

    Returns
    -------
    dict
        Empty on most days, and where as many as half of the pulls stand off: nobody knows which half is right.
    """
    if len(table.pull_id) < LEAST_PULLS:
        return {}
    level = pull_levels(table)
    advance = np.array([np.mean(a[p & np.isfinite(a)]) if (p & np.isfinite(a)).any() else np.nan
                        for a, p in zip(table.advance, table.present, strict=True)])  # fmt: skip
    step = np.abs(advance - np.nanmedian(advance)) if np.isfinite(advance).any() else advance
    timing = np.where(np.isfinite(step), OFF + STEEP * np.nan_to_num(step) ** 2, OFF_UNTIMED)
    limit = np.where(level > 0, OFF if np.isfinite(advance).any() else OFF_UNTIMED, timing)
    odd = np.flatnonzero(np.abs(np.nan_to_num(level)) > limit)
    return {int(i): float(level[i]) for i in odd} if 2 * len(odd) < np.isfinite(level).sum() else {}


def likely_reason(level: float) -> str:
    """What a pull that stands off by ``level`` (ln torque) may be, in words."""
    for ratio, units in _MISTAKEN:
        if abs(abs(level) - np.log(ratio)) < _RATIO_LN:
            return f"another unit of torque ({units}), or another engine or gear"
    return "another engine, another gear or another unit of torque"
