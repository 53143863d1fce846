"""Drops no timing explains: a misfire, a slip, a wrong mark. They are flagged and kept out, not fitted.

A stretch of a pull is abnormal where it loses more than three times what the steepest plausible hill would take between its
advance and the best-pulling other settings, and more than three pull SDs. The hill used as the yardstick is fitted without
the pull (or the whole setting) in question; only days that show such a drop pay for that.
"""

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
import polars as pl

from pullbook.arrays import Array, Mask
from pullbook.belief import Prior
from pullbook.hill.climb import DayTarget, climb, starting_points
from pullbook.hill.day_table import DayTable, common_shape, joined, tested_middle, usable
from pullbook.hill.form import hill_basis, ln_torque_lost
from pullbook.hill.likelihood import nodes
from pullbook.hill.odd_pulls import find_odd, likely_reason
from pullbook.hill.wander import USUAL, USUAL_SD, likelihood_for

USUAL_STEEP = 4e-4  # 1/°²
TIMES = 3.0
ONE_IN, LEAST_KNOWN = 0.0025, 4.0  # one pull in so many lies so low by chance; the doubt about the SD counts no further
STRETCH_RPM = 500
DRIFT = 0.001  # of torque a pull: the oil of a return is not the oil of the first pull
ABNORMAL = {"pull_id": pl.String(), "rpm_lo": pl.Int64(), "rpm_hi": pl.Int64(), "why": pl.String()}


@dataclass(frozen=True, slots=True)
class Abnormal:
    """``mask`` (P, R): data to leave out; ``table``: :data:`ABNORMAL`; ``odd``: ln torque by whole pull that stands off."""

    mask: Mask
    table: pl.DataFrame
    odd: dict[str, float] = field(default_factory=dict)


def _stretch_mean(values: Array, present: Mask, rpm: npt.NDArray[np.int64]) -> Array:
    """Running mean (P, R) over ± half a stretch of what is present."""
    near = (np.abs(rpm[:, None] - rpm[None, :]) <= STRETCH_RPM / 2).astype(float)
    count = present.astype(float) @ near
    out: Array = np.where(present, (np.where(present, values, 0.0) @ near) / np.maximum(count, 1.0), 0.0)
    return out


def _smooth(table: DayTable) -> Array:
    """ln T (P, R) less the day's common shape, smoothed along rpm."""
    return _stretch_mean(table.ln_torque - common_shape(table)[0], table.present, table.rpm)


def find_abnormal(table: DayTable, prior: Prior, apart: tuple[str, ...] = ()) -> Abnormal:
    """Look for drops; ``table`` holds every usable pull, advance NaN where unknown.

    Settings ``apart`` differ in more than timing: they are held against their own repeats only, and are no yardstick for others.

    Returns
    -------
    Abnormal
        An empty mask on most days.
    """
    mask = np.zeros(table.present.shape, bool)
    said: list[dict[str, object]] = []
    odd = find_odd(table)
    for pull, level in odd.items():
        mask[pull] = table.present[pull]
        rpm = table.rpm[table.present[pull]]
        why = f"torque stands {100 * np.expm1(level):+.0f} % off the other pulls ({likely_reason(level)}?)"
        said.append({"pull_id": table.pull_id[pull], "rpm_lo": int(rpm.min()), "rpm_hi": int(rpm.max()), "why": why})
    table = table.where(~mask)
    known = table.where(usable(table))
    pull_sd = np.hypot(_pull_sd(table, prior), USUAL_SD)
    for pull in range(len(table.pull_id)):
        if not known.present[pull].any():
            continue
        left = known.where(~mask)
        drop = _against_repeats(left, pull, pull_sd[pull])
        if not drop.any() and table.setting[pull] not in apart:
            timed = left.where(~np.isin(np.array(table.setting), apart)[:, None])
            if _suspect(timed, pull, pull_sd[pull]).any():
                drop = _against_hill(timed, pull, prior, pull_sd[pull])
        if not drop.any():
            continue
        drop = table.present[pull] & (np.abs(table.rpm[:, None] - table.rpm[drop]).min(axis=1) <= STRETCH_RPM / 2)
        mask[pull] |= drop
        rpm = table.rpm[drop]
        said.append({"pull_id": table.pull_id[pull], "rpm_lo": int(rpm.min()), "rpm_hi": int(rpm.max()),
                     "why": "torque drops more than timing can explain (misfire, slip or a wrong mark?)"})  # fmt: skip
    return Abnormal(mask, pl.DataFrame(said, schema=ABNORMAL), {table.pull_id[i]: level for i, level in odd.items()})


