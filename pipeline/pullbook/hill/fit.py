"""From a day's table to draws of its hill, pull levels, torque curve and timing doubts."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from pullbook.arrays import Array
from pullbook.belief import Prior
from pullbook.hill.climb import DayTarget, Tops, climb, starting_points
from pullbook.hill.day_table import DayTable, common_shape, joined, tested_middle
from pullbook.hill.earlier_days import EarlierDays, earlier_days
from pullbook.hill.form import BENT, SMOOTH, HillBasis, hill_basis, ln_torque_lost, slopes
from pullbook.hill.likelihood import DayLikelihood, Nodes, nodes
from pullbook.hill.one_way import drift_looks_like_timing
from pullbook.hill.own_effects import OwnEffects, effect_modes
from pullbook.hill.sampler import DRAWS, sample
from pullbook.hill.told import told_of
from pullbook.hill.wander import USUAL, Within, estimate_wander, likelihood_for

DRIFT_USUAL = (0.001, 1.6)  # fraction a pull: median of the scale, SD of its ln
DRIFT_UNSEEN = (0.008, 0.7)  # where advance went one way with the pulls: nothing bounds it, so nothing is presumed
SMOOTH_TO_BENT = 4.0  # how many engines with a smooth course of best advance come on one with a bend
REACH_RPM = 200  # an anchor this far outside the rows is still read off the hill


@dataclass(frozen=True, slots=True)
class HillFit:
    """Everything the day's model says, D draws, on the R rows of ``table`` (P pulls).

    ``best``, ``k`` (D, R) and ``skew`` (D,) are None where no hill could be learned, and so are ``likeliest`` (R,), the best
    advance of the posterior's top, and ``basis``, the prior they were drawn under. ``scale`` (D, R): what the delivered scale as
    a whole is off by. ``level`` (D, P): each pull's ln T against the model, drift included. ``means``: ln torque (D, R) that each
    setting would repeat to, NaN on rows it was not run at. ``fitted`` (P, R): ln T without the pull's level.
    """

    table: DayTable
    best: Array | None
    k: Array | None
    skew: Array | None
    scale: Array
    sd: Array
    drift: Array
    level: Array
    top: Array
    means: dict[str, Array]
    fitted: Array
    within: Within
    likeliest: Array | None = None
    basis: HillBasis | None = None


@dataclass(frozen=True, slots=True)
class Ready:
    """A day before sampling: joined rows, what the draws are to be taken from, and where."""

    coarse: DayTable
    target: DayTarget | None
    xi: Array  # (D, q) draws of the hill; (D, 0) without one
    top: Array  # (1, q) the likeliest of all hills
    closed: DayLikelihood
    remainder: Array  # (D, P, R) of the draws
    effects: dict[str, tuple[Array, slice]]  # setting -> basis on the fine rows, its place among the modes
    within: Within


def fit_hill(table: DayTable, prior: Prior, rng: np.random.Generator, own: OwnEffects, *, hill: bool = True) -> HillFit:
    """Draw from the posterior of a day.

    Parameters
    ----------
    table
        Data the model may learn from, 100-rpm rows; ``advance`` finite wherever ``present``.
    prior
        What is known beforehand.
    rng
        Seeded from the content of the inputs.
    own
        Settings with an effect beside the hill.
    hill
        False: settings are compared as they stand, advance plays no part.
    """
    ready = _draws(table, prior, rng, own, hill)
    return _on_rows(table, ready, rng)


def _own_modes(
    table: DayTable, coarse: DayTable, own: OwnEffects, first: int, pull_sd: float
) -> tuple[Array, dict[str, tuple[Array, slice]]]:
    """Modes (P, R, E) of the settings' own effects on joined rows, and where to find each again."""
    rough = effect_modes(table, own, coarse.rpm.astype(float), pull_sd)
    to_fine = lines_at(table.rpm, coarse.rpm)
    columns, places = [], {}
    for setting, basis in rough.items():
        runs = (np.array(coarse.setting) == setting).astype(float)
        columns.append(runs[:, None, None] * basis[None])
        places[setting] = (to_fine @ basis, slice(first, first + basis.shape[1]))
        first += basis.shape[1]
    return np.concatenate([np.zeros((*coarse.present.shape, 0)), *columns], axis=2), places


def split_modes(table: DayTable) -> tuple[Array, Array]:
    """Timing doubts common to all pulls at a row (R, J), and what is left of them pull by pull (P, R, J).

    The common part moves what was tested and what is best alike: it needs no likelihood.
    """
    count = np.maximum(table.present.sum(axis=0), 1)[:, None]
    kept = np.where(table.present[:, :, None], table.modes, 0.0)
    common = kept.sum(axis=0) / count
    return common, np.where(table.present[:, :, None], table.modes - common, 0.0)


