"""How well a pull repeats on this bench, and how much the day drifted."""

from typing import Any

import numpy as np

from pullbook.arrays import Array
from pullbook.belief import Prior

LEARNED = 0.75  # the day is the source where it leaves less than this share of the prior's doubt


def repeatability(sd: Array, drift: Array, pulls: int, repeats: int, prior: Prior) -> dict[str, Any]:
    """How well a pull repeats, as the contract has it.

    Parameters
    ----------
    sd, drift
        Draws of pull SD and of drift per pull, fractions of torque, (D,); empty where there is no model.
    pulls
        Pulls the model rests on.
    repeats
        Pulls beyond the first of their setting.
    prior
        What was known before.

    Returns
    -------
    dict
        ``pull_sd_pct, source, pulls, drift_pct_per_pull, drift_lo, drift_hi``, %, drift with its 90 % interval and null under three
        pulls. The figure is always the pooled one; ``source`` says what mostly stands behind it: the day only where settings
        were repeated and the repeats narrowed what was known before.
    """
    if not len(sd):
        value = 100.0 * prior.sd_median
        return {"pull_sd_pct": round(value, 3), "source": prior.source, "pulls": pulls, "drift_pct_per_pull": None,
                "drift_lo": None, "drift_hi": None}  # fmt: skip
    lo, middle, hi = 100.0 * np.quantile(drift, [0.05, 0.5, 0.95])
    told = repeats >= 2 and float(np.std(np.log(sd))) < LEARNED * prior.sd_log_sd
    source = "day" if told and prior.source == "default" else prior.source
    tells = pulls >= 3
    return {
        "pull_sd_pct": round(100.0 * float(np.median(sd)), 3), "source": source, "pulls": pulls,
        "drift_pct_per_pull": round(float(middle), 4) if tells else None, "drift_lo": round(float(lo), 4) if tells else None,
        "drift_hi": round(float(hi), 4) if tells else None,
    }  # fmt: skip
