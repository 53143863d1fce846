"""Continuous broken lines: straight pieces that meet at breaks to be found, the outer ones flat where wished.

Given the breaks a broken line is linear in its level and slopes; the breaks are found on a grid, then by Muggeo's linearised
steps; a break's interval is where the profile of the residual sum of squares stays under the F limit.
"""

from dataclasses import dataclass
from itertools import combinations

import numpy as np

from pullbook.arrays import Array

_GRID = 18  # candidate places a break
_STEPS = 30


@dataclass(frozen=True, slots=True)
class BrokenLine:
    """A fitted broken line: K breaks, P = number of pieces that are not flat.

    ``breaks`` (K,) rising; ``level``: height at the first break (at ``origin`` where there is none); ``slopes`` (P,) of the
    pieces that are not flat, left to right; ``cov`` (1 + P + K square): linearised, of (level, slopes, breaks);
    ``rss``: weighted residual sum of squares; ``n``: samples. Units are those of the places and heights fitted.
    """

    breaks: Array
    level: float
    slopes: Array
    flat_left: bool
    flat_right: bool
    origin: float
    cov: Array
    rss: float
    n: int

    @property
    def dof(self) -> int:
        """Degrees of freedom left: samples less parameters."""
        return self.n - 1 - len(self.slopes) - len(self.breaks)

    def __call__(self, x: Array) -> Array:
        """Height at ``x``, shape (n,)."""
        basis = _basis(np.asarray(x, float), self.breaks, self.flat_left, self.flat_right, self.origin)
        return np.asarray(basis @ np.concatenate([[self.level], self.slopes]))


def _basis(x: Array, breaks: Array, flat_left: bool, flat_right: bool, origin: float) -> Array:
    """Columns: one, then for each piece that is not flat how far ``x`` has gone through it from the first break.

    ``breaks`` (..., K) gives (..., n, 1 + P).
    """
    outer = np.full((*breaks.shape[:-1], 1), np.inf)
    edges = np.concatenate([-outer, breaks, outer], axis=-1)
    pieces = range(int(flat_left), edges.shape[-1] - 1 - int(flat_right))
    start = breaks[..., :1] if breaks.shape[-1] else np.full_like(outer, origin)
    columns = [np.ones((*breaks.shape[:-1], len(x)))]
    for k in pieces:
        lo, hi = edges[..., k : k + 1], edges[..., k + 1 : k + 2]
        columns.append(np.clip(x, lo, hi) - np.clip(start, lo, hi))
    return np.stack(columns, axis=-1)


def _solve(x: Array, y: Array, w: Array, breaks: Array, ends: tuple[bool, bool], origin: float) -> tuple[Array, Array, float]:
    basis = _basis(x, breaks, *ends, origin) * w[:, None]
    b = np.linalg.lstsq(basis, y * w, rcond=None)[0]
    left = y * w - basis @ b
    return np.asarray(b), basis, float(left @ left)


def _turns(coefficients: Array, k: int, flat_left: bool, flat_right: bool) -> Array:
    """Change of slope at each of the ``k`` breaks."""
    slopes = np.concatenate([[0.0] * flat_left, coefficients[1:], [0.0] * flat_right])
    return np.asarray(np.diff(slopes)[:k])


def _refine(
    x: Array, y: Array, w: Array, breaks: Array, ends: tuple[bool, bool], origin: float, fixed: int | None = None
) -> tuple[Array, float]:
    """Muggeo's steps from ``breaks``, halved until they help; ``fixed`` is a break that stays."""
    free = [j for j in range(len(breaks)) if j != fixed]
    b, basis, rss = _solve(x, y, w, breaks, ends, origin)
    if not free:
        return breaks, rss
    width = float(x[-1] - x[0])
    for _ in range(_STEPS):
        turns = _turns(b, len(breaks), *ends)
        jumps = np.column_stack([-turns[j] * (x > breaks[j]) * w for j in free])
        step = np.linalg.lstsq(np.column_stack([basis, jumps]), y * w, rcond=None)[0][-len(free) :]
        scale, moved = 1.0, False
        for _ in range(12):
            trial = breaks.copy()
            trial[free] += scale * step
            if np.all(np.diff(np.concatenate([[x[0]], trial, [x[-1]]])) > 1e-6 * width):
                b2, basis2, rss2 = _solve(x, y, w, trial, ends, origin)
                if rss2 < rss:
                    moved = rss - rss2 > 1e-14 * rss or float(np.max(np.abs(trial - breaks))) > 1e-9 * width
                    breaks, b, basis, rss = trial, b2, basis2, rss2
                    break
            scale /= 2.0
        if not moved:
            break
    return breaks, rss


