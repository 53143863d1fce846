"""The ceiling at the ends of the rpm span, where pulls begin and end a row apart.

Pulls of one day start and lift some 100 rpm apart, so the first and last rows of a day are reached by some settings only. Read
to the letter such a row would hold a whole curve down to a setting that merely started earlier. A setting is therefore
counted up to two rows beyond where its own pulls were trimmed; knock notes and known limits bind as they stand.
"""

import numpy as np
import polars as pl

from pullbook.advice.settings_run import END_ROWS, curve_of, held_past_ends


def reach_ends(ceiling: pl.DataFrame, delivered: pl.DataFrame, settings: list[str], max_advance_deg: float | None) -> pl.DataFrame:
    """Raise the first and last two rows of a ceiling to what the day's settings ran right beside them.

    Parameters
    ----------
    ceiling
        ``rpm, advance_deg, because`` per row, ° BTDC.
    delivered
        DELIVERED of the day.
    settings
        Settings with a used pull.
    max_advance_deg
        A known limit, which stays.

    Returns
    -------
    polars.DataFrame
        The same rows; never lower than they were.
    """
    table = ceiling.sort("rpm")
    if table.height <= 2 * END_ROWS or not settings:
        return table
    rpm = table["rpm"].cast(pl.Float64).to_numpy()
    own = table["advance_deg"].cast(pl.Float64).to_numpy().copy()
    run = np.array([held_past_ends(curve_of(delivered, name, rpm)) for name in settings])
    most = np.max(np.where(np.isfinite(run), run, -np.inf), axis=0)
    if max_advance_deg is not None:
        most = np.minimum(most, max_advance_deg)
    ends = np.zeros(len(rpm), bool)
    ends[:END_ROWS] = ends[-END_ROWS:] = True
    plain = ~table["because"].fill_null("").str.contains("knock").to_numpy()
    raised = ends & plain & (most > own)
    words = pl.Series(np.where(raised, "the most advanced setting tested, right beside this rpm", ""))
    return table.with_columns(
        advance_deg=pl.Series(np.where(raised, np.floor(most * 100.0) / 100.0, own)),
        because=pl.when(pl.Series(raised)).then(words).otherwise(pl.col("because")),
    )
