"""The pull to hand over to a customer: a pull of the setting to run that looks like that setting's mean, not its luckiest."""

import polars as pl

from pullbook.handover import AlignedDay


def hand_over_pull(aligned: AlignedDay, setting: str) -> str | None:
    """Used pull of ``setting`` whose torque lies nearest to the setting's own mean.

    Parameters
    ----------
    aligned
        The day's pulls and rows (torque N·m on one footing).
    setting
        The setting to be handed over, or the tested one nearest to it.

    Returns
    -------
    str or None
        Its pull_id; the earlier one on a tie; None where the setting has no used pull with rows.
    """
    pulls = aligned.pulls.filter((pl.col("setting") == setting) & (pl.col("status") != "left_out")).select(
        "pull_id", "order", "status"
    )
    whole = pulls.filter(pl.col("status") == "used")
    pulls = pulls if whole.is_empty() else whole
    rows = aligned.rows.join(pulls, on="pull_id", how="inner").filter(pl.col("torque_nm") > 0)
    if rows.is_empty():
        return None
    level = pl.col("torque_nm").log()
    apart = (
        rows.with_columns(gap=level - level.mean().over("rpm"))
        .group_by("pull_id")
        .agg(pl.col("gap").pow(2).mean().alias("gap"), pl.len().alias("n"), pl.col("order").first())
    )
    # a pull that covers few rpm may sit near the mean by chance: ask for at least half of the longest
    apart = apart.filter(pl.col("n") * 2 >= pl.col("n").max()).with_columns(pl.col("gap").round(12)).sort("gap", "order")
    return str(apart["pull_id"][0])