def _many_rss(x: Array, y: Array, w: Array, breaks: Array, ends: tuple[bool, bool], origin: float) -> Array:
    """Residual sums of many sets of breaks (C, K) at once, by normal equations on scaled columns; infinite where out of order."""
    width = float(x[-1] - x[0])
    edges = np.concatenate([np.full((len(breaks), 1), x[0]), breaks, np.full((len(breaks), 1), x[-1])], axis=1)
    basis = _basis(x, breaks, *ends, origin) * w[:, None]
    basis[..., 1:] /= width
    gram, cross = np.einsum("cni,cnj->cij", basis, basis), basis.transpose(0, 2, 1) @ (y * w)
    gram += 1e-12 * np.trace(gram, axis1=1, axis2=2)[:, None, None] * np.eye(gram.shape[1])
    left = y * w - np.einsum("cni,ci->cn", basis, np.linalg.solve(gram, cross[..., None])[..., 0])
    ordered = np.all(np.diff(edges, axis=1) > 1e-6 * width, axis=1)
    return np.where(ordered, np.einsum("cn,cn->c", left, left), np.inf)


def _search(x: Array, y: Array, w: Array, breaks: Array, ends: tuple[bool, bool], origin: float) -> Array:
    """Hop out of the small hollows that single samples make: steps either way, from a grid's width down to a hair's."""
    step = float(x[-1] - x[0]) / _GRID
    moves = np.concatenate([np.eye(len(breaks)), -np.eye(len(breaks)), np.zeros((1, len(breaks)))])
    for _ in range(12):
        for _ in range(4):
            trials = breaks + step * moves
            best = int(np.argmin(_many_rss(x, y, w, trials, ends, origin)))
            if best == len(trials) - 1:
                break
            breaks = trials[best]
        step /= 2.0
    return _refine(x, y, w, breaks, ends, origin)[0]


def fit(x: Array, y: Array, sd: Array, breaks: int, *, flat_left: bool = False, flat_right: bool = False) -> BrokenLine | None:
    """The best broken line with so many breaks.

    Parameters
    ----------
    x, y, sd
        Shape (n,): places, heights, and SDs of the heights (> 0; only their ratios matter to the fit).
    breaks
        How many, 0 to 3.
    flat_left, flat_right
        The outer pieces have slope zero.

    Returns
    -------
    BrokenLine | None
        None where there are too few samples for the number of parameters.

    Source: Muggeo V. M. R., 2003, Estimating regression models with unknown break-points, Statistics in Medicine 22, 3055-3071.
    """
    order = np.argsort(x)
    x, y, w = x[order], y[order], 1.0 / sd[order]
    pieces = breaks + 1 - int(flat_left) - int(flat_right)
    if len(x) < 2 + pieces + breaks or pieces < 0 or x[-1] <= x[0]:
        return None
    ends, origin = (flat_left, flat_right), float(x[0])
    found = np.zeros(0)
    if breaks:
        inner = np.unique(np.quantile(x, np.linspace(0.0, 1.0, _GRID + 2)[1:-1]))
        if len(inner) < breaks:
            return None
        starts = np.array(list(combinations(inner, breaks)))
        first = starts[int(np.argmin(_many_rss(x, y, w, starts, ends, origin)))]
        found = _search(x, y, w, first, ends, origin)
    b, basis, rss = _solve(x, y, w, found, ends, origin)
    turns = _turns(b, breaks, *ends)
    # moving the first break moves the place the level is read at as well
    jacobian = np.column_stack([basis, *(-turns[j] * (x > found[j]) * w for j in range(breaks))]) if breaks else basis
    if breaks and not flat_left:
        jacobian[:, 1 + pieces] = -b[1] * w - turns[0] * (x > found[0]) * w
    dof = max(len(x) - jacobian.shape[1], 1)
    cov = np.linalg.pinv(jacobian.T @ jacobian) * rss / dof
    return BrokenLine(found, float(b[0]), b[1:], flat_left, flat_right, origin, cov, rss, len(x))


