"""What days say of one engine's hill, their prior divided out: normals in information form, put together and passed on.

All of a hill is kept in one vector θ: best advance at anchors over rpm, ln k at one rpm, the slope of ln k, the skew. What a
day gets wrong of curvature and skew moves its best advance, and the next day of the engine starts from the same prior and errs the
same way: kept apart, the best of two days would be believed as if their errors had nothing in common.

Source: Gaussian messages, Bishop, Pattern Recognition and Machine Learning (2006), sections 2.3 and 10.7; days scattering around
their engine as in random-effects meta-analysis (DerSimonian and Laird, Controlled Clinical Trials 7 (1986), 177–188).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from pullbook.arrays import Array
from pullbook.belief import EarlierHill
from pullbook.hill.form import HillBasis

SURE, UNTOLD = 1e-6, 1e-9  # least share of the prior's variance a day may leave; what keeps a direction nothing tells of finite
WORTH_TELLING = 0.9  # a day that leaves more of it told nothing: the covariance of some 1500 draws is no better than that
FORM = 3  # of θ's numbers come after the anchors: ln k, its slope, skew


@dataclass(frozen=True, slots=True)
class Told:
    """A likelihood ``exp(−½·θᵀ·weight·θ + towards·θ)`` of θ = (best advance at ``rpm``, °; ln k at ``k_rpm``; slope of ln k per
    1000 rpm; skew, 1/°): ``rpm`` (A,), ``weight`` (A+3, A+3), ``towards`` (A+3,)."""

    rpm: Array
    k_rpm: float
    weight: Array
    towards: Array

    def scattered(self, scatter: Array) -> "Told":
        """The same, said of a θ that differs from this one by a normal of covariance ``scatter`` (A+3, A+3)."""
        apart = np.eye(len(self.towards)) + self.weight @ scatter
        weight: Array = np.asarray(np.linalg.solve(apart, self.weight))
        return Told(self.rpm, self.k_rpm, (weight + weight.T) / 2, np.asarray(np.linalg.solve(apart, self.towards)))

    def moved(self, by: Array) -> "Told":
        """The same, said of a θ that lies ``by`` (A+3,) further."""
        return Told(self.rpm, self.k_rpm, self.weight, self.towards + self.weight @ by)

    def ln_scattered(self, scatter: Array) -> float:
        """ln of what :meth:`scattered` leaves in front: how much room the scatter gives, and how well it is used."""
        apart = np.eye(len(self.towards)) + self.weight @ scatter
        used = self.towards @ scatter @ np.linalg.solve(apart, self.towards)
        return float(0.5 * used - 0.5 * np.linalg.slogdet(apart)[1])

    def at(self, kept: npt.NDArray[np.intp]) -> "Told":
        """What is said of some anchors (by place) and the hill's form, whatever the others are."""
        inside = np.concatenate([kept, len(self.rpm) + np.arange(FORM)])
        out = np.setdiff1d(np.arange(len(self.towards)), inside)
        weight, towards = self.weight[np.ix_(inside, inside)], self.towards[inside]
        if len(out):
            own = self.weight[np.ix_(out, out)] + UNTOLD * np.eye(len(out))
            carried = np.linalg.solve(own, np.column_stack([self.weight[np.ix_(out, inside)], self.towards[out]])).T
            across = self.weight[np.ix_(inside, out)]
            weight, towards = weight - across @ carried[:-1].T, towards - across @ carried[-1]
        return Told(self.rpm[kept], self.k_rpm, weight, towards)


def told_of(kept: EarlierHill) -> Told:
    """What is kept as plain numbers, as arrays; its shapes are not checked here."""
    return Told(np.array(kept.rpm, float), float(kept.k_rpm), np.array(kept.weight, float), np.array(kept.towards, float))


def kept_of(told: Told) -> dict[str, Any]:
    """Plain numbers for the archive, to nine figures."""

    def figures(values: Array) -> list[float]:
        return [float(f"{v:.9g}") for v in values]

    weight = [figures(row) for row in told.weight]
    return {"rpm": figures(told.rpm), "k_rpm": told.k_rpm, "weight": weight, "towards": figures(told.towards)}


