"""The settings a day ran: what the sheet called them, what the spark did, who listened, and how they repeat."""

from dataclasses import dataclass

import numpy as np
import polars as pl

from pullbook.arrays import Array
from pullbook.baseline import reference_of
from pullbook.columns import LISTENED, NOTED
from pullbook.handover import AlignedDay, DeliveredDay

END_ROWS = 2
"""Rows by which pulls of one day may begin and end apart: within them a setting's curve is carried on."""


@dataclass(frozen=True, slots=True)
class Setting:
    """One setting of the day. ``curve``: delivered advance on the rows asked for, ° BTDC, NaN where unknown, (R,)."""

    name: str
    initial_deg: float | None
    total_deg: float | None
    baseline: bool
    curve: Array
    listened: bool  # somebody, or a counter, said whether it knocked, on at least one pull
    knocked: bool


def delivered_curve(delivered: pl.DataFrame, setting: str, rpm: Array) -> Array:
    """Delivered advance of a setting on ``rpm``, rising or both directions; NaN outside what is known, (R,)."""
    mine = delivered.filter((pl.col("setting") == setting) & (pl.col("direction") != "down")).drop_nulls("advance_deg")
    mine = mine.group_by("rpm").agg(pl.col("advance_deg").mean()).sort("rpm")
    if mine.is_empty():
        return np.full(len(rpm), np.nan)
    curve: Array = np.interp(
        rpm, mine["rpm"].cast(pl.Float64).to_numpy(), mine["advance_deg"].to_numpy(), left=np.nan, right=np.nan
    )
    return curve


def held_past_ends(curve: Array) -> Array:
    """A curve carried up to two rows past its ends: along its own slope downwards in rpm, held upwards.

    Parameters
    ----------
    curve
        ° BTDC on even rows of rising rpm, NaN where unknown, (R,).

    Returns
    -------
    Array
        (R,); as given where fewer than two rows are known.
    """
    known = np.flatnonzero(np.isfinite(curve))
    if len(known) < 2:
        return curve
    first, last, out = int(known[0]), int(known[-1]), curve.copy()
    slope = max(0.0, float(curve[known[1]] - curve[first])) / (known[1] - first)
    for i in range(max(0, first - END_ROWS), first):
        out[i] = curve[first] - slope * (first - i)
    out[last + 1 : last + 1 + END_ROWS] = curve[last]
    return out


def settings_run(aligned: AlignedDay, delivered: DeliveredDay, knock: pl.DataFrame, rpm: Array) -> list[Setting]:
    """Settings with at least one used pull, in the order first run.

    Parameters
    ----------
    aligned, delivered, knock
        The day's pulls, delivered curves and knock facts (KNOCK).
    rpm
        Rows to give the delivered curve on.

    Returns
    -------
    list of Setting
        ``baseline`` marks the reference setting.
    """
    pulls = aligned.pulls.filter(pl.col("status") != "left_out").drop_nulls("setting").sort("order")
    if pulls.is_empty():
        return []
    grouped = pulls.group_by("setting", maintain_order=True).agg(
        pl.col("initial_deg").drop_nulls().median(),
        pl.col("total_deg").drop_nulls().median(),
    )
    names = grouped["setting"].to_list()
    baseline = reference_of(aligned.pulls, pl.col("status") != "left_out")
    words = {
        name: set(knock.filter(pl.col("setting") == name)["word"].to_list())
        | set(aligned.pulls.filter(pl.col("setting") == name)["knock"].drop_nulls().to_list())
        for name in names
    }
    return [
        Setting(
            name=row["setting"],
            initial_deg=row["initial_deg"],
            total_deg=row["total_deg"],
            baseline=row["setting"] == baseline,
            curve=held_past_ends(delivered_curve(delivered.delivered, row["setting"], rpm)),
            listened=bool(words[row["setting"]] & set(LISTENED)),
            knocked=bool(words[row["setting"]] & set(NOTED)),
        )
        for row in grouped.iter_rows(named=True)
    ]


def baseline_of(settings: list[Setting]) -> Setting | None:
    """The reference setting, None where it has no used pull."""
    return next((s for s in settings if s.baseline), None)


def placed(settings: list[Setting]) -> list[Setting]:
    """Those whose advance is known on every row asked for."""
    return [s for s in settings if np.isfinite(s.curve).all()]


def home_of(settings: list[Setting]) -> Setting | None:
    """What the others are turned from: the baseline where its advance is known on every row, else the first whose is."""
    known = placed(settings)
    return baseline_of(known) or next(iter(known), None)


def nearest(settings: list[Setting], curve: Array) -> tuple[Setting, float] | None:
    """The setting whose delivered curve lies nearest to a curve.

    Parameters
    ----------
    settings
        What was run; those of unknown advance are passed over.
    curve
        Degrees BTDC on the rows of the settings' curves, (R,).

    Returns
    -------
    tuple or None
        The setting and its distance, degrees, root mean square over the rows both have; None where no setting's advance is known.
    """
    gaps = [(float(np.sqrt(np.nanmean((s.curve - curve) ** 2))), s) for s in settings if np.isfinite(s.curve).any()]
    if not gaps:
        return None
    gap, setting = min(gaps, key=lambda g: g[0])
    return setting, gap
