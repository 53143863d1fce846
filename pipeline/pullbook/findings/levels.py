"""What the model leaves and says of single pulls and settings, as tables for page three and the archive."""

import numpy as np
import polars as pl

from pullbook.arrays import Array, Mask
from pullbook.columns import OFFSETS, RESIDUALS, SETTING_CURVES
from pullbook.hill.day_table import DayTable
from pullbook.hill.fit import HillFit


def offsets_table(fit: HillFit | None) -> pl.DataFrame:
    """Each pull's level against the model.

    Parameters
    ----------
    fit
        The day's model; None where there is none.

    Returns
    -------
    polars.DataFrame
        OFFSETS in the order run: ``level_pct`` with its 90 % interval, % of torque, drift included; empty without a model.
    """
    if fit is None:
        return pl.DataFrame(schema=OFFSETS)
    lo, middle, hi = 100.0 * np.quantile(fit.level, [0.05, 0.5, 0.95], axis=0)
    return pl.DataFrame(
        {
            "pull_id": fit.table.pull_id, "order": fit.table.order.astype(int), "level_pct": middle.round(4),
            "lo_pct": lo.round(4), "hi_pct": hi.round(4),
        },
        schema=OFFSETS,
    )  # fmt: skip


def residuals_table(table: DayTable, fit: HillFit | None, abnormal: Mask) -> pl.DataFrame:
    """Measured minus model, the pull's level taken up.

    Parameters
    ----------
    table
        All pulls and rows of the day.
    fit
        The model, of some of them; None where there is none.
    abnormal
        Data of ``table`` that was flagged and kept out, (P, R).

    Returns
    -------
    polars.DataFrame
        RESIDUALS, % of torque; abnormal stretches are there with ``used`` false; empty without a model.
    """
    if fit is None:
        return pl.DataFrame(schema=RESIDUALS)
    place = {p: i for i, p in enumerate(table.pull_id)}
    column = np.searchsorted(table.rpm, fit.table.rpm)
    level = fit.level.mean(axis=0)
    parts: list[tuple[str, Array, Array, Array]] = []
    for i, pull_id in enumerate(fit.table.pull_id):
        p = place[pull_id]
        here = table.present[p, column] & (fit.table.present[i] | abnormal[p, column])
        left = 100.0 * np.expm1(table.ln_torque[p, column] - fit.fitted[i] - level[i])
        parts.append((pull_id, fit.table.rpm[here].astype(float), left[here], abnormal[p, column][here].astype(float)))
    return pl.DataFrame(
        {
            "pull_id": [p for p, rpm, *_ in parts for _ in rpm],
            "rpm": np.concatenate([rpm for _, rpm, *_ in parts]).astype(int),
            "residual_pct": np.concatenate([left for *_, left, _ in parts]).round(4),
            "used": np.concatenate([out for *_, out in parts]) == 0,
        },
        schema=RESIDUALS,
    )


def setting_curves_table(fit: HillFit | None) -> pl.DataFrame:
    """Torque each setting would repeat to.

    Parameters
    ----------
    fit
        The day's model; None where there is none.

    Returns
    -------
    polars.DataFrame
        SETTING_CURVES: N·m in the day's standard air by setting and rpm row, with a 90 % interval; empty without a model.
    """
    if fit is None:
        return pl.DataFrame(schema=SETTING_CURVES)
    frames = []
    for setting, mean in fit.means.items():
        run = np.isfinite(mean).all(axis=0)
        lo, middle, hi = np.exp(np.quantile(mean[:, run], [0.05, 0.5, 0.95], axis=0))
        names = [setting] * int(run.sum())
        columns = {"torque_nm": middle.round(3), "lo_nm": lo.round(3), "hi_nm": hi.round(3)}
        frames.append(pl.DataFrame({"setting": names, "rpm": fit.table.rpm[run]} | columns, schema=SETTING_CURVES))
    return pl.concat(frames)
