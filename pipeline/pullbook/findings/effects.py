"""Every setting against the baseline, over the used span and row by row, with a verdict."""

from collections.abc import Iterable, Mapping

import numpy as np
import polars as pl

from pullbook.arrays import Array
from pullbook.columns import EFFECTS, conform


def verdict(lo_pct: float, hi_pct: float, tolerance_pct: float) -> str:
    """The contract's words in the contract's order: the first that fits.

    Parameters
    ----------
    lo_pct, hi_pct
        90 % interval of the change, %.
    tolerance_pct
        Changes up to this are the same to the shop, %.
    """
    if -tolerance_pct <= lo_pct and hi_pct <= tolerance_pct:
        return "same"
    if lo_pct > 0:
        return "gain"
    if hi_pct < 0:
        return "loss"
    return "cannot_tell"


def _row(setting: str, versus: str, rpm: tuple[int, int], change: Array, tolerance_pct: float) -> dict[str, object]:
    percent = 100.0 * np.expm1(change)
    lo, middle, hi = (round(float(q), 3) for q in np.quantile(percent, [0.05, 0.5, 0.95]))
    return {
        "setting": setting, "versus": versus, "rpm_lo": rpm[0], "rpm_hi": rpm[1], "change_pct": middle, "lo_pct": lo,
        "hi_pct": hi, "verdict": verdict(lo, hi, tolerance_pct),
    }  # fmt: skip


def effects_table(
    means: Mapping[str, Array], rpm: Iterable[int], baseline: str | None, used_rpm: tuple[float, float] | None, tolerance_pct: float
) -> pl.DataFrame:
    """EFFECTS: for each setting the whole span first, then its rows.

    Parameters
    ----------
    means
        Draws of ln torque (D, R) that each setting would repeat to, NaN on rows it was not run at.
    rpm
        The R rows.
    baseline
        The reference setting; None or absent: an empty table.
    used_rpm
        The span that counts, default every row both ran.
    tolerance_pct
        Differences within this are ``same``.
    """
    at = np.asarray(list(rpm), int)
    lo, hi = used_rpm if used_rpm else (-np.inf, np.inf)
    inside = (at >= lo) & (at <= hi)
    rows: list[dict[str, object]] = []
    reference = means.get(baseline) if baseline is not None else None
    for setting, own in means.items():
        if reference is None or baseline is None or setting == baseline:
            continue
        change = own - reference
        both = np.isfinite(change).all(axis=0)
        span = both & inside if (both & inside).any() else both
        if not span.any():
            continue
        ends = (int(at[span].min()), int(at[span].max()))
        rows.append(_row(setting, baseline, ends, change[:, span].mean(axis=1), tolerance_pct))
        if int(both.sum()) > 1:
            rows += [_row(setting, baseline, (int(at[i]), int(at[i])), change[:, i], tolerance_pct) for i in np.flatnonzero(both)]
    return conform(pl.DataFrame(rows), EFFECTS) if rows else pl.DataFrame(schema=EFFECTS)