def _draws(table: DayTable, prior: Prior, rng: np.random.Generator, own: OwnEffects, hill: bool) -> Ready:
    """Climb to the tops, with the usual wander first and the day's own then, and sample from there."""
    shape, _ = common_shape(table)
    coarse = joined(table, shape)
    doubts = table.modes.shape[2]
    own_modes, places = _own_modes(table, coarse, own, doubts, prior.sd_median)
    drift = DRIFT_UNSEEN if drift_looks_like_timing(table) else DRIFT_USUAL
    scales = nodes(prior.sd_median, prior.sd_log_sd, *drift)
    no_doubt = np.zeros((*coarse.present.shape, doubts))
    modes = np.concatenate([no_doubt, own_modes], axis=2)
    closed = likelihood_for(coarse, USUAL, scales, modes)
    if not hill:
        remainder = coarse.ln_torque[None]
        within = estimate_wander(coarse, remainder, scales, modes)
        closed = likelihood_for(coarse, within, scales, modes)
        all_draws = np.broadcast_to(remainder, (DRAWS, *remainder.shape[1:]))
        return Ready(coarse, None, np.zeros((DRAWS, 0)), np.zeros((1, 0)), closed, all_draws, places, within)
    target, tops = _course(coarse, prior, closed)
    closed, within = _likeliest_within(coarse, target, tops, scales, own_modes)
    target = target.under(closed)
    tops = climb(target, tops.xi)
    xi = sample(target.ln_posterior, tops, rng)
    return Ready(coarse, target, xi, tops.xi[:1], closed, target.remainder(xi), places, within)


def _likeliest_within(
    coarse: DayTable, target: DayTarget, tops: Tops, scales: Nodes, own_modes: Array
) -> tuple[DayLikelihood, Within]:
    """The closed forms under the wander that the likeliest top leaves, each top judged with its own.

    What a hill leaves unexplained inside a pull looks like wander: judged with the usual wander alone, one odd row can lift a
    hill that explains nothing else.
    """
    _, moved = split_modes(coarse)
    found = []
    for xi in tops.xi[:, None]:
        _, per_deg, _ = slopes(target.basis, coarse.advance, xi)
        modes = np.concatenate([per_deg[0][:, :, None] * moved, own_modes], axis=2)
        within = estimate_wander(coarse, target.remainder(xi), scales, modes)
        closed = likelihood_for(coarse, within, scales, modes)
        height = float(target.under(closed).ln_posterior(xi)[0]) + closed.constant() + within.ln_prior()
        found.append((height, closed, within))
    _, closed, within = max(found, key=lambda one: one[0])
    return closed, within


def _course(coarse: DayTable, prior: Prior, closed: DayLikelihood) -> tuple[DayTarget, Tops]:
    """The smooth course of best advance, or the bent one where the pulls speak for it: by the volume under the tops (Laplace)."""
    tested = coarse.advance[coarse.present]
    found = []
    for course in (SMOOTH, BENT):
        basis = hill_basis(coarse.rpm, prior, tested_middle(coarse), course)
        target = DayTarget(coarse.ln_torque, coarse.advance, basis, closed, _earlier(prior, basis, coarse))
        tops = climb(target, starting_points(basis, float(tested.min()), float(tested.max())))
        found.append((target, tops, float(np.logaddexp.reduce(tops.ln_volume))))
    smooth, bent = found
    target, tops, _ = bent if bent[2] - smooth[2] > np.log(SMOOTH_TO_BENT) else smooth
    return target, tops


def _earlier(prior: Prior, basis: HillBasis, coarse: DayTable) -> EarlierDays | None:
    """Earlier days' say, on the anchors within reach of this day's rows."""
    if prior.earlier is None:
        return None
    told = told_of(prior.earlier)
    kept = np.flatnonzero((told.rpm >= coarse.rpm.min() - REACH_RPM) & (told.rpm <= coarse.rpm.max() + REACH_RPM))
    lines, k_line = lines_at(told.rpm, coarse.rpm), lines_at([told.k_rpm], coarse.rpm)[0]
    return earlier_days(told, basis, lines, k_line, kept, split_modes(coarse)[0])


@dataclass(frozen=True, slots=True)
class _Linear:
    level: Array  # (D, P)
    z: Array  # (D, J)
    sd: Array
    drift: Array  # (D,)
    column: Array  # (D, R)


