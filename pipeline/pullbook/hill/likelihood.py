"""How likely a hill is, given the pulls: pull offsets, drift, timing doubts and the torque curve integrated out in closed form.

Model of the residual of pull p at row r, ``y − ln(1 − L)``: ``c_r + b_p + δ·order_p + H·z + w + e`` with c flat (restricted
likelihood), b ~ N(0, σ²), δ ~ N(0, τ²), z standard normal, w correlated along a pull, e white. σ and τ are not plugged in:
they are integrated over a grid of nodes with prior weights, which costs one multiplication by a small matrix.

Source: mixed models with restricted likelihood, Patterson and Thompson, Biometrika 58 (1971), 545–554; tests compare every
quantity with a dense covariance matrix and, for balanced data, with published variance components (tests/outside, row S7).
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from pullbook.handover import Array


@dataclass(frozen=True, slots=True)
class Nodes:
    """Grid of the two scales that are sampled: pull SD ``sd`` (G,) and drift scale ``drift`` (G,), with ln prior weights."""

    sd: Array
    drift: Array
    ln_weight: Array


def nodes(sd_median: float, sd_log_sd: float, drift_median: float = 0.001, drift_log_sd: float = 1.6) -> Nodes:
    """Log-normal grids: 11 pull SDs within ±2.6 SD, 8 drift scales within ±2.4 SD (a heavy tail over drift per pull)."""
    u = np.linspace(-2.6, 2.6, 11)
    v = np.linspace(-2.4, 2.4, 8)
    sd, drift = np.meshgrid(sd_median * np.exp(sd_log_sd * u), drift_median * np.exp(drift_log_sd * v), indexing="ij")
    weight = -0.5 * (u[:, None] ** 2 + v[None, :] ** 2)
    weight = weight - np.log(np.exp(weight).sum())
    return Nodes(sd.ravel(), drift.ravel(), weight.ravel())


@dataclass(frozen=True, slots=True)
class Residuals:
    """What is left of residuals (B, P, R) after c and z: ``weighted`` W·r, ``column`` X'W·r, ``pull`` and ``mode`` scores."""

    weighted: Array
    column: Array
    mode: Array
    pull: Array
    quadratic: Array