def break_interval(
    x: Array, y: Array, sd: Array, line: BrokenLine, which: int, confidence: float = 0.9, tolerance: float = 1e-7
) -> tuple[float | None, float | None]:
    """Profile interval of one break: where the residual sum stays within the F limit, other parameters refitted.

    Parameters
    ----------
    x, y, sd
        As fitted.
    line
        The fit.
    which
        Index of the break.
    confidence, tolerance
        Of the interval; how closely its ends are found, share of the span of ``x``.

    Returns
    -------
    (lo, hi)
        None on a side where the data do not close the interval before their end.

    Source: the likelihood-ratio (F) interval of nonlinear regression, e.g. Bates and Watts 1988, section 6.1.
    """
    from scipy.special import stdtrit

    order = np.argsort(x)
    x, y, w = x[order], y[order], 1.0 / sd[order]
    ends = (line.flat_left, line.flat_right)
    limit = line.rss * (1.0 + float(stdtrit(max(line.dof, 1), 0.5 + confidence / 2.0)) ** 2 / max(line.dof, 1)) + 1e-300

    def profile(value: float, start: Array) -> tuple[float, Array]:
        trial = start.copy()
        trial[which] = value
        if which > 0:
            trial[:which] = np.minimum(trial[:which], value - 1e-3 * (x[-1] - x[0]) * np.arange(which, 0, -1))
        after = len(trial) - which - 1
        if after:
            trial[which + 1 :] = np.maximum(trial[which + 1 :], value + 1e-3 * (x[-1] - x[0]) * np.arange(1, after + 1))
        if trial[0] <= x[0] or trial[-1] >= x[-1]:
            return np.inf, start
        moved, rss = _refine(x, y, w, trial, ends, line.origin, fixed=which)
        return rss, moved

    def side(sign: float) -> float | None:
        """Bracket, then the false position of the root of the deviance, which is nearly straight in the distance."""
        room = float(x[-1] - line.breaks[which] if sign > 0 else line.breaks[which] - x[0]) * (1.0 - 1e-6)
        j = 1 + len(line.slopes) + which
        step = max(float(np.sqrt(max(line.cov[j, j], 0.0))), 1e-4 * float(x[-1] - x[0]))
        near, low, far, start = 0.0, 0.0, step, line.breaks

        def height(rss: float) -> float:
            return float(np.sqrt(max(rss - line.rss, 0.0) / (limit - line.rss)))

        while True:
            if far >= room:
                return None
            rss, moved = profile(line.breaks[which] + sign * far, start)
            if rss > limit:
                high = height(rss) if np.isfinite(rss) else 2.0
                break
            near, low, far, start = far, height(rss), far * 1.6, moved
        for k in range(60):
            share = (1.0 - low) / (high - low) if k % 3 < 2 and high > low else 0.5
            middle = near + float(np.clip(share, 0.02, 0.98)) * (far - near)
            rss, moved = profile(line.breaks[which] + sign * middle, start)
            if rss <= limit:
                near, low = middle, height(rss)
            else:
                far, high = middle, height(rss) if np.isfinite(rss) else 2.0
            if far - near < tolerance * float(x[-1] - x[0]) or abs(rss - limit) < 1e-3 * tolerance * (limit - line.rss):
                break
        return float(line.breaks[which] + sign * (near + far) / 2.0)

    return side(-1.0), side(1.0)