def _linear(closed: DayLikelihood, remainder: Array, rng: np.random.Generator) -> _Linear:
    """Draws of everything that was integrated out, given the remainders of the hill draws."""
    draws = len(remainder)
    scores = closed.residuals(remainder)
    each = closed.node_ln_likelihood(scores)
    weight = np.exp(each - each.max(axis=1, keepdims=True))
    edges = np.cumsum(weight, axis=1)
    node = (edges < edges[:, -1:] * rng.random((draws, 1))).sum(axis=1)
    level = np.empty_like(scores.pull)
    normal = rng.standard_normal(level.shape)
    for g in np.unique(node):
        cov, lower = closed.node_level(int(g))
        at = node == g
        level[at] = scores.pull[at] @ cov + normal[at] @ lower.T
    sd, tau = closed.scales.sd[node], closed.scales.drift[node]
    straight = closed.order[:, 0]  # at right angles to the bend: each stands alone
    precision = 1.0 / tau**2 + (straight @ straight) / sd**2
    drift = (level @ straight) / sd**2 / precision + rng.standard_normal(draws) / np.sqrt(precision)
    left = closed.residuals(remainder - level[:, :, None])
    z = left.mode @ closed.mode_cov + rng.standard_normal(left.mode.shape) @ np.linalg.cholesky(closed.mode_cov).T
    mean = (left.column - z @ closed.mode_columns) @ closed.column_cov
    column = mean + rng.standard_normal(mean.shape) @ np.linalg.cholesky(closed.column_cov).T
    return _Linear(level, z, sd, drift, column @ closed.design.T)


def _on_rows(table: DayTable, ready: Ready, rng: np.random.Generator) -> HillFit:
    linear = _linear(ready.closed, ready.remainder, rng)
    shape, _ = common_shape(table)
    has = ready.coarse.present.any(axis=0)
    to_fine = lines_at(table.rpm, ready.coarse.rpm[has])
    top = shape + linear.column[:, has] @ to_fine.T
    common, own_doubt = split_modes(table)
    doubts = common.shape[1]
    advance = np.where(table.present, table.advance, 0.0)
    fitted = np.broadcast_to(top.mean(axis=0), advance.shape)
    basis = best = k = skew = likeliest = None
    if ready.target is not None:
        basis = on_rows(ready.target.basis, table.rpm, ready.coarse.rpm)
        best, k, skew = basis.hill(ready.xi)
        likeliest = basis.hill(ready.top)[0][0]
        fitted = fitted + ln_torque_lost(advance, best[::8], k[::8], skew[::8]).mean(axis=0)
    means = {}
    for name, ran in table.setting_advance().items():
        run = table.mask_of(name)
        mean = top.copy()
        if basis is not None and best is not None and k is not None and skew is not None:
            mean += ln_torque_lost(np.nan_to_num(ran)[None], best, k, skew)[:, 0]
            if doubts:
                doubt = np.where(run[:, :, None], own_doubt, 0.0).sum(axis=0) / np.maximum(run.sum(axis=0), 1)[:, None]
                _, per_deg, _ = slopes(basis, np.nan_to_num(ran)[None], ready.xi[::32])
                mean += (linear.z[:, :doubts] @ doubt.T) * per_deg.mean(axis=(0, 1))
        if name in ready.effects:
            columns, place = ready.effects[name]
            mean += linear.z[:, place] @ columns.T
            fitted = fitted + (np.array(table.setting) == name)[:, None] * (linear.z[:, place].mean(axis=0) @ columns.T)
        mean[:, ~run.any(axis=0)] = np.nan
        means[name] = mean
    return HillFit(
        table, best, k, skew, linear.z[:, :doubts] @ common.T, linear.sd, linear.drift, linear.level, top, means, fitted,
        ready.within, likeliest, basis,
    )  # fmt: skip


def on_rows(basis: HillBasis, rpm: npt.NDArray[np.int64], at: npt.NDArray[np.int64]) -> HillBasis:
    """The same parameters read on other rows.

    Parameters
    ----------
    basis
        On the rows ``at``.
    rpm, at
        Rows wanted, (R,), and rows of the basis, (A,), rpm; carried over by straight lines along rpm.
    """
    lines = lines_at(rpm, at)
    return HillBasis(
        np.asarray(rpm, float), lines @ basis.best_mean, lines @ basis.best_basis, lines @ basis.ln_k_mean, lines @ basis.k_basis,
        basis.skew_sd, basis.k_far,
    )  # fmt: skip


def lines_at(rpm: npt.ArrayLike, at: npt.ArrayLike) -> Array:
    """Weights (R, r) of linear interpolation from rows ``at`` (r,) to ``rpm``; beyond the ends the line goes on."""
    x, knots = np.asarray(rpm, float), np.asarray(at, float)
    out = np.zeros((len(x), len(knots)))
    if len(knots) == 1:
        out[:, 0] = 1.0
        return out
    left = np.clip(np.searchsorted(knots, x, side="right") - 1, 0, len(knots) - 2)
    share = (x - knots[left]) / (knots[left + 1] - knots[left])
    row = np.arange(len(x))
    out[row, left] = 1.0 - share
    out[row, left + 1] = share
    return out