def told_by(rpm: Array, k_rpm: float, before: tuple[Array, Array], after: tuple[Array, Array]) -> Told:
    """What a day's pulls said, from what was believed of θ before and after them.

    Parameters
    ----------
    rpm, k_rpm
        Anchors, (A,), and where ln k is read, rpm.
    before, after
        Mean (A+3,) and covariance (A+3, A+3) of θ.

    Returns
    -------
    Told
        Nothing in directions in which the day left the belief about as wide as it was; nor of a number that its rows cannot
        tell (the slope of ln k, at one rpm).
    """
    free = np.flatnonzero(np.diag(before[1]) > 0.0)
    mean, cov = before[0][free], before[1][np.ix_(free, free)]
    size = np.sqrt(np.diag(cov))
    lower = np.linalg.cholesky(cov / np.outer(size, size) + UNTOLD * np.eye(len(size))) * size[:, None]
    turned = np.linalg.solve(lower, np.linalg.solve(lower, after[1][np.ix_(free, free)]).T)
    left, axes = np.linalg.eigh((turned + turned.T) / 2)
    left = np.maximum(left, SURE)
    moved = axes.T @ np.linalg.solve(lower, after[0][free] - mean)
    told = np.where(left < WORTH_TELLING, 1.0 / left - 1.0, 0.0)
    back = np.linalg.solve(lower.T, axes)
    weight, towards = np.zeros_like(before[1]), np.zeros_like(before[0])
    weight[np.ix_(free, free)] = back * told @ back.T
    towards[free] = back @ np.where(told > 0, moved / left, 0.0)
    return Told(rpm, k_rpm, weight, towards + weight @ before[0])


def together(days: Sequence[Told], scatters: Sequence[Array]) -> Told:
    """Days of one engine, each scattering around it.

    Parameters
    ----------
    days
        At least one.
    scatters
        Covariance of each day's θ around the engine's, on its own anchors (A+3, A+3).

    Returns
    -------
    Told
        Of the engine, on all anchors; ln k at the last day's rpm.
    """
    anchors = np.unique(np.concatenate([day.rpm for day in days]))
    k_rpm = days[-1].k_rpm
    size = len(anchors) + FORM
    weight, towards = np.zeros((size, size)), np.zeros(size)
    for day, scatter in zip(days, scatters, strict=True):
        place = np.zeros((len(day.towards), size))
        place[np.arange(len(day.rpm)), np.searchsorted(anchors, day.rpm)] = 1.0
        place[len(day.rpm) :, len(anchors) :] = np.eye(FORM)
        place[len(day.rpm), len(anchors) + 1] = (day.k_rpm - k_rpm) / 1000.0
        said = day.scattered(scatter)
        weight += place.T @ said.weight @ place
        towards += place.T @ said.towards
    return Told(anchors, k_rpm, weight, towards)


@dataclass(frozen=True, slots=True)
class ReadOff:
    """How θ is read off a hill on R rows: weights of ``best`` advance (A, R) and of ``ln_k`` (2, R): its value and its slope."""

    best: Array
    ln_k: Array

    def theta(self, best: Array, ln_k: Array, skew: Array) -> Array:
        """θ (…, A+3) of best advance and ln k (…, R) and skew (…,)."""
        return np.concatenate([best @ self.best.T, ln_k @ self.ln_k.T, np.asarray(skew)[..., None]], axis=-1)


def believed(basis: HillBasis, off: ReadOff) -> tuple[Array, Array]:
    """Mean (A+3,) and covariance (A+3, A+3) of θ under a day's prior, its long tails left away: close to the usual they do not
    count, and far from it a normal of any width is wrong (one without tails did best on engines of all kinds)."""
    mean = off.theta(basis.best_mean, basis.ln_k_mean, np.zeros(()))
    best, ln_k = off.best @ basis.best_basis, off.ln_k @ basis.k_basis
    cov = np.zeros((len(mean), len(mean)))
    cov[:-FORM, :-FORM] = best @ best.T
    cov[-FORM:-1, -FORM:-1] = ln_k @ ln_k.T
    cov[-1, -1] = basis.skew_sd**2
    return mean, cov


def read_off(lines: Array, k_line: Array, rpm: Array) -> ReadOff:
    """How θ is read off.

    Parameters
    ----------
    lines, k_line
        Weights that read rows at the anchors (A, R) and at the rpm of ln k (R,).
    rpm
        The rows, (R,).
    """
    x = (rpm - rpm.mean()) / 1000.0
    return ReadOff(lines, np.array([k_line, x / max(float(x @ x), UNTOLD)]))
