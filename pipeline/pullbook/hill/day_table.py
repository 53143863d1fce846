"""The pulls of a day as rectangular arrays, pull by rpm row, for the model of the day."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import polars as pl

from pullbook.arrays import Array, Mask
from pullbook.handover import AlignedDay, DeliveredDay

WHITE_UNKNOWN = 0.0015  # of torque: a row's sample noise where the log cannot tell
WHITE_LEAST = 0.0003
ROWS_ENOUGH = 26  # more rows than this are joined two or three to one: the wander inside a pull is alike over 300 rpm


@dataclass(frozen=True, slots=True)
class DayTable:
    """P pulls by R rows of ``rpm`` (R,); ``order`` (P,) is the place in the order run.

    (P, R) are ``ln_torque`` (of N·m), ``white`` (variance of it), ``advance`` (crank degrees, NaN unknown) and ``present`` (whether
    there are data); ``modes`` (P, R, J): one-SD shifts of the advance, degrees.
    """

    pull_id: tuple[str, ...]
    setting: tuple[str, ...]
    order: Array
    rpm: npt.NDArray[np.int64]
    ln_torque: Array
    white: Array
    advance: Array
    modes: Array
    present: Mask

    def where(self, mask: Mask) -> "DayTable":
        """The same day with data outside ``mask`` (P, R) taken away; pulls and rows keep their places."""
        return DayTable(
            self.pull_id, self.setting, self.order, self.rpm, self.ln_torque, self.white, self.advance, self.modes,
            self.present & mask,
        )  # fmt: skip

    def of(self, pulls: npt.ArrayLike) -> "DayTable":
        """The same day with only some ``pulls``, by place or as a mask (P,)."""
        keep = np.asarray(pulls, int)
        return DayTable(
            tuple(self.pull_id[i] for i in keep), tuple(self.setting[i] for i in keep), self.order[keep], self.rpm,
            self.ln_torque[keep], self.white[keep], self.advance[keep], self.modes[keep], self.present[keep],
        )  # fmt: skip

    def settings(self) -> list[str]:
        """Labels in the order first run."""
        return list(dict.fromkeys(self.setting))

    def setting_advance(self) -> dict[str, Array]:
        """Mean advance of each setting at each row, degrees, (R,), NaN where it was not run or nothing is known."""
        return {s: _mean(self.advance, self.mask_of(s) & np.isfinite(self.advance)) for s in self.settings()}

    def mask_of(self, setting: str) -> Mask:
        """Which data are of one ``setting``, (P, R)."""
        return np.asarray(self.present & (np.array(self.setting) == setting)[:, None])


def _mean(values: Array, mask: Mask) -> Array:
    count = mask.sum(axis=0)
    total = np.where(mask, values, 0.0).sum(axis=0)
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)


def day_table(aligned: AlignedDay, delivered: DeliveredDay) -> DayTable:
    """Every pull that may be used, whether or not its advance is known.

    Parameters
    ----------
    aligned
        Pulls with status ``used`` or ``part`` and their rows; torque must be above zero to count.
    delivered
        Advance of each pull at each row and the joint doubt of all of them.

    Notes
    -----
    Holds of one log and setting, one at every rpm, are one pull: what shifts a pull as a whole (heat, the load cell's zero) shifts
    them together, and counting each by itself would make a run of eight speeds look like eight repeats. Their order is that of
    the runs.
    """
    pulls = aligned.pulls.filter(pl.col("status").is_in(["used", "part"])).sort("order")
    rows = aligned.rows.filter(pl.col("torque_nm").is_finite() & (pl.col("torque_nm") > 0)).join(
        pulls.select("pull_id"), on="pull_id", how="semi"
    )
    leads = _leading_holds(pulls, rows)
    rows = rows.with_columns(pl.col("pull_id").replace(leads))
    ran = set(rows["pull_id"].unique().to_list())
    pulls = pulls.filter(pl.col("pull_id").is_in(list(ran)))
    ids = pulls["pull_id"].to_list()
    rpm = np.array(sorted(set(rows["rpm"].to_list())), dtype=np.int64)
    shape = (len(ids), len(rpm))
    ln_torque, white = np.zeros(shape), np.full(shape, WHITE_UNKNOWN**2)
    advance = np.full(shape, np.nan)
    modes = np.zeros((*shape, delivered.modes.shape[1] if delivered.modes.ndim == 2 else 0))
    present = np.zeros(shape, bool)
    place = {p: i for i, p in enumerate(ids)}
    at_pull = np.array([place[p] for p in rows["pull_id"].to_list()], int)
    at_row = np.searchsorted(rpm, rows["rpm"].to_numpy())
    torque = rows["torque_nm"].to_numpy()
    error = rows["se_nm"].fill_null(float("nan")).to_numpy() / torque
    ln_torque[at_pull, at_row] = np.log(torque)
    white[at_pull, at_row] = np.where(np.isfinite(error), np.maximum(error, WHITE_LEAST), WHITE_UNKNOWN) ** 2
    present[at_pull, at_row] = True
    said = delivered.pull_advance.with_row_index("mode").with_columns(pl.col("pull_id").replace(leads))
    known = said.filter(pl.col("advance_deg").is_finite() & pl.col("pull_id").is_in(ids) & pl.col("rpm").is_in(rpm.tolist()))
    at_pull = np.array([place[p] for p in known["pull_id"].to_list()], int)
    at_row = np.searchsorted(rpm, known["rpm"].to_numpy())
    advance[at_pull, at_row] = known["advance_deg"].to_numpy()
    if modes.shape[2]:
        modes[at_pull, at_row] = delivered.modes[known["mode"].to_numpy()]
    settings = tuple(s or "" for s in pulls["setting"].to_list())
    order = _by_runs(pulls["order"].to_numpy().astype(float), aligned.pulls, leads)
    return DayTable(tuple(ids), settings, order, rpm, ln_torque, white, advance, modes, present)


def _leading_holds(pulls: pl.DataFrame, rows: pl.DataFrame) -> dict[str, str]:
    """First hold of its run for every hold, by pull_id. A speed held again begins another run."""
    held = pulls.filter(pl.col("kind") == "hold").select("pull_id", "file", "setting", "order")
    at = rows.group_by("pull_id").agg(pl.col("rpm").first())
    runs = held.join(at, on="pull_id").sort("order").with_columns(run=pl.int_range(pl.len()).over("file", "setting", "rpm"))
    lead = runs.with_columns(lead=pl.col("pull_id").first().over("file", "setting", "run"))
    return dict(lead.select("pull_id", "lead").iter_rows())


def _by_runs(order: Array, pulls: pl.DataFrame, leads: dict[str, str]) -> Array:
    """``order`` (P,) with every run of holds counted once: drift goes with what a whole pull does to an engine."""
    later = pulls.filter(pl.col("pull_id").is_in([hold for hold, lead in leads.items() if hold != lead]))["order"]
    return np.asarray(order - np.searchsorted(later.sort().to_numpy(), order))


def common_shape(table: DayTable) -> tuple[Array, Array]:
    """Additive fit of pulls and rows by turns: the torque curve all pulls share, and the level of each pull.

    Returns
    -------
    tuple of Array
        ln T of the curve, (R,), and of the levels, (P,); zero where a row or a pull has no data.
    """
    shape = np.zeros(len(table.rpm))
    level = np.zeros(len(table.pull_id))
    for _ in range(12):
        shape = np.nan_to_num(_mean(table.ln_torque - level[:, None], table.present))
        level = np.nan_to_num(_mean((table.ln_torque - shape).T, table.present.T))
    return shape, level


def usable(table: DayTable) -> Mask:
    """Data the hill can learn from, (P, R): advance known and at least two such pulls at the row."""
    known = table.present & np.isfinite(table.advance)
    out: Mask = known & (known.sum(axis=0) >= 2)
    return out


def tested_middle(table: DayTable) -> float:
    """Middle of the advances run, degrees: half-way between the least and the most at each row, averaged over rows."""
    some = table.present.any(axis=0)
    run, present = table.advance[:, some], table.present[:, some]
    lo, hi = np.where(present, run, np.inf).min(axis=0), np.where(present, run, -np.inf).max(axis=0)
    return float(((lo + hi) / 2).mean())


def split_modes(table: DayTable) -> tuple[Array, Array]:
    """Timing doubts common to all pulls at a row (R, J), and what is left of them pull by pull (P, R, J).

    The common part moves what was tested and what is best alike: it needs no likelihood.
    """
    count = np.maximum(table.present.sum(axis=0), 1)[:, None]
    kept = np.where(table.present[:, :, None], table.modes, 0.0)
    common = kept.sum(axis=0) / count
    return common, np.where(table.present[:, :, None], table.modes - common, 0.0)


def joined(table: DayTable, shape: Array, most: int = ROWS_ENOUGH) -> DayTable:
    """The table on fewer rows: means of neighbouring rows of ``ln_torque − shape``, so that a gap shifts nothing.

    Days of few rows are handed back as they are, less ``shape`` (R,).
    """
    level = np.where(table.present, table.ln_torque - shape, 0.0)
    groups = _groups(table.rpm, most)
    count = np.stack([table.present[:, g].sum(axis=1) for g in groups], axis=1)
    share = np.maximum(count, 1)

    def mean(values: Array) -> Array:
        mask = table.present if values.ndim == 2 else table.present[:, :, None]
        kept = np.where(mask, values, 0.0)
        total = np.stack([kept[:, g].sum(axis=1) for g in groups], axis=1)
        return np.asarray(total / (share if values.ndim == 2 else share[:, :, None]))

    rpm = np.array([round(float(table.rpm[g].mean())) for g in groups], dtype=np.int64)
    return DayTable(
        table.pull_id, table.setting, table.order, rpm, mean(level), mean(table.white) / share,
        mean(np.nan_to_num(table.advance)), mean(table.modes), count > 0,
    )  # fmt: skip


def _groups(rpm: npt.NDArray[np.int64], most: int) -> Sequence[npt.NDArray[np.int64]]:
    width = max(1, -(-len(rpm) // most)) * 100
    number = (rpm - rpm.min()) // width if len(rpm) else rpm
    return [np.flatnonzero(number == n) for n in np.unique(number)]
