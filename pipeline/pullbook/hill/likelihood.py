"""How likely a hill is, given the pulls: pull offsets, drift, timing doubts and the torque curve integrated out in closed form.

Model of the residual of pull p at row r, ``y − ln(1 − L)``: ``c_r + b_p + A_p·δ + H·z + w + e`` with c flat (restricted
likelihood), b ~ N(0, σ²), δ ~ N(0, τ²) twice (a straight drift over the order run and a bend of it), z standard normal, w
correlated along a pull, e white. σ and τ are not plugged in: they are integrated over a grid of nodes with prior weights, which
costs one multiplication by a small matrix.

Source: mixed models with restricted likelihood, Patterson and Thompson, Biometrika 58 (1971), 545–554; tests compare every
quantity with a dense covariance matrix and, for balanced data, with published variance components (tests/outside, row S7).
"""

from dataclasses import dataclass

import numpy as np

from pullbook.arrays import Array, Mask

SD_FREEDOM, BETTER = 5.0, 0.75  # pull SD against the prior's: Student's tail upwards, this share of its width downwards
SD_REACH = (-3.5, 2.5)  # prior SDs the grid goes down and up: pulls so wild that any hill would do explain nothing
BEND, BEND_PULLS = 0.5, 4


@dataclass(frozen=True, slots=True)
class Nodes:
    """Grid of the two scales that are sampled: pull SD ``sd`` (G,), fraction of torque, and drift scale ``drift`` (G,), fraction a
    pull, with prior weights ``ln_weight`` (G,)."""

    sd: Array
    drift: Array
    ln_weight: Array


def nodes(sd_median: float, sd_log_sd: float, drift_median: float = 0.001, drift_log_sd: float = 1.6) -> Nodes:
    """Grids over ln of both scales: 25 pull SDs and 8 drift scales.

    Pull SDs lean: few dynos repeat much better than their kind, and a few repeats that happen to agree prove little; but one that
    repeats far worse is met (Student's tail). The grid goes down to where pulls repeat to the last digit.

    Parameters
    ----------
    sd_median, sd_log_sd
        Pull SD expected, fraction of torque, and SD of its natural logarithm.
    drift_median, drift_log_sd
        The same of the drift, fraction a pull.
    """
    u = np.linspace(*SD_REACH, 25)
    v = np.linspace(-2.4, 2.4, 8)
    sd, drift = np.meshgrid(sd_median * np.exp(sd_log_sd * u), drift_median * np.exp(drift_log_sd * v), indexing="ij")
    better, worse = -0.5 * (u / BETTER) ** 2, -0.5 * (SD_FREEDOM + 1) * np.log1p(u**2 / SD_FREEDOM)
    weight = np.where(u < 0, better, worse)[:, None] - 0.5 * v[None, :] ** 2
    weight = weight - np.log(np.exp(weight).sum())
    return Nodes(sd.ravel(), drift.ravel(), weight.ravel())


def drift_courses(order: Array) -> Array:
    """How a level may go over the order run, (P, 2): straight, and a bend at right angles to it, half as far at most.

    Oil warms fast at first and glass falls as it likes: a random walk's two slowest parts stand two to one. Few pulls have no bend.
    """
    straight = order - order.mean()
    span = float(np.abs(straight).max(initial=0.0))
    if len(order) < BEND_PULLS or span == 0.0:
        return np.column_stack([straight, np.zeros_like(straight)])
    bend = (straight / span) ** 2
    bend = bend - bend.mean()
    bend = bend - straight * (straight @ bend) / (straight @ straight)
    return np.column_stack([straight, BEND * span * bend / max(float(np.abs(bend).max()), 1e-9)])


