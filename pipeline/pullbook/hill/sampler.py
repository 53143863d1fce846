"""Draws from a day's posterior: tempered importance sampling from the tops, then moves that leave the posterior unchanged.

Start from a mixture of Student t around the tops; raise the temperature from that mixture to the posterior in as many steps
as the effective number of draws asks for; at each step resample and move every draw, by random walks shaped like the
cloud and by fresh proposals from a Student t fitted to it. Nothing is assumed about the shape of the posterior.

Source: sequential Monte Carlo samplers, Del Moral, Doucet and Jasra, J. R. Stat. Soc. B 68 (2006), 411–436.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from pullbook.arrays import Array
from pullbook.hill.climb import Tops

LnDensity = Callable[[Array], Array]
FREEDOM = 6.0  # degrees of freedom of every Student t
DRAWS = 1500
MOVES = 10


@dataclass(frozen=True, slots=True)
class Mixture:
    """Weighted multivariate Student t: ``centre`` (M, q), Cholesky factors ``lower`` (M, q, q), ``weight`` (M,), summing to one."""

    centre: Array
    lower: Array
    weight: Array

    def draw(self, n: int, rng: np.random.Generator) -> Array:
        """``n`` draws (n, q)."""
        q = self.centre.shape[1]
        part = rng.choice(len(self.weight), size=n, p=self.weight)
        normal = rng.standard_normal((n, q))
        stretch = np.sqrt(FREEDOM / rng.chisquare(FREEDOM, n))
        return np.asarray(self.centre[part] + np.einsum("nij,nj->ni", self.lower[part], normal) * stretch[:, None])

    def ln_density(self, xi: Array) -> Array:
        """ln density (n,) up to a constant common to all mixtures of one size q."""
        q = self.centre.shape[1]
        each = np.empty((len(self.weight), len(xi)))
        for i, (centre, lower, weight) in enumerate(zip(self.centre, self.lower, self.weight, strict=True)):
            away = np.linalg.solve(lower, (xi - centre).T)
            ln_det = np.log(np.diag(lower)).sum()
            each[i] = np.log(weight) - ln_det - 0.5 * (FREEDOM + q) * np.log1p((away**2).sum(axis=0) / FREEDOM)
        top = each.max(axis=0)
        out: Array = top + np.log(np.exp(each - top).sum(axis=0))
        return out


def around(tops: Tops, widen: float = 1.3) -> Mixture:
    """A mixture over the M tops, ``widen`` times their covariance, with a tenth of the prior as a safety net: M + 1 parts."""
    weight = np.exp(np.clip(tops.ln_volume - tops.ln_volume.max(), -6.0, 0.0))
    weight = 0.9 * weight / weight.sum()
    q = tops.xi.shape[1]
    lower = np.linalg.cholesky(tops.cov * widen)
    return Mixture(np.vstack([tops.xi, np.zeros((1, q))]), np.concatenate([lower, np.eye(q)[None]]), np.append(weight, 0.1))


def _resample(weight: Array, n: int, rng: np.random.Generator) -> Array:
    """Systematic resampling: indices (n,)."""
    edges = np.cumsum(weight)
    picks = np.searchsorted(edges / edges[-1], (np.arange(n) + rng.random()) / n)
    out: Array = np.minimum(picks, len(weight) - 1)
    return out


def _next_temperature(now: float, ratio: Array, wanted: float) -> float:
    """The highest temperature that keeps the effective share of draws above ``wanted`` (bisection)."""

    def share(to: float) -> float:
        w = np.exp((to - now) * (ratio - ratio.max()))
        return float(w.sum() ** 2 / ((w**2).sum() * len(w)))

    if share(1.0) >= wanted:
        return 1.0
    lo, hi = now, 1.0
    for _ in range(30):
        middle = (lo + hi) / 2
        lo, hi = (middle, hi) if share(middle) >= wanted else (lo, middle)
    return max(lo, now + 1e-4)


def sample(ln_posterior: LnDensity, tops: Tops, rng: np.random.Generator, draws: int = DRAWS) -> Array:
    """Draws (``draws``, q) from the posterior.

    Parameters
    ----------
    ln_posterior
        ln density of a batch (n, q), any constant.
    tops
        Where to start from.
    rng
        Seeded by the caller from the content of the inputs.
    """
    start = around(tops)
    xi = start.draw(4 * draws, rng)
    at_start, at_end = start.ln_density(xi), ln_posterior(xi)
    temperature, walk = 0.0, 2.0 / np.sqrt(xi.shape[1])
    while temperature < 1.0:
        ratio = at_end - at_start
        to = _next_temperature(temperature, ratio, 0.4 if temperature else 0.25)
        weight = np.exp((to - temperature) * (ratio - ratio.max()))
        fitted = _fit(xi, weight)
        picked = _resample(weight, draws, rng)
        xi, at_start, at_end = xi[picked], at_start[picked], at_end[picked]
        temperature = to
        rounds = MOVES if temperature >= 1.0 else MOVES // 2
        for turn in range(rounds):
            now = (1 - temperature) * at_start + temperature * at_end
            if turn % 2 == 0:
                tried = fitted.draw(draws, rng)
                bias = fitted.ln_density(xi) - fitted.ln_density(tried)
            else:
                tried = xi + walk * rng.standard_normal(xi.shape) @ fitted.lower[0].T
                bias = np.zeros(draws)
            tried_start, tried_end = start.ln_density(tried), ln_posterior(tried)
            gain = (1 - temperature) * tried_start + temperature * tried_end - now + bias
            moved = np.log(rng.random(draws)) < gain
            xi[moved], at_start[moved], at_end[moved] = tried[moved], tried_start[moved], tried_end[moved]
            if turn % 2:
                walk *= float(np.exp(moved.mean() - 0.25))
    return xi


def _fit(xi: Array, weight: Array) -> Mixture:
    """One Student t shaped like the weighted cloud."""
    share = weight / weight.sum()
    mean = share @ xi
    away = xi - mean
    cov = (away * share[:, None]).T @ away + 1e-9 * np.eye(xi.shape[1])
    return Mixture(mean[None], np.linalg.cholesky(cov)[None], np.ones(1))
