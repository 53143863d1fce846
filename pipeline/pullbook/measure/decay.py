"""A first-order lag from tails that fall as c0 + c1·t + c2·exp(−t/τ): τ scanned, tails pooled, held against no lag at all."""

from dataclasses import dataclass

import numpy as np

from pullbook.arrays import Array
from pullbook.measure.normal import DEVIANCE_90


@dataclass(frozen=True, slots=True)
class Decay:
    """``tau`` with its 90 % interval ``lo`` to ``hi``, s; ``evidence``: how much better than no lag (difference of BIC, > 10
    is clear); ``tails``: how many it rests on."""

    tau: float
    lo: float
    hi: float
    evidence: float
    tails: int


_DIGITS = 1e-5  # of the largest reading: nothing smaller is told apart


_FLAT = 1e-12  # of a column's square: what rounding leaves of one that is a line itself


def pooled_decay(tails: list[tuple[Array, Array]], taus: Array) -> Decay | None:
    """The time constant that tails share.

    Parameters
    ----------
    tails
        ``(t, y)`` each: seconds from when the cause ended (shape (n,), from 0), reading in any unit. Tails with fewer than
        eight samples are passed over.
    taus
        Shape (m,), seconds, rising: the values tried.

    Returns
    -------
    Decay | None
        None where no tail is long enough. The interval is the profile's, deviance 2.706; it may touch the ends of ``taus``.

    Notes
    -----
    Every tail has its own level, slope, drop and noise; only τ is common. BIC charges one drop a tail and one τ.
    """
    tails = [(t, y) for t, y in tails if len(t) >= 8]
    if not tails:
        return None
    deviance, none, charge = np.zeros(len(taus)), 0.0, 0.0
    for t, y in tails:
        floor = len(t) * (_DIGITS * max(float(np.max(np.abs(y))), 1e-9)) ** 2
        line = np.linalg.qr(np.column_stack([np.ones_like(t), t]))[0]
        fall = np.exp(-t[:, None] / taus)
        square = np.einsum("ij,ij->j", fall, fall)
        reading, fall = (a - line @ (line.T @ a) for a in (y, fall))  # what a line leaves of each
        own = np.einsum("ij,ij->j", fall, fall)
        drop = np.where(own > _FLAT * square, reading @ fall / np.where(own > 0.0, own, 1.0), 0.0)
        left = reading[:, None] - drop * fall
        none += len(t) * np.log(reading @ reading + floor)
        charge += np.log(len(t))
        deviance += len(t) * np.log(np.einsum("ij,ij->j", left, left) + floor)
    best = int(np.argmin(deviance))
    inside = taus[deviance - deviance[best] < DEVIANCE_90]
    charge += np.log(sum(len(t) for t, _ in tails))
    return Decay(float(taus[best]), float(inside[0]), float(inside[-1]), float(none - deviance[best] - charge), len(tails))
