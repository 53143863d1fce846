"""The hill a day's torque lies on: best advance, curvature and skew over rpm, drawn from priors as standard normals.

``L = k·d²·exp(s·d)`` with ``d = a − m`` is the fraction of torque lost by running ``a`` where ``m`` is best; the logarithm
of torque falls by ``ln(1 − L)``. Best advance ``m`` and ``ln k`` are Gaussian processes over rpm on knots, written as
``mean + basis @ ξ`` with ξ standard normal, so that every parameter of the hill has the same scale and the same prior.

Source: the loss is a parabola near its top (see the published torque regression in tests/outside, row M1); the skew leaves
the sign of the asymmetry open. Knot kriging: Rasmussen and Williams, Gaussian Processes for Machine Learning (2006), ch. 2.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from pullbook.arrays import Array
from pullbook.belief import Prior
from pullbook.loss import LONGEST

TESTED_AROUND_DEG = 7.0  # ° one SD: a shop tests around what it believes
SLOPE_MEAN = 1.0  # ° per 1000 rpm: faster engines want more advance
SLOPE_DEG = 4.0  # ° per 1000 rpm, one SD of the best advance's slope
STEEP = 0.6  # above this loss ln(1 − L) goes on as its tangent: a search that strays finds its way back
LN_K_LEAST, LN_K_MOST = np.log(1e-7), np.log(0.05)  # no engine's; a search that strays stays finite
FAR_TAIL = 2.8  # SDs of ln k at which its tail reaches twice as far as a normal's: hills far flatter or sharper are met
SKEW_TAIL = 2.5  # and of the skew: hills that fall two or three times as fast on one side are met


@dataclass(frozen=True, slots=True)
class Freedom:
    """How far best advance may leave a straight line over rpm: one SD in °, alike over so many rpm, knots so far apart."""

    wiggle_deg: float
    alike_rpm: float
    knot_rpm: float
    bends: bool = False  # a bend costs little (Matérn 3/2); else all is smooth (squared exponential)


LN_K = Freedom(0.08, 2500.0, 1400.0)  # of ln k, not degrees
SMOOTH = Freedom(1.5, 1200.0, 700.0)
BENT = Freedom(2.5, 900.0, 450.0, bends=True)
"""A cam's or a pipe's step, a dip at the torque peak: 6° within 500 rpm. Believed only of a day whose pulls speak for it."""


@dataclass(frozen=True, slots=True)
class HillBasis:
    """How standard normals ξ (…, q) become a hill on R rpm rows: ``m``, ``ln k`` and ``s``.

    ``best_mean`` (R,) crank degrees and ``ln_k_mean`` (R,), k in 1/°², are the hill at ξ = 0; ``skew_sd`` 1/°.
    ``best_basis`` (R, n_best), ``k_basis`` (R, n_k); ξ holds the best-advance part first, then curvature, then skew. ``ln k``
    departs from its mean by ``u·(1 + (u/k_far)²)`` with u Gaussian: near the mean as u, far from it in longer tails.
    """

    rpm: Array
    best_mean: Array
    best_basis: Array
    ln_k_mean: Array
    k_basis: Array
    skew_sd: float
    k_far: float = np.inf

    @property
    def size(self) -> int:
        """Number of parameters q."""
        return int(self.best_basis.shape[1] + self.k_basis.shape[1] + 1)

    def hill(self, xi: Array) -> tuple[Array, Array, Array]:
        """Best advance (…, R) in °, curvature (…, R) in 1/°², skew (…,) in 1/° of the parameters ``xi`` (…, q)."""
        n = self.best_basis.shape[1]
        best = self.best_mean + xi[..., :n] @ self.best_basis.T
        u = xi[..., n:-1] @ self.k_basis.T
        ln_k = self.ln_k_mean + u * (1.0 + (u / self.k_far) ** 2)
        return best, np.exp(np.clip(ln_k, LN_K_LEAST, LN_K_MOST)), self.skew(xi)

    def skew(self, xi: Array) -> Array:
        """Skew (…,), 1/°: as good as normal near 0, in longer tails far from it."""
        z = xi[..., -1]
        return np.asarray(self.skew_sd * z * (1.0 + (z / SKEW_TAIL) ** 2))

    def skew_slope(self, xi: Array) -> Array:
        """Slope of the skew in its own part of ξ: (B,) for ``xi`` (B, q)."""
        return np.asarray(self.skew_sd * (1.0 + 3.0 * (xi[..., -1] / SKEW_TAIL) ** 2))

    def ln_k_slopes(self, xi: Array) -> Array:
        """Slopes of ``ln k`` in ξ's part for curvature: (B, n_k, R) for ``xi`` (B, q)."""
        u = xi[..., self.best_basis.shape[1] : -1] @ self.k_basis.T
        return np.asarray((1.0 + 3.0 * (u / self.k_far) ** 2)[:, None, :] * self.k_basis.T)


