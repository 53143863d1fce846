"""Pulls run on another footing than the rest: with the engine cold, or in another gear. From temperatures and speeds alone."""

from collections.abc import Mapping

import numpy as np
import polars as pl

from pullbook.wording import few

COLD_BELOW = {"coolant_c": 15.0, "oil_c": 20.0}  # °C under what warm pulls of the day begin at
_NAMES = {"coolant_c": "coolant", "oil_c": "oil"}
_START_ROWS, _LEAST_PULLS = 10, 3
RATIO_OFF = 0.03
"""Engine over roller speed this far off the other pulls': no tyre does that, another gear or another entry does."""

_MOST_OFF = 1.0 / 3.0  # of the pulls; beyond it nobody knows which gear is the day's
_LEAST_SAMPLES = 20


def cold_pulls(pulls: pl.DataFrame, samples: pl.DataFrame, called: Mapping[str, str]) -> list[str]:
    """Warnings of pulls that began with the engine well colder than the day's warm ones.

    Parameters
    ----------
    pulls
        ``pull_id, status`` and, from the sheet, ``oil_c``, ``coolant_c`` in °C; in the order run.
    samples
        ``pull_id`` and what the logs have of ``oil_c`` and ``coolant_c``; the sheet's word goes before.
    called
        A pull's name in words.
    """
    used = pulls.filter(pl.col("status") != "left_out")["pull_id"].to_list()
    out = []
    for channel, below in COLD_BELOW.items():
        told = dict(pulls.select("pull_id", channel).drop_nulls().iter_rows())
        if channel in samples.columns:
            logged = samples.filter(pl.col(channel).cast(pl.Float64).is_finite())
            starts = logged.group_by("pull_id", maintain_order=True).agg(pl.col(channel).head(_START_ROWS).median())
            told = dict(starts.iter_rows()) | told
        known = {p: float(told[p]) for p in used if p in told}
        if len(known) < _LEAST_PULLS:
            continue
        warm = float(np.percentile(list(known.values()), 75))
        cold = [p for p, value in known.items() if value < warm - below]
        if cold:
            which = few([f"{called[p]} at {known[p]:.0f} °C" for p in cold], 4)
            out.append(
                f"{_NAMES[channel]} at the start: {which}, where warm pulls of the day began at about {warm:.0f} °C: a cold engine "
                "makes less torque, and may want other advance; run it again warm, or leave it out (pull sheet, column `exclude`)"
            )
    return out[:1]  # oil and coolant say the same of a cold engine


def other_gear(samples: pl.DataFrame) -> dict[str, tuple[float, float]]:
    """Pulls whose engine and roller turned at another ratio than most: (ratio, the others'), by pull.

    Parameters
    ----------
    samples
        ``pull_id, rpm, roller_rpm``, as logged.

    Returns
    -------
    dict
        Empty without a roller's speed, and where more than a third of the pulls stand off.
    """
    turning = samples.filter((pl.col("rpm") > 0) & (pl.col("roller_rpm") > 0))
    table = (
        turning.group_by("pull_id", maintain_order=True)
        .agg((pl.col("rpm") / pl.col("roller_rpm")).median().alias("ratio"), pl.len().alias("n"))
        .filter(pl.col("n") >= _LEAST_SAMPLES)
    )
    if len(table) < _LEAST_PULLS:
        return {}
    usual = float(np.median(table["ratio"].to_numpy()))
    off = {p: (float(r), usual) for p, r in table.select("pull_id", "ratio").iter_rows() if abs(r / usual - 1.0) > RATIO_OFF}
    return off if len(off) <= _MOST_OFF * len(table) else {}
