"""Every pull of a day on one footing: trimmed, lag and inertia undone, in standard air, in rows of 100 rpm."""

from typing import Any

import numpy as np
import polars as pl

from pullbook.alignment.correction import Corrected, correct_day
from pullbook.alignment.lag import torque_lag
from pullbook.alignment.one_pull import READ_CHANNELS, AlignedPull, Footing, align_hold, align_pull, finite, hold_speed
from pullbook.alignment.pull_words import pull_words
from pullbook.alignment.rows import rows_of_holds
from pullbook.alignment.standing_apart import cold_pulls, other_gear
from pullbook.arrays import Array
from pullbook.columns import ALIGNED_PULLS, ROWS, conform
from pullbook.handover import AlignedDay, DayReading
from pullbook.measure.local import local_slope
from pullbook.questions import Remarks
from pullbook.wording import counted, few

RATE_DIFFERENCE = 0.10


def align_day(reading: DayReading) -> AlignedDay:
    """Bring the day's pulls to one footing.

    Parameters
    ----------
    reading
        The day as read: ``samples`` untrimmed, ``pulls`` in the order run.

    Returns
    -------
    AlignedDay
        ``rows`` of every pull that gave any, left-out ones too; the air factor is in ``torque_nm`` and ``se_nm``.
    """
    all_samples = finite(reading.samples, READ_CHANNELS)
    lag, bound = torque_lag(all_samples, finite(reading.coast_downs, READ_CHANNELS))
    footing = Footing(lag[0] if lag else 0.0, _inertia(reading))
    air = correct_day(reading)
    swept = reading.pulls.filter(pl.col("kind") != "hold")["pull_id"].to_list()
    gears = other_gear(all_samples.filter(pl.col("pull_id").is_in(swept)))
    parts = all_samples.select("pull_id", *READ_CHANNELS).partition_by("pull_id", as_dict=True, maintain_order=True)
    samples = {str(key[0]): part for key, part in parts.items()}
    pulls = reading.pulls.sort("order")
    done = {
        row["pull_id"]: align_pull(row, samples.get(row["pull_id"]), footing)
        for row in pulls.iter_rows(named=True)
        if row["kind"] != "hold"
    }
    slope = _day_slope([d.rows for d in done.values()])
    held = pulls.filter(pl.col("kind") == "hold")
    speeds = {p: speed for p in held["pull_id"] if (speed := hold_speed(samples.get(p))) is not None}
    at_row = rows_of_holds(speeds)
    for row in held.iter_rows(named=True):
        done[row["pull_id"]] = align_hold(row, samples.get(row["pull_id"]), slope, at_row.get(row["pull_id"]))
    records, rows = [], []
    for row in pulls.iter_rows(named=True):
        one = done[row["pull_id"]]
        factor = air.factor[row["pull_id"]]
        scaled = one.rows.with_columns(pl.col("torque_nm", "se_nm") * (1.0 if factor is None else factor))
        rows.append(scaled)
        records.append(
            row | _standing(row, one, air, gears) | one.facts | {"air_factor": factor, "mean_torque_nm": scaled["torque_nm"].mean()}
        )
    table = conform(pl.DataFrame(records, schema_overrides=dict(ALIGNED_PULLS)) if records else pl.DataFrame(), ALIGNED_PULLS)
    said = _remarks(reading, table, done, lag, bound, footing)
    called = pull_words(table)
    said.questions += [
        f"{called[p]}: engine and roller turned at {ratio:.2f} to 1, in the other pulls at {usual:.2f}: another gear, or another "
        "ratio entered? Its speed or its torque hang on that, so it is left out. If both are right, leave the roller's column of "
        "that log out (columns.yaml, channel: ignore)"
        for p, (ratio, usual) in gears.items()
    ]
    said.warnings += cold_pulls(table, reading.samples, called)
    return AlignedDay(
        pulls=table,
        rows=pl.concat(rows) if rows else conform(pl.DataFrame(), ROWS),
        lag_s=lag,
        lag_bound_s=bound,
        correction=air.correction,
        questions=(*air.remarks.questions, *said.questions),
        warnings=(*air.remarks.warnings, *said.warnings),
        not_established=(*air.remarks.not_established, *said.not_established),
    )


def _inertia(reading: DayReading) -> float:
    inertia = reading.engine_facts.rotating_inertia_kg_m2
    return float(inertia) if inertia and reading.facts.dyno.kind != "roller" else 0.0


def _day_slope(rows: list[pl.DataFrame]) -> tuple[Array, Array] | None:
    """Slope of the day's median torque curve: (rpm, N·m per rpm); None where no sweep was run."""
    filled = [r for r in rows if not r.is_empty()]
    if not filled:
        return None
    curve = pl.concat(filled).group_by("rpm").agg(pl.col("torque_nm").median()).sort("rpm")
    if len(curve) < 3:
        return None
    rpm, torque = curve["rpm"].to_numpy().astype(float), curve["torque_nm"].to_numpy()
    return rpm, local_slope(rpm, torque, 250.0)


