"""Pulls that the estimate would not believe, marked so: what was kept out of the fit is not called used."""

from dataclasses import replace

import polars as pl

from pullbook.handover import AlignedDay


def mark_abnormal(aligned: AlignedDay, abnormal: pl.DataFrame) -> AlignedDay:
    """The day's pulls with the stretches kept out of the fit in their status and reasons.

    Parameters
    ----------
    aligned
        The day as aligned.
    abnormal
        ``pull_id, rpm_lo, rpm_hi, why`` (rpm of rows), from :mod:`pullbook.hill.abnormal`.

    Returns
    -------
    AlignedDay
        A pull without a row left is ``left_out``, one with some ``part``; everything else as it was.
    """
    if abnormal.is_empty():
        return aligned
    said = abnormal.group_by("pull_id", maintain_order=True).agg(
        reason=pl.format("{} to {} rpm left out: {}", "rpm_lo", "rpm_hi", "why"), spans=pl.struct("rpm_lo", "rpm_hi")
    )
    pulls = aligned.pulls
    for pull_id, reasons, spans in said.iter_rows():
        rpm = aligned.rows.filter(pl.col("pull_id") == pull_id)["rpm"]
        out = sum(rpm.is_between(s["rpm_lo"], s["rpm_hi"]).sum() for s in spans)
        status = "left_out" if out >= len(rpm) else "part"
        mine = (pl.col("pull_id") == pull_id) & (pl.col("status") != "left_out")
        pulls = pulls.with_columns(
            status=pl.when(mine).then(pl.lit(status)).otherwise("status"),
            reasons=pl.when(mine).then(pl.concat_list("reasons", pl.lit(reasons, dtype=pl.List(pl.String)))).otherwise("reasons"),
        )
    return replace(aligned, pulls=pulls)
