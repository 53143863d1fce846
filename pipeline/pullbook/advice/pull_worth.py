"""What a pull not yet run is worth: the expected reduction of expected loss, from the day's own draws.

Which of two settings is better depends on the draw almost in a straight line (the difference of two parabolas is straight in their
common vertex). So what a pull would teach about every setting follows from the covariance between their losses and the torque
the pull would read, plus the noise of a pull: the preposterior mean of each loss is normal, and the worth of the pull is the
mean of the least of them against the least of today's means.

Source: expected value of sample information, Raiffa and Schlaifer 1961; its regression form, Strong, Oakley and Brennan 2014.
"""

from dataclasses import dataclass

import numpy as np

from pullbook.advice.ground import Ground
from pullbook.arrays import Array, Mask
from pullbook.hill.wander import ALIKE_USUAL, USUAL_SD

_BLOCK_RPM = 700.0
_HALF_SAMPLES = 400


@dataclass(frozen=True, slots=True)
class Worth:
    """Prices of M possible settings in D draws, and everything a new pull needs to be weighed.

    ``allowed``: which settings may be advised today, under the ceiling, (M,).
    """

    ground: Ground
    actions: Array  # (M, R), ° BTDC
    loss: Array  # (M, D), fraction of torque
    allowed: Mask
    blocks: Array  # (K, R) row means
    noise: Array  # (K, K) variance of one pull's block means
    deviates: Array  # (E, K * 3)
    late: float  # orders from the middle of the used pulls to the next pull

    @property
    def now(self) -> float:
        """Least expected loss today, fraction."""
        return float(np.min(np.mean(self.loss[self.allowed], axis=1)))

    def reading(self, curve: Array, ahead: int = 0) -> Array:
        """ln torque a pull at ``curve`` (R,), ``ahead`` orders on, would read in each draw, by block, noise left out, (D, K)."""
        p = self.ground.posterior
        loss = np.minimum(p.loss(curve), 0.9)
        log_torque = p.log_torque + np.log1p(-loss) + (p.drift * (self.late + ahead))[:, None]
        return log_torque @ self.blocks.T

    def saving(self, curves: list[Array], opens: list[Mask]) -> float:
        """Expected reduction of expected loss (fraction, ≥ 0) of running all of ``curves`` (at most three), one pull each.

        ``opens``: settings each pull would bring under the ceiling, (M,).
        """
        reads = np.hstack([self.reading(curve, i) for i, curve in enumerate(curves)])
        reads = reads - np.mean(reads, axis=0)
        draws, width = reads.shape
        spread = reads.T @ reads / draws
        for i in range(len(curves)):
            k = len(self.blocks)
            spread[i * k : (i + 1) * k, i * k : (i + 1) * k] += self.noise
        root = np.linalg.cholesky(spread + 1e-14 * np.eye(width))
        means = np.mean(self.loss, axis=1)
        cross = (self.loss - means[:, None]) @ reads / draws
        lever = np.linalg.solve(root, cross.T).T  # (M, width)
        may = self.allowed.copy()
        for more in opens:
            may |= more
        heard = self.deviates[:, :width] @ lever[may].T  # (E, m)
        after = np.mean(np.min(means[may] + np.concatenate([heard, -heard]), axis=1))
        return max(0.0, self.now - float(after))


def weigh(ground: Ground, actions: Array, allowed: Mask, late: float) -> Worth:
    """Set up the weighing of pulls not yet run.

    Parameters
    ----------
    ground
        Rows and draws of the day.
    actions
        Curves that could be set one day, (M, R).
    allowed
        Which of them lie under today's ceiling, (M,).
    late
        Orders from the mean order of the used pulls to the next pull.
    """
    rpm = ground.rpm
    count = max(1, round((rpm[-1] - rpm[0] + 100.0) / _BLOCK_RPM))
    which = np.minimum((np.arange(len(rpm)) * count) // len(rpm), count - 1)
    blocks = (which == np.arange(count)[:, None]).astype(float)
    blocks /= blocks.sum(axis=1, keepdims=True)
    wander = USUAL_SD**2 * np.exp(-np.abs(rpm[:, None] - rpm) / ALIKE_USUAL)
    noise = blocks @ wander @ blocks.T + float(np.mean(ground.posterior.pull_sd**2))
    deviates = np.random.default_rng(30_000).standard_normal((_HALF_SAMPLES, 3 * count))
    return Worth(ground, actions, ground.losses(actions), allowed, blocks, noise, deviates, late)
