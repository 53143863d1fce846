"""Advance as the logs have it: one mean curve a setting, and the way down."""

from dataclasses import dataclass, field

import numpy as np
import polars as pl

from pullbook.alignment.one_pull import finite
from pullbook.arrays import Array
from pullbook.columns import ROW_RPM, holds
from pullbook.handover import AlignedDay, DayReading
from pullbook.measure.local import centred_means, second_differences
from pullbook.timing.strays import find_strays

_FLOOR_DEG = 0.01
_MEDIAN_OF_CHI2 = 0.455  # one degree of freedom
_ROUGHER = 2.0  # a curve this much rougher than the day's others is judged by itself
_UNSEEN_WHITE_DEG = 0.1  # one pull's row, where there are too few to tell

COMMANDED_ONLY = "The logs hold commanded advance only: does the spark follow it? A light reading would tell."
"""Asked until there are light readings."""


@dataclass(frozen=True, slots=True)
class LoggedCurve:
    """A setting's advance as logged, mean of its pulls, every 100 rpm it has.

    ``rpm``, ``advance_deg``, ``sd_deg``: shape (n,), rising; ``pulls``: how many stand behind it.
    """

    setting: str
    rpm: Array
    advance_deg: Array
    sd_deg: Array
    pulls: int

    def at(self, rpm: Array | float) -> Array:
        """Logged advance between the rows; NaN more than 50 rpm outside them.

        Parameters
        ----------
        rpm
            One speed, or any shape of them.

        Returns
        -------
        Array
            Degrees, of the same shape.
        """
        inside = (np.asarray(rpm) >= self.rpm[0] - 50.0) & (np.asarray(rpm) <= self.rpm[-1] + 50.0)
        return np.where(inside, np.interp(rpm, self.rpm, self.advance_deg), np.nan)

    def slope_at(self, rpm: float, reach: float = 250.0) -> float:
        """Slope of a straight line through the rows within ``reach`` rpm, degrees per 1000 rpm; infinite where too few."""
        near = np.abs(self.rpm - rpm) <= reach
        if near.sum() < 3:
            return float("inf")
        x = (self.rpm[near] - self.rpm[near].mean()) / 1000.0
        return float(x @ self.advance_deg[near] / (x @ x))


@dataclass(frozen=True, slots=True)
class LoggedDay:
    """``curves`` by setting; ``strays``: pulls that ran another curve than their setting's others, each its own;
    ``down``: coast-down curves by setting; ``channel``: where it all comes from (None: no log has advance).
    ``mixed``: labels stand on the wrong pulls, so that nothing else is to be read from where log and light of a label part.
    ``aside``: curves of settings whose every pull was left out: no estimate hears them, but a knock note needs the advance.
    """

    curves: dict[str, LoggedCurve]
    strays: dict[str, LoggedCurve]
    down: dict[str, LoggedCurve]
    channel: str | None
    questions: tuple[str, ...]
    aside: dict[str, LoggedCurve] = field(default_factory=dict)
    mixed: bool = False


def logged_day(reading: DayReading, aligned: AlignedDay) -> LoggedDay:
    """The logs' word on advance, in crank degrees, before any offset or delay.

    Parameters
    ----------
    reading, aligned
        The day. Pulls that were left out do not speak for their setting.

    Notes
    -----
    Degrees that engine.yaml calls the distributor's come doubled from the reader; nothing is doubled here.
    """
    questions: list[str] = []
    channel = _which_channel(aligned.rows, questions)
    if channel is None:
        return LoggedDay({}, {}, {}, None, tuple(questions))
    speaking = aligned.pulls.filter((pl.col("status") != "left_out") & pl.col("setting").is_not_null()).select("pull_id", "setting")
    table = aligned.rows.join(speaking, on="pull_id").filter(pl.col(channel).is_not_null())
    table = table.select("pull_id", "setting", "rpm", a=pl.col(channel))
    strays = find_strays(table, aligned.pulls)
    questions += strays.questions
    curves = _mean_curves(table.filter(~pl.col("pull_id").is_in(strays.label_of)))
    own = {p: _mean_curves(table.filter(pl.col("pull_id") == p))[s] for p, s in strays.label_of.items()}
    down = {} if channel != "advance_log_deg" else _way_down(reading, speaking.filter(~pl.col("pull_id").is_in(strays.label_of)))
    aside = _aside(aligned, channel, set(speaking["setting"]))
    return LoggedDay(curves, own, down, channel, tuple(questions), aside, strays.mixed)


