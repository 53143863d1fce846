"""What earlier days of the same engine say of its hill, believed with a reserve.

Between days the best moves a little (air, fuel, plugs) or a lot (parts nobody wrote down). So the earlier days enter as a mixture:
mostly a tight normal around what they agree on, partly one that is wide in best advance; when the new day contradicts them it is
the new day that counts.

Source: robust meta-analytic-predictive priors, Schmidli et al., Biometrics 70 (2014), 1023–1032.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from pullbook.arrays import Array
from pullbook.hill.form import HillBasis
from pullbook.hill.told import FORM, ReadOff, Told, read_off

BELIEVED = 0.85
MOVED_LEVEL, MOVED_SLOPE = 5.0, 1.5  # °, ° per 1000 rpm: one SD when something was changed
DAY_LEVEL, DAY_SLOPE, DAY_OWN = 0.40, 0.1, 0.08  # °, ° per 1000 rpm, °: the best of one engine from day to day, weather mostly
CHANGED_LEVEL = 2.5  # ° where fuel, plugs or mixture differ
DAY_FORM = (0.06, 0.02, 0.001)  # ln k, its slope per 1000 rpm, skew (1/°): how the hill's form differs from day to day


@dataclass(frozen=True, slots=True)
class EarlierDays:
    """A pair of likelihoods of θ, and how θ is read off the day's rows.

    ``ln_tight``, ``ln_wide``: ln of each one's weight and of what stands in front.
    """

    basis: HillBasis
    reading: ReadOff
    tight: Told
    wide: Told
    ln_tight: float
    ln_wide: float

    def _theta(self, xi: Array) -> Array:
        best, k, skew = self.basis.hill(xi)
        return self.reading.theta(best, np.log(k), skew)

    def _parts(self, theta: Array) -> tuple[Array, Array]:
        def said(told: Told, front: float) -> Array:
            return np.asarray(front + theta @ told.towards - 0.5 * np.einsum("ba,ac,bc->b", theta, told.weight, theta))

        return said(self.tight, self.ln_tight), said(self.wide, self.ln_wide)

    def ln_density(self, xi: Array) -> Array:
        """ln of the likelihood, up to a constant, of parameters ``xi`` (B, q): (B,)."""
        return np.asarray(np.logaddexp(*self._parts(self._theta(xi))))

    def normal_equations(self, xi: Array) -> tuple[Array, Array]:
        """Gradient (B, q), information (B, q, q) of :meth:`ln_density` at ``xi`` (B, q); each part weighed by how well it fits."""
        theta = self._theta(xi)
        tight, wide = self._parts(theta)
        share = 1.0 / (1.0 + np.exp(np.clip(wide - tight, -50, 50)))[:, None]
        n = self.basis.best_basis.shape[1]
        jacobian = np.zeros((*xi.shape, theta.shape[1]))
        jacobian[:, :n, :-FORM] = (self.reading.best @ self.basis.best_basis).T
        jacobian[:, n:-1, -FORM:-1] = self.basis.ln_k_slopes(xi) @ self.reading.ln_k.T
        jacobian[:, -1, -1] = self.basis.skew_slope(xi)
        weight = share[:, :, None] * self.tight.weight + (1.0 - share)[:, :, None] * self.wide.weight
        pull = share * self.tight.towards + (1.0 - share) * self.wide.towards - np.einsum("bac,bc->ba", weight, theta)
        return np.einsum("bqa,ba->bq", jacobian, pull), jacobian @ weight @ jacobian.transpose(0, 2, 1)


def day_scatter(rpm: Array, changed: bool = False) -> Array:
    """How a day's θ differs from its engine's, covariance (A+3, A+3).

    Parameters
    ----------
    rpm
        Anchors, (A,).
    changed
        Fuel, plugs or mixture are not those of the day it is to speak for.
    """
    x = (rpm - (rpm.mean() if len(rpm) else 0.0)) / 1000.0
    out = np.zeros((len(rpm) + FORM, len(rpm) + FORM))
    level = CHANGED_LEVEL if changed else DAY_LEVEL
    out[:-FORM, :-FORM] = level**2 + DAY_SLOPE**2 * np.outer(x, x) + DAY_OWN**2 * np.eye(len(x))
    out[-FORM:, -FORM:] = np.diag(np.square(DAY_FORM))
    return out


def earlier_days(
    told: Told, basis: HillBasis, lines: Array, k_line: Array, kept: npt.NDArray[np.intp], doubt: Array
) -> EarlierDays:
    """The earlier days' say on a day's hill.

    Parameters
    ----------
    told
        Of the engine, from all earlier days.
    basis
        The day's hill on R rows.
    lines, k_line
        Weights that read the day's rows at ``told.rpm`` (A, R) and at ``told.k_rpm`` (R,).
    kept
        Indices of the anchors that lie on the day's rows; the others are left open.
    doubt
        One-SD shifts of the day's whole timing scale, degrees, (R, J): earlier days speak of true degrees, its rows of its own.
    """
    engine = told.at(kept)
    tight = day_scatter(engine.rpm)
    shifts = lines[kept] @ doubt
    tight[:-FORM, :-FORM] += shifts @ shifts.T
    wide = tight.copy()
    x = (engine.rpm - float(basis.rpm.mean())) / 1000.0
    wide[:-FORM, :-FORM] += MOVED_LEVEL**2 + MOVED_SLOPE**2 * np.outer(x, x)
    return EarlierDays(
        basis, read_off(lines[kept], k_line, basis.rpm), engine.scattered(tight), engine.scattered(wide),
        float(np.log(BELIEVED)) + engine.ln_scattered(tight), float(np.log(1.0 - BELIEVED)) + engine.ln_scattered(wide),
    )  # fmt: skip
