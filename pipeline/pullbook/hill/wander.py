"""How far torque wanders inside a pull, over how many rpm it is alike, and how much the gain leans over rpm: by restricted
likelihood, the hill held where it is.

Rows of one pull are alike beyond what white sample noise explains. How much, and how far along, differs from dyno to dyno (a slow
cell, a breathing brake, oil that warms in the pull) and needs no repeats to be seen, because every pull shows it.
"""

from dataclasses import dataclass, replace

import numpy as np

from pullbook.arrays import Array
from pullbook.hill.day_table import DayTable
from pullbook.hill.likelihood import DayLikelihood, Nodes

USUAL_SD = 0.0025  # of torque
USUAL_LOG_SD = 0.6
TRIED = USUAL_SD * np.exp(np.linspace(-1.8, 1.5, 8))
EXTRA = (0.0, 0.001, 0.002)  # of torque: white noise beyond what second differences of the samples show
EXTRA_USUAL = 0.001
ALIKE = (150.0, 300.0, 600.0, 1200.0)
ALIKE_USUAL, ALIKE_LOG_SD = 300.0, 0.7
LEAN = (0.0, 0.0006, 0.0012, 0.0024)  # of torque per 1000 rpm: a pull's gain against the others', one SD
LEAN_USUAL = 0.001


@dataclass(frozen=True, slots=True)
class Within:
    """What is alike inside a pull: SDs, fractions of torque, of its ``wander``, of ``extra`` white noise a row, and of how its gain
    leans (``lean``, per 1000 rpm); ``alike_rpm``: length of the wander's memory."""

    wander: float = USUAL_SD
    extra: float = 0.0
    alike_rpm: float = ALIKE_USUAL
    lean: float = 0.0

    def ln_prior(self) -> float:
        """How usual that is: ln of the prior density, up to a constant."""
        usual = (np.log(self.wander / USUAL_SD) / USUAL_LOG_SD) ** 2 + (np.log(self.alike_rpm / ALIKE_USUAL) / ALIKE_LOG_SD) ** 2
        return float(-0.5 * (usual + (self.extra / EXTRA_USUAL) ** 2 + (self.lean / LEAN_USUAL) ** 2))


USUAL = Within()


def within_covariance(table: DayTable, within: Within) -> Array:
    """Covariance of wander, lean and white noise inside each pull.

    Parameters
    ----------
    table
        P pulls by R rows.
    within
        What is alike inside a pull, fractions of torque.

    Returns
    -------
    Array
        (P, R, R), ln T squared; wander decays exponentially over ``alike_rpm``.
    """
    rpm = table.rpm.astype(float)
    alike = within.wander**2 * np.exp(-np.abs(rpm[:, None] - rpm[None, :]) / within.alike_rpm)
    x = within.lean * (rpm - (rpm[0] + rpm[-1]) / 2) / 1000.0
    white = table.white + within.extra**2
    return np.asarray((alike + np.outer(x, x))[None] + white[:, :, None] * np.eye(len(rpm))[None])


def likelihood_for(table: DayTable, within: Within, scales: Nodes, modes: Array) -> DayLikelihood:
    """The closed forms of a day with this wander; ``modes`` (P, R, J) are shifts of ln T per unit timing doubt.

    Parameters
    ----------
    table
        The day, ln torque (P, R).
    within
        Wander inside a pull, of ln torque.
    scales
        Nodes of pull SD and drift.
    modes
        Shape (P, R, J).
    """
    return DayLikelihood(within_covariance(table, within), table.present, table.order, scales, modes)


def estimate_wander(table: DayTable, remainder: Array, scales: Nodes, modes: Array) -> Within:
    """What makes the remainder of the hill likeliest, prior included; the wander averaged around its top.

    Parameters
    ----------
    table
        P pulls by R rows.
    remainder
        What one hill leaves unexplained, ln T, (1, P, R).
    scales
        Grid of pull SD and drift scale, integrated over.
    modes
        Shifts of ln T per unit timing doubt, (P, R, J).
    """

    def height(within: Within) -> float:
        closed = likelihood_for(table, within, scales, modes)
        return float(closed.ln_likelihood(remainder)[0]) + closed.constant() + within.ln_prior()

    tried = [replace(USUAL, wander=float(w), extra=e) for e in EXTRA for w in TRIED]
    best = max(tried, key=height)
    tried = [replace(best, wander=float(w), alike_rpm=a) for a in ALIKE for w in TRIED]
    heights = np.array([height(w) for w in tried])
    top = tried[int(heights.argmax())]
    at = [i for i, w in enumerate(tried) if w.alike_rpm == top.alike_rpm]
    weight = np.exp(heights[at] - heights.max())
    wander = float(np.exp((weight * np.log([tried[i].wander for i in at])).sum() / weight.sum()))
    return max((replace(top, wander=wander, lean=lean) for lean in LEAN), key=height)