@dataclass(frozen=True, slots=True)
class Residuals:
    """What is left of residuals r (B, P, R) after c and z: ``weighted`` W·r (B, P, R), ``column`` X'W·r (B, q), scores of ``mode``
    (B, J) and ``pull`` (B, P), and the ``quadratic`` form left (B,)."""

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
        present: Mask,
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
        self.order = drift_courses(order)

        self.pull_columns = self.within.sum(axis=2) @ self.design  # (P, q): Z'WX
        gram = self.design.T @ self.within.sum(axis=0) @ self.design
        self.column_factor = np.linalg.cholesky(gram)
        self.column_cov = np.linalg.inv(gram)
        weighted = self.within @ self.modes
        self.mode_columns = weighted.sum(axis=0).T @ self.design  # H'WX
        mode_gram = np.tensordot(weighted, self.modes, ((0, 1), (0, 1))) - self.mode_columns @ self.column_cov @ self.mode_columns.T
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
        courses = self.vectors.T @ self.order  # (K, 2)
        self.inverse = 1.0 / spread
        along = courses[:, None, :] * self.inverse[:, :, None]  # (K, G, 2)
        tau = self.scales.drift[:, None, None] ** 2
        inside = np.eye(2) + tau * np.einsum("ki,kgj->gij", courses, along)
        root = np.linalg.cholesky(tau * np.linalg.inv(inside))
        self.along = np.einsum("kgi,gij->jkg", along, root)  # (2, K, G): what the drift takes off each quadratic form
        ln_det = np.log(spread).sum(axis=0) + np.linalg.slogdet(inside)[1]
        self.node_constant = self.scales.ln_weight - 0.5 * ln_det

    def residuals(self, r: Array) -> Residuals:
        """Scores of residuals ``r`` (B, P, R); absent data must be finite, their weight is nil."""
        weighted = np.matmul(r.transpose(1, 0, 2), self.within).transpose(1, 0, 2)
        column = weighted.sum(axis=1) @ self.design
        fitted = column @ self.column_cov
        mode = np.tensordot(weighted, self.modes, 2) - fitted @ self.mode_columns.T
        shift = mode @ self.mode_cov
        pull = weighted.sum(axis=2) - fitted @ self.pull_columns.T - shift @ self.cross.T
        quadratic = np.einsum("bpr,bpr->b", weighted, r) - (fitted * column).sum(axis=1) - (shift * mode).sum(axis=1)
        return Residuals(weighted, column, mode, pull, quadratic)

    def node_ln_likelihood(self, scores: Residuals) -> Array:
        """ln likelihood at every node, prior weight included: (B, G)."""
        level = (scores.pull @ self.vectors) / self.values  # (B, K) least-squares offsets in their own axes
        inside = scores.quadratic - (level**2 * self.values).sum(axis=1)
        between = level**2 @ self.inverse - (level @ self.along[0]) ** 2 - (level @ self.along[1]) ** 2
        return np.asarray(self.node_constant - 0.5 * (inside[:, None] + between))

    def ln_likelihood(self, r: Array) -> Array:
        """Restricted ln likelihood of residuals ``r`` (B, P, R), σ and τ integrated over the nodes: (B,)."""
        each = self.node_ln_likelihood(self.residuals(r))
        top = each.max(axis=1)
        out: Array = top + np.log(np.exp(each - top[:, None]).sum(axis=1))
        return out

    def constant(self) -> float:
        """What ``ln_likelihood`` leaves out because it does not depend on the hill, ln (for choosing the wander)."""
        mode = float(np.linalg.slogdet(self.mode_cov)[1]) if self.mode_cov.size else 0.0
        column = 2.0 * float(np.log(np.diag(self.column_factor)).sum())
        return -0.5 * (self.within_ln_det + column - mode + float(np.log(self.values).sum()))

    def level_forms(self, pull: Array, node_weight: Array) -> Array:
        """What pull levels take off the quadratic forms of residuals with the scores ``pull`` (B, N, P): (B, N, N).

        ``r'Pr = quadratic − form``, the precision P averaged over the nodes by ``node_weight`` (B, G).
        """
        level = (pull @ self.vectors) / self.values  # (B, N, K)
        precision = self.values - node_weight @ self.inverse.T  # (B, K)
        course = level @ self.along[:, None]  # (2, B, N, G)
        forms = (level * precision[:, None]) @ level.swapaxes(1, 2)
        forms += ((course * node_weight[:, None]) @ course.swapaxes(2, 3)).sum(axis=0)
        return np.asarray(forms)

    def node_level(self, node: int) -> tuple[Array, Array]:
        """Covariance (P, P) of pull levels, ln torque, drift included, at ``node`` (its place), and its Cholesky factor (P, P).

        The levels' mean is covariance @ score.
        """
        sd, drift = self.scales.sd[node], self.scales.drift[node]
        along = self.order / sd**2
        prior = np.eye(len(self.order)) / sd**2
        prior -= along @ np.linalg.inv(np.eye(2) / drift**2 + self.order.T @ along) @ along.T
        cov = np.linalg.inv(prior + self.information)
        cov = (cov + cov.T) / 2
        return cov, np.asarray(np.linalg.cholesky(cov))
