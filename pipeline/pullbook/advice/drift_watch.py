"""Whether drift stands in the way: no return to a setting, or a level that goes with oil temperature."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import polars as pl

from pullbook.advice.settings_run import Setting
from pullbook.arrays import Array
from pullbook.handover import AlignedDay
from pullbook.hill.one_way import FEW_PULLS, ONE_WAY


@dataclass(frozen=True, slots=True)
class DriftWatch:
    """``no_return``: settings went one way with the pulls and none was run again later; ``one_way``: so strictly that drift and
    timing cannot be told apart. ``oil``: (first, last) °C or None.
    """

    no_return: bool
    one_way: bool
    oil: tuple[float, float] | None


def watch(aligned: AlignedDay, settings: list[Setting], repeatability: dict[str, Any]) -> DriftWatch:
    """Look for drift that timing could be mistaken for.

    Parameters
    ----------
    aligned
        The day's pulls in the order run.
    settings
        What was run; curves on any rows.
    repeatability
        The contract's object, with drift per pull and its interval in %.

    Returns
    -------
    DriftWatch
        ``no_return`` needs three pulls and an order that goes with the advance (correlation above 0.7 in size); ``oil`` is given
        where the drift's interval excludes zero and the oil's temperature changed by 8 °C or more in step with the order.
    """
    pulls = aligned.pulls.filter(pl.col("status") != "left_out").drop_nulls("setting").sort("order")
    names = pulls["setting"].to_list()
    visits = [name for i, name in enumerate(names) if i == 0 or name != names[i - 1]]
    returned = len(visits) > len(set(visits))
    level = {s.name: float(np.nanmean(s.curve)) for s in settings if np.isfinite(s.curve).any()}
    path = np.array([level.get(name, np.nan) for name in names])
    order = pulls["order"].cast(pl.Float64).to_numpy()
    along = abs(_correlation(order, path)) if len(names) >= FEW_PULLS and not returned else 0.0
    lo, hi = repeatability.get("drift_lo"), repeatability.get("drift_hi")
    clear = lo is not None and hi is not None and (lo > 0 or hi < 0)
    warm = pulls.drop_nulls("oil_c")
    oil = None
    if clear and len(warm) >= 4:
        temperature = warm["oil_c"].cast(pl.Float64).to_numpy()
        steady = abs(_correlation(warm["order"].cast(pl.Float64).to_numpy(), temperature)) > 0.7
        if steady and abs(temperature[-1] - temperature[0]) >= 8.0:
            oil = (float(temperature[0]), float(temperature[-1]))
    return DriftWatch(along > 0.7, along >= ONE_WAY, oil)


def _correlation(x: Array, y: Array) -> float:
    """Pearson's correlation over pairs that are both known; 0 where either does not vary."""
    both = np.isfinite(x) & np.isfinite(y)
    x, y = x[both], y[both]
    if len(x) < 3 or np.ptp(x) == 0 or np.ptp(y) == 0:
        return 0.0
    return float(np.corrcoef(x, y)[0, 1])