def _aside(aligned: AlignedDay, channel: str, speaking: set[str]) -> dict[str, LoggedCurve]:
    """Curves of the settings that only pulls left out ran, where their logs can be trusted."""
    silent = aligned.pulls.filter(pl.col("setting").is_not_null() & pl.col("usable").fill_null(value=True))
    silent = silent.filter(~pl.col("setting").is_in(list(speaking))).select("pull_id", "setting")
    rows = aligned.rows.join(silent, on="pull_id").filter(pl.col(channel).is_not_null())
    return _mean_curves(rows.select("pull_id", "setting", "rpm", a=pl.col(channel)))


def _which_channel(rows: pl.DataFrame, questions: list[str]) -> str | None:
    """The advance the log reports where it does, else the commanded one; a question where both stand and part."""
    both = rows.filter(pl.col("advance_log_deg").is_not_null() & pl.col("advance_commanded_deg").is_not_null())
    if len(both):
        gap = float(np.median((both["advance_commanded_deg"] - both["advance_log_deg"]).to_numpy()))
        if abs(gap) > 0.5:
            questions.append(
                f"Commanded advance stands {gap:+.1f}° against the advance the log reports: which one did the spark get? "
                "The reported one is used."
            )
    if holds(rows, "advance_log_deg"):
        return "advance_log_deg"
    if holds(rows, "advance_commanded_deg"):
        questions.append(COMMANDED_ONLY)
        return "advance_commanded_deg"
    return None


def _mean_curves(table: pl.DataFrame) -> dict[str, LoggedCurve]:
    """Mean curve of every setting in ``table`` (pull_id, setting, rpm, a).

    All come from one channel, so all tell of its noise together: forty rows alone know it to a fifth only.
    """
    means, noise, pulls = {}, {}, {}
    for key, part in table.partition_by("setting", as_dict=True, maintain_order=True).items():
        rows = part.group_by("rpm").agg(pl.col("a").mean(), pl.len().alias("n")).sort("rpm")
        means[str(key[0])], pulls[str(key[0])] = rows, int(part["pull_id"].n_unique())
        noise[str(key[0])] = _one_pulls_variances(rows["a"].to_numpy(), rows["n"].to_numpy().astype(float))
    white = _white(np.concatenate(list(noise.values()))) if noise else 0.0
    out = {}
    for setting, rows in means.items():
        alone = _white(noise[setting])
        sd = (alone if alone > _ROUGHER * white else white) / np.sqrt(rows["n"].to_numpy())
        rpm, advance = rows["rpm"].to_numpy().astype(float), rows["a"].to_numpy()
        out[setting] = LoggedCurve(setting, rpm, advance, np.maximum(sd, _FLOOR_DEG), pulls[setting])
    return out


def _one_pulls_variances(advance: Array, pulls: Array) -> Array:
    """Variance of one pull's row as each three neighbours tell it, deg² (m,), where ``pulls`` stand behind each mean."""
    weights = 1.0 / pulls
    spread = np.full(len(pulls), np.nan)
    spread[1:-1] = (weights[:-2] + 4.0 * weights[1:-1] + weights[2:]) / 6.0
    seen: Array = second_differences(advance) / spread
    return np.asarray(seen[np.isfinite(seen)])


def _white(variances: Array) -> float:
    """SD of one pull's row, degrees: the median leaves the corners of the curve aside."""
    return float(np.sqrt(np.median(variances) / _MEDIAN_OF_CHI2)) if len(variances) >= 3 else _UNSEEN_WHITE_DEG


def _way_down(reading: DayReading, speaking: pl.DataFrame) -> dict[str, LoggedCurve]:
    """Logged advance on the coast-downs, throttle shut: the weights' way back (and the vacuum's, where there is one)."""
    coasts = finite(reading.coast_downs, ("rpm", "advance_deg"))
    if not holds(coasts, "advance_deg"):
        return {}
    coasts = coasts.join(speaking, on="pull_id").filter(pl.col("advance_deg").is_not_null() & pl.col("rpm").is_not_null())
    out = {}
    for key, part in coasts.partition_by("setting", as_dict=True, maintain_order=True).items():
        if len(part) < 5:
            continue
        rpm, advance = part["rpm"].to_numpy().astype(float), part["advance_deg"].to_numpy().astype(float)
        cell, mean, _, n = centred_means(rpm, advance, float(ROW_RPM))
        sd = np.maximum(0.2 / np.sqrt(n), _FLOOR_DEG)
        out[str(key[0])] = LoggedCurve(str(key[0]), (cell * ROW_RPM).astype(float), mean, sd, int(part["pull_id"].n_unique()))
    return out