class DayLikelihood:
    """Closed forms for fixed within-pull covariance.

    Parameters
    ----------
    covariance
        (P, R, R): covariance of w + e of each pull; rows and columns of absent data are ignored.
    present
        (P, R): which data exist.
    order
        (P,): place of the pull in the order run, any origin.
    scales
        Grid of pull SD and drift scale.
    modes
        (P, R, J): shift of ``ln T`` per unit z; J may be 0.
    design
        (R, q): what is flat; default one free value a row that has data.
    """

    def __init__(
        self,
        covariance: Array,
        present: npt.NDArray[np.bool_],
        order: Array,
        scales: Nodes,
        modes: Array | None = None,
        design: Array | None = None,
    ) -> None:
        pulls, rows = present.shape
        self.present, self.scales = present, scales
        both = present[:, :, None] & present[:, None, :]
        padded = np.where(both, covariance, 0.0) + np.eye(rows) * ~present[:, :, None]
        self.within = np.where(both, np.linalg.inv(padded), 0.0)
        self.within_ln_det = float(np.linalg.slogdet(padded)[1].sum())
        self.design = np.eye(rows)[:, present.any(axis=0)] if design is None else design
        self.modes = np.zeros((pulls, rows, 0)) if modes is None else np.where(present[:, :, None], modes, 0.0)
        self.order = order - order.mean()

        self.pull_columns = self.within.sum(axis=2) @ self.design  # (P, q): Z'WX
        gram = np.einsum("rq,prs,st->qt", self.design, self.within, self.design, optimize=True)
        self.column_factor = np.linalg.cholesky(gram)
        self.column_cov = np.linalg.inv(gram)
        weighted = np.einsum("prs,psj->prj", self.within, self.modes)
        self.mode_columns = np.einsum("prj,rq->jq", weighted, self.design)  # H'WX
        mode_gram = np.einsum("prj,prk->jk", weighted, self.modes) - self.mode_columns @ self.column_cov @ self.mode_columns.T
        self.mode_cov = np.linalg.inv(np.eye(mode_gram.shape[0]) + mode_gram)
        cross = weighted.sum(axis=1) - self.pull_columns @ self.column_cov @ self.mode_columns.T  # (P, J): Z'P_C H
        own = np.diag(self.within.sum(axis=(1, 2))) - self.pull_columns @ self.column_cov @ self.pull_columns.T
        self.cross = cross
        self.information = own - cross @ self.mode_cov @ cross.T
        self.information = (self.information + self.information.T) / 2
        values, vectors = np.linalg.eigh(self.information)
        kept = values > 1e-9 * max(float(values.max(initial=0.0)), 1e-300)
        self.vectors, self.values = vectors[:, kept], values[kept]
        self._between_terms()

    def _between_terms(self) -> None:
        spread = 1.0 / self.values[:, None] + self.scales.sd**2  # (K, G)
        along = self.vectors.T @ self.order
        self.inverse = 1.0 / spread
        self.along = along[:, None] * self.inverse
        total = 1.0 + self.scales.drift**2 * (along[:, None] * self.along).sum(axis=0)
        self.along_weight = self.scales.drift**2 / total
        self.node_constant = self.scales.ln_weight - 0.5 * (np.log(spread).sum(axis=0) + np.log(total))

    def residuals(self, r: Array) -> Residuals:
        """Scores of residuals ``r`` (B, P, R); absent data must be finite, their weight is nil."""
        weighted = np.matmul(r.transpose(1, 0, 2), self.within).transpose(1, 0, 2)
        column = weighted.sum(axis=1) @ self.design
        fitted = column @ self.column_cov
        mode = np.einsum("bpr,prj->bj", weighted, self.modes, optimize=True) - fitted @ self.mode_columns.T
        shift = mode @ self.mode_cov
        pull = weighted.sum(axis=2) - fitted @ self.pull_columns.T - shift @ self.cross.T
        quadratic = np.einsum("bpr,bpr->b", weighted, r) - (fitted * column).sum(axis=1) - (shift * mode).sum(axis=1)
        return Residuals(weighted, column, mode, pull, quadratic)

    def node_ln_likelihood(self, scores: Residuals) -> Array:
        """ln likelihood at every node, prior weight included: (B, G)."""
        level = (scores.pull @ self.vectors) / self.values  # (B, K) least-squares offsets in their own axes
        inside = scores.quadratic - (level**2 * self.values).sum(axis=1)
        between = level**2 @ self.inverse - self.along_weight * (level @ self.along) ** 2
        return np.asarray(self.node_constant - 0.5 * (inside[:, None] + between))

    def ln_likelihood(self, r: Array) -> Array:
        """Restricted ln likelihood of residuals ``r`` (B, P, R), σ and τ integrated over the nodes: (B,)."""
        each = self.node_ln_likelihood(self.residuals(r))
        top = each.max(axis=1)
        out: Array = top + np.log(np.exp(each - top[:, None]).sum(axis=1))
        return out

    def constant(self) -> float:
        """What ``ln_likelihood`` leaves out because it does not depend on the hill (for choosing the wander)."""
        mode = float(np.linalg.slogdet(self.mode_cov)[1]) if self.mode_cov.size else 0.0
        column = 2.0 * float(np.log(np.diag(self.column_factor)).sum())
        return -0.5 * (self.within_ln_det + column - mode + float(np.log(self.values).sum()))

    def mean_level_cov(self, node_weight: Array) -> Array:
        """Covariance-like matrix (P, P) that turns pull scores into weighted quadratic forms, averaged over nodes.

        ``r'Pr = quadratic − pull' @ matrix @ pull`` with the precision averaged by ``node_weight`` (G,).
        """
        inverse = self.inverse @ node_weight
        outer = (self.along * (self.along_weight * node_weight)) @ self.along.T
        core = np.diag(1.0 / self.values) - (np.diag(inverse) - outer) / np.outer(self.values, self.values)
        return np.asarray(self.vectors @ core @ self.vectors.T)

    def node_level(self, node: int) -> tuple[Array, Array]:
        """Covariance (P, P) and Cholesky factor of pull levels b + δ·order at a node, given residuals: mean = cov @ score."""
        sd, drift = self.scales.sd[node], self.scales.drift[node]
        pulls = len(self.order)
        prior = np.eye(pulls) / sd**2
        along = self.order / sd**2
        prior -= np.outer(along, along) / (1.0 / drift**2 + float(self.order @ along))
        cov = np.linalg.inv(prior + self.information)
        cov = (cov + cov.T) / 2
        return cov, np.asarray(np.linalg.cholesky(cov))
