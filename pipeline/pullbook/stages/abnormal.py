"""Drops no timing explains: a misfire, a slip, a wrong mark. They are flagged and kept out, not fitted.

A stretch of a pull is abnormal where it loses more than three times what the steepest plausible hill would take between its
advance and the best-pulling other settings, and more than three pull SDs. The hill used as the yardstick is fitted without
the pull (or the whole setting) in question; only days that show such a drop pay for that.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import polars as pl

from pullbook.handover import Array, Prior
from pullbook.stages.climb import DayTarget, climb, starting_points
from pullbook.stages.day_table import DayTable, common_shape, joined, usable
from pullbook.stages.hill import hill_basis, ln_torque_lost
from pullbook.stages.likelihood import nodes
from pullbook.stages.wander import USUAL, likelihood_for

USUAL_STEEP = 4e-4  # 1/°²
TIMES = 3.0
STRETCH_RPM = 500
ABNORMAL = {"pull_id": pl.String(), "rpm_lo": pl.Int64(), "rpm_hi": pl.Int64(), "why": pl.String()}


@dataclass(frozen=True, slots=True)
class Abnormal:
    """``mask`` (P, R): data to leave out; ``table``: what is said of it."""

    mask: npt.NDArray[np.bool_]
    table: pl.DataFrame


def _stretch_mean(values: Array, present: npt.NDArray[np.bool_], rpm: npt.NDArray[np.int64]) -> Array:
    """Running mean (P, R) over ± half a stretch of what is present."""
    near = (np.abs(rpm[:, None] - rpm[None, :]) <= STRETCH_RPM / 2).astype(float)
    count = present.astype(float) @ near
    out: Array = np.where(present, (np.where(present, values, 0.0) @ near) / np.maximum(count, 1.0), 0.0)
    return out


def find_abnormal(table: DayTable, prior: Prior) -> Abnormal:
    """Look for drops; ``table`` holds every usable pull, advance NaN where unknown.

    Returns
    -------
    Abnormal
        An empty mask on most days.
    """
    mask = np.zeros(table.present.shape, bool)
    said: list[dict[str, object]] = []
    known = table.where(usable(table))
    pull_sd = _pull_sd(table, prior)
    for pull in range(len(table.pull_id)):
        if not known.present[pull].any():
            continue
        suspect = _suspect(known.where(~mask), pull, pull_sd)
        if not suspect.any():
            continue
        drop = _confirmed(known.where(~mask), pull, prior, pull_sd)
        if drop is None or not drop.any():
            continue
        mask[pull] |= drop
        rpm = table.rpm[drop]
        said.append({"pull_id": table.pull_id[pull], "rpm_lo": int(rpm.min()), "rpm_hi": int(rpm.max()),
                     "why": "torque drops more than timing can explain (misfire, slip or a wrong mark?)"})  # fmt: skip
    return Abnormal(mask, pl.DataFrame(said, schema=ABNORMAL))


def _pull_sd(table: DayTable, prior: Prior) -> float:
    """Pull SD for the rule: the prior's, or the repeats' own where they scatter more (median of absolute deviations)."""
    _, level = common_shape(table)
    names = np.array(table.setting)
    repeats = [level[names == s] - np.median(level[names == s]) for s in table.settings() if (names == s).sum() > 1]
    away = np.concatenate([np.zeros(0), *repeats])
    scatter = 1.4826 * float(np.median(np.abs(away))) * 1.3 if len(away) >= 4 else 0.0
    return max(prior.sd_median, scatter)


def _suspect(table: DayTable, pull: int, pull_sd: float) -> npt.NDArray[np.bool_]:
    """Cheap screen (R,): far under the best-pulling other pull, by more than any plausible hill takes from there."""
    level = table.ln_torque
    smooth = _stretch_mean(level - common_shape(table)[0], table.present, table.rpm)
    others = table.present.copy()
    others[pull] = False
    run = np.where(others, smooth, -np.inf)
    top = run.argmax(axis=0)
    row = np.arange(len(table.rpm))
    loss = run[top, row] - smooth[pull]
    step = np.abs(table.advance[pull] - table.advance[top, row])
    plausible = TIMES * USUAL_STEEP * step**2
    out: npt.NDArray[np.bool_] = table.present[pull] & others.any(axis=0) & (loss > np.maximum(plausible, TIMES * pull_sd))
    return out


def _confirmed(table: DayTable, pull: int, prior: Prior, pull_sd: float) -> npt.NDArray[np.bool_] | None:
    """Rows (R,) of a pull that lie three times further down than the hill of the other pulls says."""
    own_setting = np.array(table.setting) == table.setting[pull]
    repeats = own_setting & (np.arange(len(own_setting)) != pull)
    aside = np.zeros(len(own_setting), bool)
    aside[pull] = True
    smooth = _stretch_mean(table.ln_torque - common_shape(table)[0], table.present, table.rpm)
    if repeats.any() and not _agrees(smooth, table.present, pull, repeats, pull_sd):
        return _against_repeats(smooth, table.present, pull, repeats, pull_sd)
    aside |= repeats
    rest = table.of(np.flatnonzero(~aside))
    rest = rest.where(usable(rest))
    if len(set(rest.setting)) < 2 or not rest.present.any():
        return None
    shape, _ = common_shape(rest)
    coarse = joined(rest, shape)
    closed = likelihood_for(coarse, USUAL, 0.0, nodes(prior.sd_median, prior.sd_log_sd), np.zeros((*coarse.present.shape, 0)))
    target = DayTarget(coarse.ln_torque, coarse.advance, hill_basis(coarse.rpm, prior, prior.k_rpm), closed)
    tested = coarse.advance[coarse.present]
    tops = climb(target, starting_points(target.basis, float(tested.min()), float(tested.max())))
    spread = np.linalg.cholesky(tops.cov[0])
    wide = np.concatenate([tops.xi[:1], tops.xi[0] + np.sqrt(len(spread)) * spread.T, tops.xi[0] - np.sqrt(len(spread)) * spread.T])
    best, k, skew = target.basis.hill(wide)
    # the hill on joined rows is read at the nearest one: a yardstick for a threefold loss needs no more
    near = np.abs(coarse.rpm[None, :] - table.rpm[:, None]).argmin(axis=1)
    lost = -ln_torque_lost(np.nan_to_num(table.advance[pull])[None, :], best[:, near], k[:, near], skew)[:, 0]
    others = -ln_torque_lost(np.nan_to_num(rest.advance), best[:, near], k[:, near], skew)
    least = np.where(rest.present, others, np.inf).min(axis=1)
    said = (lost - np.minimum(least, lost)).max(axis=0)
    fresh = _stretch_mean(rest.ln_torque - common_shape(table)[0], rest.present, rest.rpm)
    top = np.where(rest.present, fresh, -np.inf).max(axis=0)
    drop = top - smooth[pull]
    step = np.min(np.where(rest.present, np.abs(rest.advance - table.advance[pull]), np.inf), axis=0)
    plausible = np.maximum(TIMES * said, TIMES * USUAL_STEEP * np.where(np.isfinite(step), step, 0.0) ** 2)
    out: npt.NDArray[np.bool_] = table.present[pull] & np.isfinite(top) & (drop > np.maximum(plausible, TIMES * pull_sd))
    return out


def _agrees(smooth: Array, present: npt.NDArray[np.bool_], pull: int, repeats: npt.NDArray[np.bool_], pull_sd: float) -> bool:
    """Whether the setting's other pulls show the same drop (then it is the setting, not the pull)."""
    return not _against_repeats(smooth, present, pull, repeats, pull_sd).any()


def _against_repeats(
    smooth: Array, present: npt.NDArray[np.bool_], pull: int, repeats: npt.NDArray[np.bool_], pull_sd: float
) -> npt.NDArray[np.bool_]:
    """Rows where a pull lies three pull SDs (of a difference) under the mean of its own repeats."""
    both = present[repeats].any(axis=0) & present[pull]
    count = np.maximum(present[repeats].sum(axis=0), 1)
    mean = np.where(present[repeats], smooth[repeats], 0.0).sum(axis=0) / count
    limit = TIMES * pull_sd * np.sqrt(1.0 + 1.0 / count)
    out: npt.NDArray[np.bool_] = both & (mean - smooth[pull] > limit)
    return out
