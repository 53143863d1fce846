"""The tops of a day's posterior: damped Gauss–Newton from many starts at once. An unbracketed day has more than one.

Source: Levenberg–Marquardt damping with Nielsen's update of the gain ratio (Madsen, Nielsen and Tingleff, Methods for
non-linear least squares problems, 2004). The average over the nodes of pull SD and drift is redone at every step (an EM step).
"""

from dataclasses import dataclass, replace

import numpy as np

from pullbook.arrays import Array
from pullbook.hill.earlier_days import EarlierDays
from pullbook.hill.form import HillBasis, ln_torque_lost, slopes
from pullbook.hill.likelihood import DayLikelihood

CACHED = 100_000  # numbers held at once while a batch is priced
STEPS = 25
ENOUGH = 0.01  # steps end when no start gains more than this in ln posterior


@dataclass(frozen=True, slots=True)
class DayTarget:
    """ln posterior of hills, up to a constant: ``ln_torque`` and ``advance`` are (P, R), finite everywhere."""

    ln_torque: Array
    advance: Array
    basis: HillBasis
    likelihood: DayLikelihood
    earlier: EarlierDays | None = None

    def under(self, likelihood: DayLikelihood) -> "DayTarget":
        """The same day under other closed forms."""
        return replace(self, likelihood=likelihood)

    def remainder(self, xi: Array) -> Array:
        """What the hills ``xi`` (B, q) leave unexplained: (B, P, R)."""
        best, k, skew = self.basis.hill(xi)
        return self.ln_torque - ln_torque_lost(self.advance, best, k, skew)

    def ln_posterior(self, xi: Array) -> Array:
        """(B,) for ``xi`` (B, q); worked through in parts that fit the processor's cache, whatever the size of the day."""
        part = max(1, CACHED // self.ln_torque.size)
        parts = [self.likelihood.ln_likelihood(self.remainder(xi[i : i + part])) for i in range(0, len(xi), part)]
        out: Array = np.concatenate(parts) - 0.5 * (xi**2).sum(axis=1)
        return out if self.earlier is None else out + self.earlier.ln_density(xi)


@dataclass(frozen=True, slots=True)
class Tops:
    """Distinct tops, highest first: ``xi`` (M, q), ``cov`` (M, q, q), ``ln_posterior`` (M,), ``ln_volume`` (M,) under each."""

    xi: Array
    cov: Array
    ln_posterior: Array
    ln_volume: Array


def _normal_equations(target: DayTarget, xi: Array) -> tuple[Array, Array]:
    """Gradient (B, q) and Gauss–Newton information (B, q, q) of the ln posterior at ``xi``; in parts, as the posterior."""
    part = max(1, CACHED // (target.ln_torque.size * (xi.shape[1] + 1)))
    parts = [_normal_equations_of(target, xi[i : i + part]) for i in range(0, len(xi), part)]
    return np.concatenate([p[0] for p in parts]), np.concatenate([p[1] for p in parts])


def _normal_equations_of(target: DayTarget, xi: Array) -> tuple[Array, Array]:
    likelihood = target.likelihood
    lost, _, jacobian = slopes(target.basis, target.advance, xi)
    b, q = xi.shape
    remainder = target.ln_torque - lost
    stacked = np.concatenate([jacobian, remainder[:, None]], axis=1)
    flat = stacked.reshape(b * (q + 1), *remainder.shape[1:])
    scores = likelihood.residuals(flat)
    pull = scores.pull.reshape(b, q + 1, -1)
    column = scores.column.reshape(b, q + 1, -1)
    mode = scores.mode.reshape(b, q + 1, -1)
    each = likelihood.node_ln_likelihood(likelihood.residuals(remainder))
    weight = np.exp(each - each.max(axis=1, keepdims=True))
    weight /= weight.sum(axis=1, keepdims=True)
    gram = stacked.reshape(b, q + 1, -1) @ scores.weighted.reshape(b, q + 1, -1).transpose(0, 2, 1)
    gram -= column @ likelihood.column_cov @ column.transpose(0, 2, 1)
    gram -= mode @ likelihood.mode_cov @ mode.transpose(0, 2, 1)
    gram -= likelihood.level_forms(pull, weight)
    gradient, information = gram[:, :q, q] - xi, gram[:, :q, :q] + np.eye(q)
    if target.earlier is not None:
        more = target.earlier.normal_equations(xi)
        gradient, information = gradient + more[0], information + more[1]
    return gradient, information


def starting_points(basis: HillBasis, tested_lo: float, tested_hi: float) -> Array:
    """Hills to climb from: best advance below, inside and above what was tested, flat and sharp, leaning either way.

    Parameters
    ----------
    basis
        How ξ (q,) becomes a hill.
    tested_lo, tested_hi
        Least and most advance of the day, degrees.

    Returns
    -------
    Array
        Standard normals ξ, (B, q).
    """
    n = basis.best_basis.shape[1]
    span = max(tested_hi - tested_lo, 2.0)
    middle = (tested_lo + tested_hi) / 2
    level = np.array([middle - span, middle - span / 4, middle + span / 4, middle + span, middle + 2 * span])
    to_level = np.linalg.pinv(basis.best_basis)
    starts = []
    for best in level:
        for curve, skew in ((0.0, 0.0), (-1.0, 0.7), (0.8, -0.7)):
            xi = np.zeros(basis.size)
            xi[:n] = to_level @ (best - basis.best_mean)
            xi[n] = curve
            xi[-1] = skew
            starts.append(xi)
    return np.array(starts)


def climb(target: DayTarget, starts: Array) -> Tops:
    """Climb from every start and keep the distinct tops.

    Parameters
    ----------
    target
        ln posterior of hills, with its slopes.
    starts
        Standard normals ξ, (B, q).

    Returns
    -------
    Tops
        Those within 12 of the highest in ln posterior, with the curvature there.
    """
    xi = starts.copy()
    height = target.ln_posterior(xi)
    damping = np.full(len(xi), 1e-2)
    growth = np.full(len(xi), 2.0)
    gradient, information = _normal_equations(target, xi)
    live = np.ones(len(xi), bool)
    for _ in range(STEPS):
        diagonal = np.einsum("bqq->bq", information)
        system = information + damping[:, None, None] * (np.eye(xi.shape[1]) * diagonal[:, None, :])
        step = np.linalg.solve(system, gradient[..., None])[..., 0]
        tried = xi + np.where(live[:, None], step, 0.0)
        tried_height = height.copy()
        tried_height[live] = target.ln_posterior(tried[live])
        gain = tried_height - height
        better = live & (gain > 0)
        xi = np.where(better[:, None], tried, xi)
        height = np.where(better, tried_height, height)
        damping = np.where(better, damping / 5.0, damping * growth)
        growth = np.where(better, 2.0, growth * 2.0)
        live &= ~(better & (gain < ENOUGH)) & (damping < 1e4)
        if not live.any():
            break
        if (better & live).any():
            moved = np.flatnonzero(better & live)
            gradient[moved], information[moved] = _normal_equations(target, xi[moved])
    return _distinct(target, xi, height)


def _distinct(target: DayTarget, xi: Array, height: Array) -> Tops:
    keep: list[int] = []
    order = np.argsort(-height)
    _, information = _normal_equations(target, xi[order])
    for place, i in enumerate(order):
        if height[i] < height[order[0]] - 12.0 or len(keep) == 5:
            break
        apart = [float((xi[i] - xi[order[j]]) @ information[j] @ (xi[i] - xi[order[j]])) for j in keep]
        if all(a > 1.0 for a in apart):
            keep.append(place)
    cov = np.linalg.inv(information[keep])
    chosen = order[keep]
    volume = height[chosen] + 0.5 * np.linalg.slogdet(cov)[1]
    return Tops(xi[chosen], np.asarray(cov), height[chosen], volume)
