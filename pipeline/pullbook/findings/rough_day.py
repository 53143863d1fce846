"""A day whose pulls repeat far worse than their bench does: mostly a fault that nothing else shows, so it is asked about."""

from collections.abc import Mapping

import numpy as np

from pullbook.belief import Prior
from pullbook.hill.fit import HillFit

ROUGH, ROUGH_LEAST = 1.7, 0.0095  # pull SD against what is usual for the bench; and of torque: no bench is asked for less
NAMED, APART = 2, 1.2  # pulls named at most, and how many pull SDs off they must stand


def rough_day(fit: HillFit | None, prior: Prior, called: Mapping[str, str]) -> str | None:
    """The question to ask, or None.

    Parameters
    ----------
    fit
        The day's model; None where there is none.
    prior
        What the bench was expected to repeat to.
    called
        A pull's name in words, by ``pull_id``.
    """
    if fit is None or len(fit.table.pull_id) < 3:
        return None
    sd = float(np.median(fit.sd))
    if sd < max(ROUGH * prior.sd_median, ROUGH_LEAST):
        return None
    level = np.median(fit.level, axis=0)
    off = level - np.median(level)
    order = sorted(range(len(off)), key=lambda i: -abs(off[i]))[:NAMED]
    named = [f"{called[fit.table.pull_id[i]]} ({100 * np.expm1(off[i]):+.1f} %)" for i in order if abs(off[i]) > APART * sd]
    who = f"; {' and '.join(named)} stand{'s' if len(named) == 1 else ''} off most" if named else ""
    repeated = len(set(fit.table.setting)) < len(fit.table.setting)
    found = f"Pulls repeat to {100 * sd:.1f} % only" if repeated else f"Pulls stand {100 * sd:.1f} % off any one course of timing"
    return (
        f"{found}, where {100 * prior.sd_median:.1f} % was to be expected{who}. What was different: "
        "fuel, gear, throttle, plugs, the order or the rows of the sheet? Intervals are as wide as this asks for. If the dyno is "
        "like that, say so (day.yaml, dyno: repeatability_pct)"
    )
