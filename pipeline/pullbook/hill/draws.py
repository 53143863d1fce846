"""Draws of a day before they are read on its rows: hills by climbing and sampling, then all that was integrated out."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from pullbook.arrays import Array
from pullbook.belief import Prior
from pullbook.hill.climb import DayTarget, Tops, climb, starting_points
from pullbook.hill.day_table import DayTable, common_shape, joined, split_modes, tested_middle
from pullbook.hill.earlier_days import EarlierDays, earlier_days
from pullbook.hill.form import BENT, SMOOTH, HillBasis, hill_basis, ln_torque_lost, slopes
from pullbook.hill.likelihood import DayLikelihood, Nodes, nodes
from pullbook.hill.one_way import drift_looks_like_timing
from pullbook.hill.own_effects import FORM_DOUBTS, OwnEffects, effect_modes
from pullbook.hill.sampler import DRAWS, sample
from pullbook.hill.told import told_of
from pullbook.hill.wander import USUAL, Within, estimate_wander, likelihood_for
from pullbook.measure.lines import lines_at

DRIFT_USUAL = (0.001, 1.6)  # fraction a pull: median of the scale, SD of its ln
DRIFT_UNSEEN = (0.008, 0.7)  # where advance went one way with the pulls: nothing bounds it, so nothing is presumed
SMOOTH_TO_BENT = 4.0  # how many engines with a smooth course of best advance come on one with a bend
FORM_BELIEVED = 4.0  # how many engines whose hill is of our form come on one whose hill is not
APART_TIMES, APART_LEAST = 1.5, 0.01  # a hill that puts the pulls further apart than they stood (SD, ln torque) explains nothing …
FORM_STRAYED = 0.16  # … it was led there by its form far from the best: climbed again with so much doubt about that
REACH_RPM = 200  # an anchor this far outside the rows is still read off the hill


@dataclass(frozen=True, slots=True)
class HillDraws:
    """D draws of a day's hill on its joined rows (P pulls, R rows), and what else is to be drawn beside them.

    ``xi`` (D, q), or (D, 0) without a hill; ``top`` (1, q): the likeliest of all hills; ``linear_at`` (1, q): the hill whose slopes
    say what a doubt about advance is worth in torque; ``remainder`` (D, P, R): ln torque that the draws leave unexplained;
    ``effects``: setting -> basis of its own effect on the fine rows, ln torque, and its place among the modes.
    """

    coarse: DayTable
    target: DayTarget | None
    xi: Array
    top: Array
    linear_at: Array
    closed: DayLikelihood
    remainder: Array
    effects: dict[str, tuple[Array, slice]]
    within: Within


def _own_modes(coarse: DayTable, effects: dict[str, Array]) -> Array:
    """Modes (P, R, E) of the settings' own effects, each on the pulls that ran the setting."""
    runs = [(np.array(coarse.setting) == setting).astype(float)[:, None, None] * basis[None] for setting, basis in effects.items()]
    return np.concatenate([np.zeros((*coarse.present.shape, 0)), *runs], axis=2)


def _places(effects: dict[str, Array], to_fine: Array, first: int) -> dict[str, tuple[Array, slice]]:
    """Each setting's basis on the fine rows, and where its weights stand among the modes from ``first`` on."""
    out = {}
    for setting, basis in effects.items():
        out[setting] = (to_fine @ basis, slice(first, first + basis.shape[1]))
        first += basis.shape[1]
    return out


def _lost(coarse: DayTable, basis: HillBasis, xi: Array) -> dict[str, Array]:
    """What each setting loses (R,) on one hill ``xi`` (1, q), fraction of torque; 0 where it was not run."""
    best, k, skew = basis.hill(xi)
    return {
        s: -np.expm1(ln_torque_lost(np.where(np.isfinite(a), a, best[0])[None], best, k, skew)[0, 0])
        for s, a in coarse.setting_advance().items()
    }


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
    to_fine = lines_at(table.rpm, coarse.rpm)
    drift = DRIFT_UNSEEN if drift_looks_like_timing(table) else DRIFT_USUAL
    scales = nodes(prior.sd_median, prior.sd_log_sd, *drift)
    no_doubt = np.zeros((*coarse.present.shape, doubts))
    if not hill:
        effects = effect_modes(coarse, own, prior.sd_median)
        modes = np.concatenate([no_doubt, _own_modes(coarse, effects)], axis=2)
        remainder = coarse.ln_torque[None]
        within = estimate_wander(coarse, remainder, scales, modes)
        closed = likelihood_for(coarse, within, scales, modes)
        all_draws = np.broadcast_to(remainder, (DRAWS, *remainder.shape[1:]))
        none = np.zeros((1, 0))
        places = _places(effects, to_fine, doubts)
        return HillDraws(coarse, None, np.zeros((DRAWS, 0)), none, none, closed, all_draws, places, within)
    target, tops, under = _found(coarse, prior, scales, own, 0.0)
    if _apart(coarse, target.remainder(under.xi)[0]) > APART_TIMES * _apart(coarse, coarse.ln_torque) + APART_LEAST:
        target, tops, under = _found(coarse, prior, scales, own, FORM_STRAYED)
    target = target.under(under.closed)
    tops = climb(target, tops.xi)
    xi = sample(target.ln_posterior, tops, rng)
    places = _places(under.effects, to_fine, doubts)
    return HillDraws(coarse, target, xi, tops.xi[:1], under.xi, under.closed, target.remainder(xi), places, under.within)