def _pull_sd(table: DayTable, prior: Prior) -> Array:
    """Pull SD for the rule, pull by pull (P,): what the other pulls' repeats and the prior say, wide where they say little.

    The prior counts as so many repeats as its doubt about ln SD is worth, 1/(2·SD²). Three SDs become more where there is little to
    go by (Student's t), so that a dyno rougher than its kind does not lose its low pulls.
    """
    from scipy.special import stdtrit

    _, level = common_shape(table)
    names = np.array(table.setting)
    known = 1.0 / (2.0 * prior.sd_log_sd**2)
    out = np.empty(len(names))
    for pull in range(len(names)):
        others = np.arange(len(names)) != pull
        runs = [level[others & (names == s)] for s in table.settings()]
        free = sum(len(r) - 1 for r in runs if len(r))
        square = sum(float(((r - r.mean()) ** 2).sum()) for r in runs if len(r))
        sd = np.sqrt((known * prior.sd_median**2 + square) / (known + free))
        out[pull] = sd * max(TIMES, float(-stdtrit(max(known + free, LEAST_KNOWN), ONE_IN))) / TIMES
    return out


def _suspect(table: DayTable, pull: int, pull_sd: float) -> Mask:
    """Cheap screen (R,): far under the best-pulling other pull, by more than any plausible hill takes from there."""
    smooth = _smooth(table)
    others = table.present.copy()
    others[pull] = False
    run = np.where(others, smooth, -np.inf)
    top = run.argmax(axis=0)
    row = np.arange(len(table.rpm))
    loss = run[top, row] - smooth[pull]
    step = np.abs(table.advance[pull] - table.advance[top, row])
    plausible = TIMES * USUAL_STEEP * step**2
    out: Mask = table.present[pull] & others.any(axis=0) & (loss > plausible + TIMES * pull_sd)
    return out


def _against_repeats(table: DayTable, pull: int, pull_sd: float) -> Mask:
    """Rows (R,) where a pull lies three SDs (of a difference, drift between them included) under the mean of its own repeats."""
    repeats = np.array(table.setting) == table.setting[pull]
    repeats[pull] = False
    smooth = _smooth(table)
    count = table.present[repeats].sum(axis=0)
    mean = np.where(table.present[repeats], smooth[repeats], 0.0).sum(axis=0) / np.maximum(count, 1)
    apart = abs(float(table.order[pull] - table.order[repeats].mean())) if repeats.any() else 0.0
    limit = TIMES * np.hypot(pull_sd * np.sqrt(1.0 + 1.0 / np.maximum(count, 1)), DRIFT * apart)
    out: Mask = table.present[pull] & (count > 0) & (mean - smooth[pull] > limit)
    return out


def _against_hill(table: DayTable, pull: int, prior: Prior, pull_sd: float) -> Mask:
    """Rows (R,) of a pull that lie three times further down than the hill of the other settings' pulls says."""
    aside = np.array(table.setting) == table.setting[pull]
    smooth = _smooth(table)
    rest = table.of(np.flatnonzero(~aside))
    rest = rest.where(usable(rest))
    if len(set(rest.setting)) < 2 or not rest.present.any():
        return np.zeros(len(table.rpm), bool)
    shape, _ = common_shape(rest)
    coarse = joined(rest, shape)
    closed = likelihood_for(coarse, USUAL, nodes(prior.sd_median, prior.sd_log_sd), np.zeros((*coarse.present.shape, 0)))
    target = DayTarget(coarse.ln_torque, coarse.advance, hill_basis(coarse.rpm, prior, tested_middle(coarse)), closed)
    tested = coarse.advance[coarse.present]
    tops = climb(target, starting_points(target.basis, float(tested.min()), float(tested.max())))
    spread = np.linalg.cholesky(tops.cov[0])
    wide = np.concatenate([tops.xi[:1], tops.xi[0] + np.sqrt(len(spread)) * spread.T, tops.xi[0] - np.sqrt(len(spread)) * spread.T])
    best, k, skew = target.basis.hill(wide)
    # the hill on joined rows is read at the nearest one: a yardstick for a threefold loss needs no more
    near = np.abs(coarse.rpm[None, :] - table.rpm[:, None]).argmin(axis=1)
    lost = -ln_torque_lost(np.nan_to_num(table.advance[pull])[None, :], best[:, near], k[:, near], skew)[:, 0]
    others = -ln_torque_lost(np.nan_to_num(rest.advance), best[:, near], k[:, near], skew)
    count = rest.present.sum(axis=0)
    level = np.where(rest.present, smooth[~aside] + others, 0.0).sum(axis=1) / np.maximum(count, 1)  # at the best, by hill
    least = np.where(rest.present, others, np.inf).min(axis=1)
    predicted = np.max(lost - level, axis=0)  # the most any of the hills lets this pull fall
    excess = -smooth[pull] - predicted
    loss = np.max(level - np.where(np.isfinite(least), least, 0.0), axis=0) - smooth[pull]
    plausible = TIMES * np.maximum(np.max(lost - least, axis=0), 0.0)
    step = np.min(np.where(rest.present, np.abs(rest.advance - table.advance[pull]), np.inf), axis=0)
    plausible = np.maximum(plausible, TIMES * USUAL_STEEP * np.where(np.isfinite(step), step, 0.0) ** 2)
    limit = TIMES * pull_sd * np.sqrt(1.0 + 1.0 / np.maximum(count, 1))
    out: Mask = table.present[pull] & (count > 0) & (loss > plausible) & (excess > limit)
    return out
