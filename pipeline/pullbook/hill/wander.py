"""How far torque wanders inside a pull: one variance by restricted likelihood, the hill held where it is.

Rows of one pull are alike over about 300 rpm beyond what white sample noise explains; how much differs from dyno to dyno
and needs no repeats to be seen, because every pull shows it.
"""

import numpy as np

from pullbook.handover import Array
from pullbook.hill.day_table import DayTable
from pullbook.hill.likelihood import DayLikelihood, Nodes

ALIKE_RPM = 300.0
USUAL = 0.0025  # of torque, one SD
USUAL_LOG_SD = 0.6
EXTRA = (0.0, 0.001, 0.002)  # of torque: white noise beyond what second differences of the samples show
TRIED = USUAL * np.exp(np.linspace(-1.5, 1.5, 7))


def within_covariance(table: DayTable, wander: float, extra: float) -> Array:
    """Covariance (P, R, R) of wander and white noise inside each pull."""
    rpm = table.rpm.astype(float)
    alike = wander**2 * np.exp(-np.abs(rpm[:, None] - rpm[None, :]) / ALIKE_RPM)
    white = table.white + extra**2
    return np.asarray(alike[None] + white[:, :, None] * np.eye(len(rpm))[None])


def likelihood_for(table: DayTable, wander: float, extra: float, scales: Nodes, modes: Array) -> DayLikelihood:
    """The closed forms of a day with this wander; ``modes`` (P, R, J) are shifts of ln T per unit timing doubt."""
    return DayLikelihood(within_covariance(table, wander, extra), table.present, table.order, scales, modes)


def estimate_wander(table: DayTable, remainder: Array, scales: Nodes, modes: Array) -> tuple[float, float]:
    """Wander and extra white noise (fractions) that make ``remainder`` (1, P, R) of the hill likeliest, prior included."""
    best = (-np.inf, USUAL, EXTRA[0])
    heights = []
    for wander in TRIED:
        for extra in EXTRA:
            closed = likelihood_for(table, float(wander), extra, scales, modes)
            height = float(closed.ln_likelihood(remainder)[0]) + closed.constant()
            height -= 0.5 * (np.log(wander / USUAL) / USUAL_LOG_SD) ** 2 + 0.5 * (extra / 0.001) ** 2
            heights.append((height, float(wander), extra))
            best = max(best, heights[-1])
    at = [h for h in heights if h[2] == best[2]]
    weight = np.exp(np.array([h[0] for h in at]) - best[0])
    return float(np.exp((weight * np.log([h[1] for h in at])).sum() / weight.sum())), best[2]
