"""Days on which advance went one way with the order of the pulls: there drift and timing look alike."""

import numpy as np

from pullbook.hill.day_table import DayTable, usable

ONE_WAY = 0.93  # correlation of order and advance above which drift and timing look alike
FEW_PULLS = 3


def drift_looks_like_timing(table: DayTable) -> bool:
    """Whether advance went one way with the order of the pulls and no setting was returned to.

    A setting counts as returned to where another was run between its first and its last pull.
    """
    known = table.where(usable(table))
    ran = [i for i in range(len(known.pull_id)) if known.present[i].any()]
    if len(ran) < FEW_PULLS or len({known.setting[i] for i in ran}) < 2:
        return False
    names = [known.setting[i] for i in ran]
    for name in set(names):
        places = [j for j, n in enumerate(names) if n == name]
        if places[-1] - places[0] >= len(places):
            return False
    mean = np.array([known.advance[i][known.present[i]].mean() for i in ran])
    order = known.order[ran]
    if np.ptp(mean) < 1e-6 or np.ptp(order) < 1e-6:
        return False
    return bool(abs(np.corrcoef(mean, order)[0, 1]) >= ONE_WAY)