def _standing(row: dict[str, Any], one: AlignedPull, air: Corrected, gears: dict[str, tuple[float, float]]) -> dict[str, Any]:
    """``status`` and ``reasons`` of a pull."""
    reasons = list(one.reasons)
    out = one.rows.is_empty()
    if row["exclude"]:
        reasons.insert(0, f"left out by the sheet: {row['exclude']}")
        out = True
    if row["usable"] is False:
        reasons.insert(0, row["why_not"] or "cannot be used")
        out = True
    if row["pull_id"] in air.unlike:
        reasons.append(air.unlike[row["pull_id"]])
        out = True
    if row["pull_id"] in gears:
        ratio, usual = gears[row["pull_id"]]
        reasons.append(f"engine and roller turned at {ratio:.2f} to 1, the other pulls at {usual:.2f}: another gear or entry")
        out = True
    if row["kind"] == "aborted":
        reasons.append("aborted: used in its own span")
    status = "left_out" if out else "part" if row["kind"] == "aborted" or one.slipped else "used"
    return {"status": status, "reasons": reasons}


def _remarks(
    reading: DayReading,
    pulls: pl.DataFrame,
    done: dict[str, AlignedPull],
    lag: tuple[float, float, float] | None,
    bound: float,
    footing: Footing,
) -> Remarks:
    """What sweep rates, inertia, clocks and lag leave to be asked, warned of and admitted."""
    said = Remarks()
    inertia = reading.engine_facts.rotating_inertia_kg_m2
    sweeps = pulls.filter(pl.col("status").is_in(["used", "part"]) & (pl.col("kind") != "hold"))
    timed = sweeps.filter(pl.col("rpm_per_s").is_not_null())
    if inertia and reading.facts.dyno.kind == "roller":
        said.questions.append(
            f"rotating_inertia_kg_m2 is {inertia:g} on a roller dyno: it is not added. "
            "What lies between crank and torque sensor there?"
        )
    elif footing.inertia_kg_m2 and len(timed):
        said.questions.append(
            f"{inertia:g} kg·m² times the sweep rate was added to torque: does the recorder add it already? "
            "Then take it out of engine.yaml."
        )
    untimed = [p for p, d in done.items() if not d.timed]
    if untimed:
        said.warnings.append(
            f"{counted(len(untimed), 'print-out')} without time: no sweep rate, lag or inertia can be known, "
            "and no noise is told from averaged lines"
        )
        said.not_established.append("sweep rate, torque lag, inertia and sample noise of print-outs without time")
    if len(timed) > 1 and not footing.inertia_kg_m2:
        told = _rates_apart(timed, roller=reading.facts.dyno.kind == "roller")
        said.warnings += [told[0]] if told else []
        said.not_established += [told[1]] if told else []
    if lag is None and len(timed):
        said.not_established.append(f"torque lag: the day's tails do not show one; it is no longer than about {bound:.2f} s")
    return said


def _rates_apart(timed: pl.DataFrame, *, roller: bool) -> tuple[str, str] | None:
    """What to warn of, and what is missing, where pulls swept at rates that differ; None where they went alike.

    On a roller the torque sets the rate, or a brake keeps it: there only a rate that goes neither with the torque nor with the
    other pulls is odd.
    """
    rates, torque = timed["rpm_per_s"].to_numpy(), timed["mean_torque_nm"].to_numpy()
    apart = np.abs(rates / np.median(rates) - 1.0)
    if roller:
        pace = rates / np.where(torque > 0, torque, np.nan)
        apart = np.fmin(apart, np.abs(pace / np.nanmedian(pace) - 1.0))
    called = pull_words(timed)
    odd = [called[p] for p, off in zip(timed["pull_id"], apart, strict=True) if off > RATE_DIFFERENCE]
    if not odd:
        return None
    share, middle = 100.0 * float(np.nanmax(apart)), float(np.median(rates))
    if roller:
        return (
            f"sweep rates do not go with torque, by up to {share:.0f} % ({few(odd)}): another gear, another load on the roller, or "
            "torque in another unit?",
            "one footing of all pulls: on a roller the sweep rate should go with the torque",
        )
    return (
        f"sweep rates differ by up to {share:.0f} % from {middle:.0f} rpm/s ({few(odd)}): "
        "without the rotating inertia (engine.yaml) torque of these pulls is not on the same footing",
        "inertia torque: rotating_inertia_kg_m2 is not given and sweep rates differ",
    )
