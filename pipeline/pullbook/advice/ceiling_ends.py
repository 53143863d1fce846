"""The rows of a ceiling that count, at the ends of every unbroken rpm span, where pulls begin and end a row apart.

Pulls of one day start and lift some 100 rpm apart, so the first and last rows of a day are reached by some settings only. Read
to the letter such a row would hold a whole curve down to a setting that merely started earlier, and lifting it would promise what
nobody ran there. So it is left out: advice ends where the settings that matter ended. A stretch cut out of the pulls (slip of a
roller) leaves such ends in the middle of a day.
"""

import numpy as np
import polars as pl

from pullbook.advice.settings_run import END_ROWS, delivered_curve, held_past_ends
from pullbook.columns import ROW_RPM

_NEAR_DEG = 0.3
"""A setting this near the row's own most advanced one holds nothing down."""


def without_thin_ends(ceiling: pl.DataFrame, delivered: pl.DataFrame, settings: list[str]) -> pl.DataFrame:
    """Leave out first and last rows of a span (two at most at each end) that the most advanced setting beside them did not reach.

    Parameters
    ----------
    ceiling
        ``rpm, advance_deg, because`` per row, ° BTDC.
    delivered
        DELIVERED of the day.
    settings
        Settings with a used pull; one that knocked is not among them, because it ended where it was cut short.

    Returns
    -------
    polars.DataFrame
        The other rows, as they were.
    """
    table = ceiling.sort("rpm")
    if not settings:
        return table
    rpm = table["rpm"].cast(pl.Float64).to_numpy()
    own = table["advance_deg"].cast(pl.Float64).to_numpy()
    run = np.array([held_past_ends(delivered_curve(delivered, name, rpm)) for name in settings])
    most = np.max(np.where(np.isfinite(run), run, -np.inf), axis=0)
    bound = table["because"].fill_null("").str.contains("knock|limit").to_numpy()
    thin = ~bound & (most > own + _NEAR_DEG)
    out = np.zeros(len(rpm), bool)
    for span in np.split(np.arange(len(rpm)), np.flatnonzero(np.diff(rpm) > 1.5 * ROW_RPM) + 1):
        if len(span) > 2 * END_ROWS:
            lead, tail = (np.logical_and.accumulate(thin[side[:END_ROWS]]) for side in (span, span[::-1]))
            out[span[:END_ROWS]], out[span[::-1][:END_ROWS]] = lead, tail
    return table.filter(~pl.Series(out))
