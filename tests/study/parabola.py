"""The vertex of a least-squares parabola and Fieller's set for it: the plain way to a best setting at one speed.

The model of the day does not use it (offsets, drift and neighbouring rows are worth more); it is the yardstick the study and the
outside checks hold against it.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from pullbook.arrays import Array


@dataclass(frozen=True, slots=True)
class Parabola:
    """``y = c0 + c1·x + c2·x²``; ``cov`` (3, 3) of the coefficients, ``sd`` of the residuals on ``freedom`` degrees."""

    coefficients: Array
    cov: Array
    sd: float
    freedom: int

    @property
    def bend(self) -> float:
        """c2; below zero where the parabola has a top."""
        return float(self.coefficients[2])

    @property
    def vertex(self) -> float:
        """x of the vertex."""
        return float(-self.coefficients[1] / (2.0 * self.coefficients[2]))

    @property
    def height(self) -> float:
        """y at the vertex."""
        return float(self.coefficients @ np.array([1.0, self.vertex, self.vertex**2]))

    def bend_ratio(self, confidence: float) -> float:
        """Fieller's g: at 1 or above the bend is not told from zero and no finite set exists."""
        return float(self._t(confidence) ** 2 * self.cov[2, 2] / self.bend**2)

    def fieller(self, confidence: float) -> tuple[float, float] | None:
        """The set of x whose slope ``c1 + 2·c2·x`` may be zero, or None where it is unbounded.

        Source: Fieller E. C., 1954, J. R. Stat. Soc. B 16, 175–185.
        """
        if self.freedom < 1 or self.bend_ratio(confidence) >= 1.0:
            return None
        t = self._t(confidence) ** 2
        _, b, c = self.coefficients
        v11, v12, v22 = self.cov[1, 1], self.cov[1, 2], self.cov[2, 2]
        # (b + 2cx)² = t²(v11 + 4x·v12 + 4x²·v22)
        square, middle, rest = 4 * (c * c - t * v22), 4 * (b * c - t * v12), b * b - t * v11
        root = np.sqrt(max(middle * middle - 4 * square * rest, 0.0))
        ends = sorted(((-middle - root) / (2 * square), (-middle + root) / (2 * square)))
        return float(ends[0]), float(ends[1])

    def vertex_se(self) -> float:
        """Standard error of the vertex by the delta method: too narrow where the bend is poorly known."""
        _, b, c = self.coefficients
        slope = np.array([-1.0 / (2 * c), b / (2 * c * c)])
        return float(np.sqrt(slope @ self.cov[1:, 1:] @ slope))

    def _t(self, confidence: float) -> float:
        from scipy import stats

        return float(stats.t.ppf(0.5 + confidence / 2, self.freedom))


def fit_parabola(x: npt.ArrayLike, y: npt.ArrayLike) -> Parabola:
    """Least squares by orthogonal decomposition of centred, scaled x, so that any units keep their digits.

    Raises
    ------
    ValueError
        Fewer than three different x.
    """
    at, value = np.asarray(x, float), np.asarray(y, float)
    if len(np.unique(at)) < 3:
        raise ValueError("a parabola needs three different settings")
    middle, scale = float(at.mean()), float(np.abs(at - at.mean()).max())
    u = (at - middle) / scale
    q, r = np.linalg.qr(np.column_stack([np.ones_like(u), u, u * u]))
    own = np.linalg.solve(r, q.T @ value)
    left = value - q @ (q.T @ value)
    freedom = len(at) - 3
    sd = float(np.sqrt(left @ left / freedom)) if freedom > 0 else float("nan")
    inverse = np.linalg.inv(r)
    m, s = middle, scale
    back = np.array([[1.0, -m / s, m * m / (s * s)], [0.0, 1.0 / s, -2 * m / (s * s)], [0.0, 0.0, 1.0 / (s * s)]])
    cov = back @ (inverse @ inverse.T * sd**2) @ back.T
    return Parabola(back @ own, cov, sd, freedom)