def _kernel(x: Array, y: Array, level: float, slope: float, course: Freedom) -> Array:
    """Covariance of a level, a slope and a wiggle; x and y in thousands of rpm from the middle."""
    apart = np.abs(x[:, None] - y[None, :]) / (course.alike_rpm / 1000.0)
    alike = (1.0 + np.sqrt(3.0) * apart) * np.exp(-np.sqrt(3.0) * apart) if course.bends else np.exp(-0.5 * apart**2)
    out: Array = course.wiggle_deg**2 * alike + level**2 + slope**2 * np.outer(x, y)
    return out


def _process(rows: Array, level: float, slope: float, course: Freedom) -> Array:
    """Basis (R, n) of a process over ``rows`` (thousands of rpm from the middle) carried by evenly spaced knots."""
    lo, hi = float(rows.min()), float(rows.max())
    n = max(2, round((hi - lo) / (course.knot_rpm / 1000.0)) + 1)
    knots = np.linspace(lo, hi, n) if hi - lo > 1e-6 else np.array([lo])
    own = _kernel(knots, knots, level, slope, course) + 1e-6 * np.eye(len(knots))
    lower = np.linalg.cholesky(own)
    return np.linalg.solve(lower, _kernel(knots, rows, level, slope, course)).T


def hill_basis(rpm: npt.ArrayLike, prior: Prior, tested_middle_deg: float | None = None, course: Freedom = SMOOTH) -> HillBasis:
    """Priors of the hill on rpm rows.

    Parameters
    ----------
    rpm
        Rows (R,), rpm, at least one.
    prior
        Level of best advance and curvature known beforehand.
    tested_middle_deg
        Middle of the advances tested, degrees: the best is expected near it, loosely.
    course
        How the best may go over rpm.
    """
    rows = np.asarray(rpm, float)
    middle = float(rows.min() + rows.max()) / 2
    x = (rows - middle) / 1000.0
    level, level_sd = prior.best_median, prior.best_sd
    if tested_middle_deg is not None:
        weight = level_sd**-2 + TESTED_AROUND_DEG**-2
        level = (level * level_sd**-2 + tested_middle_deg * TESTED_AROUND_DEG**-2) / weight
        level_sd = weight**-0.5
    best = _process(x, level_sd, SLOPE_DEG, course)
    curve = _process(x, prior.k_log_sd, prior.k_slope_sd, LN_K)
    ln_k = np.full(len(rows), np.log(prior.k_median))
    return HillBasis(rows, level + SLOPE_MEAN * x, best, ln_k, curve, prior.skew_sd, FAR_TAIL * prior.k_log_sd)


def ln_torque_lost(advance: Array, best: Array, k: Array, skew: Array) -> Array:
    """What a pull makes of a hill: ``ln(1 − L)`` with L = k·d²·exp(s·d), d = advance − best.

    Parameters
    ----------
    advance
        Degrees, (P, R), finite.
    best, k, skew
        Of B hills: degrees (B, R), 1/deg² (B, R), 1/deg (B,).

    Returns
    -------
    Array
        (B, P, R); above a loss of :data:`STEEP` it goes on as its tangent.
    """
    d = advance - best[:, None, :]
    tilt = np.exp(np.clip(skew[:, None, None] * d, -LONGEST, LONGEST))
    loss = d * d
    loss *= tilt
    loss *= k[:, None, :]
    return _log_left(loss)


def _log_left(loss: Array) -> Array:
    """``ln(1 − loss)``, continued along its tangent above ``STEEP``."""
    if loss.size and float(loss.max()) > STEEP:
        over = np.maximum(loss - STEEP, 0.0)
        return np.log1p(-np.minimum(loss, STEEP)) - over / (1 - STEEP)
    return np.log1p(-loss)


def slopes(basis: HillBasis, advance: Array, xi: Array) -> tuple[Array, Array, Array]:
    """``ln(1 − L)`` and its slopes, for climbing.

    Parameters
    ----------
    basis
        How ξ becomes a hill on R rows.
    advance
        Degrees, (P, R), finite.
    xi
        Standard normals, (B, q).

    Returns
    -------
    tuple of Array
        ``ln(1 − L)`` (B, P, R); its slope per degree of advance (B, P, R); its Jacobian in ξ (B, q, P, R).
    """
    best, k, skew = basis.hill(xi)
    d = advance - best[:, None, :]
    turn = np.clip(skew[:, None, None] * d, -LONGEST, LONGEST)
    tilted = k[:, None, :] * np.exp(turn)
    loss = tilted * d * d
    left = -1.0 / (1.0 - np.minimum(loss, STEEP))
    per_deg = left * tilted * d * (2.0 + turn)
    per_ln_k = left * loss
    parts = [
        -per_deg[:, None] * basis.best_basis.T[None, :, None, :],
        per_ln_k[:, None] * basis.ln_k_slopes(xi)[:, :, None, :],
        (basis.skew_slope(xi)[:, None, None] * per_ln_k * d)[:, None],
    ]
    return _log_left(loss), per_deg, np.concatenate(parts, axis=1)
