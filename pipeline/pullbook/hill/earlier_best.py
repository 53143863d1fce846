"""Where earlier days of the same engine placed the best advance, believed with a reserve.

Between days the best moves a little (air, fuel, plugs) or a lot (parts nobody wrote down). So the earlier days enter as a mixture:
mostly a tight normal around what they agree on, partly a wide one; when the new day contradicts them it is the new day that counts.

Source: robust meta-analytic-predictive priors, Schmidli et al., Biometrics 70 (2014), 1023–1032.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from pullbook.arrays import Array
from pullbook.handover import Prior
from pullbook.hill.form import HillBasis

BELIEVED = 0.8
MOVED_LEVEL, MOVED_SLOPE = 5.0, 1.5  # °, ° per 1000 rpm: one SD when something was changed


@dataclass(frozen=True, slots=True)
class EarlierBest:
    """Normal pair on best advance at anchors: ``centre`` (A,), inverse covariances ``tight`` and ``wide`` (A, A).

    ``anchors`` (A, q_best) and ``offset`` (A,) carry the best-advance part of ξ to the anchors.
    """

    anchors: Array
    offset: Array
    centre: Array
    tight: Array
    wide: Array
    ln_tight: float  # ln of weight and normalisation
    ln_wide: float

    def _away(self, xi: Array) -> Array:
        return np.asarray(self.offset + xi[:, : self.anchors.shape[1]] @ self.anchors.T - self.centre)

    def _parts(self, away: Array) -> tuple[Array, Array]:
        tight = self.ln_tight - 0.5 * np.einsum("ba,ac,bc->b", away, self.tight, away)
        wide = self.ln_wide - 0.5 * np.einsum("ba,ac,bc->b", away, self.wide, away)
        return tight, wide

    def ln_density(self, xi: Array) -> Array:
        """(B,) for parameters ``xi`` (B, q)."""
        tight, wide = self._parts(self._away(xi))
        return np.asarray(np.logaddexp(tight, wide))

    def normal_equations(self, xi: Array) -> tuple[Array, Array]:
        """Gradient (B, q) and information (B, q, q), each part weighed by how well it fits."""
        away = self._away(xi)
        tight, wide = self._parts(away)
        share = 1.0 / (1.0 + np.exp(np.clip(wide - tight, -50, 50)))
        precision = share[:, None, None] * self.tight + (1.0 - share)[:, None, None] * self.wide
        n = self.anchors.shape[1]
        gradient, information = np.zeros_like(xi), np.zeros((*xi.shape, xi.shape[1]))
        gradient[:, :n] = -np.einsum("bac,bc->ba", precision, away) @ self.anchors
        information[:, :n, :n] = self.anchors.T @ precision @ self.anchors
        return gradient, information


def earlier_best(prior: Prior, basis: HillBasis, lines: Array, kept: npt.NDArray[np.intp]) -> EarlierBest | None:
    """The earlier days' say on a day's hill, or None.

    Parameters
    ----------
    prior
        ``best_rpm``, ``best_deg``, ``best_cov`` pooled from the archive.
    basis
        The day's hill.
    lines
        Weights (A, R) that read the day's rows at ``prior.best_rpm``.
    kept
        Indices of the anchors that lie on the day's rows.
    """
    if not len(kept):
        return None
    at = kept
    cov = np.array(prior.best_cov, float)[np.ix_(at, at)]
    x = (np.array(prior.best_rpm)[at] - float(basis.rpm.mean())) / 1000.0
    wide = cov + MOVED_LEVEL**2 + MOVED_SLOPE**2 * np.outer(x, x)

    def constant(weight: float, c: Array) -> float:
        return float(np.log(weight) - 0.5 * np.linalg.slogdet(c)[1])

    return EarlierBest(
        lines[at] @ basis.best_basis, lines[at] @ basis.best_mean, np.array(prior.best_deg)[at], np.asarray(np.linalg.inv(cov)),
        np.asarray(np.linalg.inv(wide)), constant(BELIEVED, cov), constant(1.0 - BELIEVED, wide),
    )  # fmt: skip
