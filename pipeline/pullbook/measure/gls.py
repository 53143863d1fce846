"""Generalised least squares with a Gaussian prior: estimates, their joint covariance and the evidence of the model."""

from dataclasses import dataclass

import numpy as np

from pullbook.arrays import Array


@dataclass(frozen=True, slots=True)
class Fit:
    """``mean`` (p,), ``cov`` (p, p) joint, ``log_evidence``: ln of the data's density under the model, prior averaged out."""

    mean: Array
    cov: Array
    log_evidence: float


def fit(basis: Array, y: Array, noise: Array, prior_mean: Array, prior_cov: Array) -> Fit:
    """Posterior of ``y = basis @ b + e``.

    Parameters
    ----------
    basis, y
        Shapes (n, p) and (n,); n may be 0 (the prior comes back).
    noise
        Variances, shape (n,), or a covariance, shape (n, n); positive.
    prior_mean, prior_cov
        Shapes (p,) and (p, p), positive definite.

    Notes
    -----
    Written with the covariance of the data, S = X P Xᵀ + V, so that a prior of any width is safe.
    """
    v = np.diag(noise) if noise.ndim == 1 else noise
    if len(y) == 0:
        return Fit(prior_mean.copy(), prior_cov.copy(), 0.0)
    s = basis @ prior_cov @ basis.T + v
    root = np.linalg.cholesky(s)
    gap = np.linalg.solve(root, y - basis @ prior_mean)
    gain = np.linalg.solve(root, basis @ prior_cov)
    evidence = -0.5 * float(gap @ gap) - float(np.log(np.diag(root)).sum()) - 0.5 * len(y) * float(np.log(2 * np.pi))
    cov = prior_cov - gain.T @ gain
    return Fit(prior_mean + gain.T @ gap, (cov + cov.T) / 2.0, evidence)
