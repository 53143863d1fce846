"""Draws of a day before they are read on its rows: hills by climbing and sampling, then all that was integrated out."""

from dataclasses import dataclass

import numpy as np

from pullbook.arrays import Array
from pullbook.belief import Prior
from pullbook.hill.climb import DayTarget, Tops, climb, starting_points
from pullbook.hill.day_table import DayTable, common_shape, joined, split_modes, tested_middle
from pullbook.hill.earlier_days import EarlierDays, earlier_days
from pullbook.hill.form import BENT, SMOOTH, HillBasis, hill_basis, slopes
from pullbook.hill.likelihood import DayLikelihood, Nodes, nodes
from pullbook.hill.one_way import drift_looks_like_timing
from pullbook.hill.own_effects import OwnEffects, effect_modes
from pullbook.hill.sampler import DRAWS, sample
from pullbook.hill.told import told_of
from pullbook.hill.wander import USUAL, Within, estimate_wander, likelihood_for
from pullbook.measure.lines import lines_at

DRIFT_USUAL = (0.001, 1.6)  # fraction a pull: median of the scale, SD of its ln
DRIFT_UNSEEN = (0.008, 0.7)  # where advance went one way with the pulls: nothing bounds it, so nothing is presumed
SMOOTH_TO_BENT = 4.0  # how many engines with a smooth course of best advance come on one with a bend
REACH_RPM = 200  # an anchor this far outside the rows is still read off the hill


@dataclass(frozen=True, slots=True)
class HillDraws:
    """D draws of a day's hill on its joined rows (P pulls, R rows), and what else is to be drawn beside them.

    ``xi`` (D, q), or (D, 0) without a hill; ``top`` (1, q): the likeliest of all hills; ``remainder`` (D, P, R): ln torque that the
    draws leave unexplained; ``effects``: setting -> basis of its own effect on the fine rows, ln torque, and its place among the
    modes.
    """

    coarse: DayTable
    target: DayTarget | None
    xi: Array
    top: Array
    closed: DayLikelihood
    remainder: Array
    effects: dict[str, tuple[Array, slice]]
    within: Within


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


def draw_hills(table: DayTable, prior: Prior, rng: np.random.Generator, own: OwnEffects, *, hill: bool) -> HillDraws:
    """Climb to the tops, with the usual wander first and the day's own then, and sample from there.

    Parameters
    ----------
    table, prior, rng, own, hill
        As for :func:`pullbook.hill.fit.fit_hill`.
    """
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
        return HillDraws(coarse, None, np.zeros((DRAWS, 0)), np.zeros((1, 0)), closed, all_draws, places, within)
    target, tops = _course(coarse, prior, closed)
    closed, within = _likeliest_within(coarse, target, tops, scales, own_modes)
    target = target.under(closed)
    tops = climb(target, tops.xi)
    xi = sample(target.ln_posterior, tops, rng)
    return HillDraws(coarse, target, xi, tops.xi[:1], closed, target.remainder(xi), places, within)


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
class Linear:
    """Draws of what the likelihood integrates out: pull ``level`` (D, P) and ``column`` (D, R), ln torque; ``z`` (D, J), standard
    normal, of the modes; pull SD ``sd`` and ``drift`` a pull, (D,), fractions of torque."""

    level: Array
    z: Array
    sd: Array
    drift: Array
    column: Array


def draw_linear(closed: DayLikelihood, remainder: Array, rng: np.random.Generator) -> Linear:
    """Draws of everything that was integrated out, given the remainders of the hill draws.

    Parameters
    ----------
    closed
        The day's closed forms, of P pulls and R rows.
    remainder
        Of each draw of the hill, ln torque, (D, P, R).
    rng
        Seeded from the content of the inputs.
    """
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
    return Linear(level, z, sd, drift, column @ closed.design.T)