@dataclass(frozen=True, slots=True)
class _Under:
    """The closed forms under one hill ``xi`` (1, q): the wander it leaves, settings' own effects (R, n) beside it, its height."""

    xi: Array
    closed: DayLikelihood
    within: Within
    effects: dict[str, Array]
    height: float


def _apart(coarse: DayTable, ln_torque: Array) -> float:
    """SD of the pulls' levels, of ln torque (P, R): how far they stand apart as wholes."""
    level = common_shape(replace(coarse, ln_torque=ln_torque))[1]
    return float(level[coarse.present.any(axis=1)].std())


def _found(coarse: DayTable, prior: Prior, scales: Nodes, own: OwnEffects, form_doubt: float) -> tuple[DayTarget, Tops, _Under]:
    """The course, its tops, and the closed forms under the likeliest; the hill's form in doubt by ``form_doubt`` at least."""
    usual = hill_basis(coarse.rpm, prior, tested_middle(coarse))
    lost = _lost(coarse, usual, np.zeros((1, usual.size)))
    effects = _own_modes(coarse, effect_modes(coarse, own, prior.sd_median, lost, form_doubt))
    no_doubt = np.zeros((*coarse.present.shape, coarse.modes.shape[2]))
    closed = likelihood_for(coarse, USUAL, scales, np.concatenate([no_doubt, effects], axis=2))
    target, tops = _course(coarse, prior, closed)
    return target, tops, _likeliest_within(coarse, target, tops, scales, own, prior.sd_median, form_doubt)


def _likeliest_within(
    coarse: DayTable, target: DayTarget, tops: Tops, scales: Nodes, own: OwnEffects, pull_sd: float, least: float
) -> _Under:
    """The closed forms under the wander and the doubt about the hill's form that the likeliest top leaves, each top judged with
    its own.

    What a hill leaves unexplained inside a pull looks like wander: judged with the usual wander alone, one odd row can lift a
    hill that explains nothing else. What it leaves the same way in every pull of a setting is its form.
    """
    _, moved = split_modes(coarse)
    found = []
    for xi in tops.xi[:, None]:
        _, per_deg, _ = slopes(target.basis, coarse.advance, xi)
        lost, remainder = _lost(coarse, target.basis, xi), target.remainder(xi)

        def modes(effects: dict[str, Array], timing: Array = per_deg[0][:, :, None] * moved) -> Array:
            return np.concatenate([timing, _own_modes(coarse, effects)], axis=2)

        tried = [effect_modes(coarse, own, pull_sd, lost, doubt) for doubt in (0.0, *FORM_DOUBTS)]
        within, effects = USUAL, tried[0]
        for _ in range(2):
            doubt = max(_form_doubt([likelihood_for(coarse, within, scales, modes(e)) for e in tried], remainder), least)
            effects = effect_modes(coarse, own, pull_sd, lost, doubt)
            within = estimate_wander(coarse, remainder, scales, modes(effects))
            if not doubt:
                break
        closed = likelihood_for(coarse, within, scales, modes(effects))
        height = float(target.under(closed).ln_posterior(xi)[0]) + closed.constant() + within.ln_prior()
        found.append(_Under(xi, closed, within, effects, height))
    return max(found, key=lambda one: one.height)


def _form_doubt(tried: Sequence[DayLikelihood], remainder: Array) -> float:
    """What the hill's form is off by, as a share of what is lost: 0 unless one hill's ``remainder`` (1, P, R) speaks against that.

    ``tried``: closed forms without such a doubt and under each of ``FORM_DOUBTS``, whose variance is averaged.
    """
    height = np.array([closed.ln_likelihood(remainder)[0] + closed.constant() for closed in tried])
    weight = np.exp(height[1:] - height.max())
    if weight.mean() < FORM_BELIEVED * np.exp(height[0] - height.max()):
        return 0.0
    return float(np.sqrt((weight * np.square(FORM_DOUBTS)).sum() / weight.sum()))


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
