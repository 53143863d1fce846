"""The truth about timing: from aligned pulls and delivered advance to best advance, effects, repeatability and the ceiling."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import polars as pl

from pullbook.alignment.pull_words import pull_words
from pullbook.arrays import Array, Mask
from pullbook.baseline import reference_of
from pullbook.belief import Prior
from pullbook.findings.answers import APART_DEG, best_table
from pullbook.findings.at_odds import at_odds
from pullbook.findings.effects import effects_table
from pullbook.findings.knock import ceiling, knock_table
from pullbook.findings.levels import offsets_table, residuals_table, setting_curves_table
from pullbook.findings.own_figures import own_figures
from pullbook.findings.repeatability import repeatability
from pullbook.findings.rough_day import rough_day
from pullbook.findings.what_is_missing import what_is_missing
from pullbook.handover import AlignedDay, BestDay, DayReading, DeliveredDay, Posterior
from pullbook.hill.abnormal import Abnormal, find_abnormal
from pullbook.hill.day_table import DayTable, day_table, usable
from pullbook.hill.fit import HillFit, fit_hill
from pullbook.hill.own_effects import OwnEffects, find_own_effects


@dataclass(frozen=True, slots=True)
class _Modelled:
    fit: HillFit | None
    own: OwnEffects
    abnormal: Abnormal
    clean: DayTable


def best_advance(reading: DayReading, aligned: AlignedDay, delivered: DeliveredDay, prior: Prior) -> BestDay:
    """Estimate a day.

    Parameters
    ----------
    reading
        Facts, limits, seed and the samples (for a knock channel).
    aligned
        Pulls on one footing.
    delivered
        The advance each pull ran, with its doubt.
    prior
        From :mod:`pullbook.hill.prior`.

    Returns
    -------
    BestDay
        Whatever the day supports: a day without usable pulls, without known advance or with one setting gives nulls and
        says why.
    """
    limits = reading.facts.limits
    table = day_table(aligned, delivered)
    baseline = reference_of(aligned.pulls, pl.col("pull_id").is_in(table.pull_id))
    modelled = _model(table, baseline, prior, reading.seed)
    fit = modelled.fit
    knock, knock_questions = knock_table(aligned, reading.samples)
    tested = tested_by_row(modelled.clean)
    by_pull = _advance_by_pull(delivered)
    roof = ceiling(
        knock, advance_by_setting(tested, delivered), tested, margin_deg=limits.margin_below_knock_deg,
        limit_deg=reading.engine_facts.max_advance_deg, limit_note=reading.engine_facts.max_advance_note,
        by_pull=by_pull,
    )  # fmt: skip
    used_rpm = reading.engine_facts.used_rpm
    posterior = _posterior(fit, modelled.own.unknown)
    edges = {n: (min(run.values()), max(run.values())) for n, run in tested.items()}
    rows = _rows_of_report(table, used_rpm)
    best = best_table(posterior, rows, roof.caps, limits.tolerance_pct / 100, edges)
    means = {} if fit is None else fit.means
    rpm = [] if fit is None else fit.table.rpm.tolist()
    heard = [i for i, present in enumerate(modelled.clean.present) if present.any()]
    pulls, repeats = len(heard), len(heard) - len({table.setting[i] for i in heard})
    empty = np.zeros(0)
    said = what_is_missing(aligned, table, modelled.own, knock, modelled.abnormal, baseline)
    rough = rough_day(fit, prior, pull_words(aligned.pulls))
    return BestDay(
        best=best,
        effects=effects_table(means, rpm, baseline, used_rpm, limits.tolerance_pct),
        knock=knock,
        ceiling=roof.table,
        repeatability=repeatability(empty if fit is None else fit.sd, empty if fit is None else fit.drift, pulls, repeats, prior),
        posterior=posterior,
        prior=prior,
        own=own_figures(fit, prior, reading),
        residuals=residuals_table(table, fit, modelled.abnormal.mask),
        offsets=offsets_table(fit),
        setting_curves=setting_curves_table(fit),
        abnormal=modelled.abnormal.table,
        rough=rough is not None,
        questions=(*said.questions, *([] if rough is None else [rough]), *knock_questions, *at_odds(aligned, knock, by_pull)),
        warnings=tuple(said.warnings),
        not_established=tuple(said.not_established),
    )


def _model(table: DayTable, baseline: str | None, prior: Prior, seed: int) -> _Modelled:
    abnormal = find_abnormal(table, prior, find_own_effects(table, baseline).settings)
    clean = table.where(~abnormal.mask)
    own = find_own_effects(clean, baseline)
    known = np.isfinite(clean.advance) & clean.present
    on_hill = clean.where(usable(clean))
    with_hill = bool((_spread(on_hill) >= APART_DEG).any())
    stood_in = _stand_in(clean, known) if with_hill else np.nan_to_num(clean.advance)
    filled = DayTable(
        clean.pull_id, clean.setting, clean.order, clean.rpm, clean.ln_torque, clean.white, stood_in,
        np.where(known[:, :, None], clean.modes, 0.0), clean.present,
    )  # fmt: skip
    filled = filled.where(usable(filled))
    filled = filled.of(np.flatnonzero(filled.present.any(axis=1)))
    if len(filled.pull_id) < 2:
        return _Modelled(None, own, abnormal, clean)
    fit = fit_hill(filled, prior, np.random.default_rng([seed, 4]), own, hill=with_hill)
    return _Modelled(fit, own, abnormal, clean)


def _spread(table: DayTable) -> Array:
    """Widest difference of advance at each row (R,)."""
    hi = np.where(table.present, table.advance, -np.inf).max(axis=0, initial=-np.inf)
    lo = np.where(table.present, table.advance, np.inf).min(axis=0, initial=np.inf)
    return np.where(np.isfinite(hi - lo), hi - lo, 0.0)


def _stand_in(table: DayTable, known: Mask) -> Array:
    """Advance with the row's mean where a setting's is unknown: its own effect takes up the difference."""
    count = known.sum(axis=0)
    mean = np.where(known, table.advance, 0.0).sum(axis=0) / np.maximum(count, 1)
    whole = np.array([not known[i].any() for i in range(len(known))])
    return np.where(known, table.advance, np.where(whole[:, None] & (count > 0), mean, np.nan))


def tested_by_row(table: DayTable) -> dict[int, dict[str, float]]:
    """Rpm -> setting -> mean advance, crank degrees, of its used pulls; rows and settings without any are absent; rpm rising."""
    out: dict[int, dict[str, float]] = {}
    for setting, advance in table.setting_advance().items():
        for rpm, value in zip(table.rpm.tolist(), advance.tolist(), strict=True):
            if np.isfinite(value):
                out.setdefault(rpm, {})[setting] = value
    return dict(sorted(out.items()))


def advance_by_setting(tested: Mapping[int, Mapping[str, float]], delivered: DeliveredDay) -> dict[str, dict[int, float]]:
    """Setting -> rpm -> advance, crank degrees: what the pulls ran (``tested``), else the delivered curve rising."""
    out: dict[str, dict[int, float]] = {}
    curves = delivered.delivered.filter(pl.col("direction").is_in(["up", "both"]) & pl.col("advance_deg").is_not_null())
    for setting, rpm, value in curves.select("setting", "rpm", "advance_deg").iter_rows():
        out.setdefault(setting, {})[rpm] = value
    for rpm, run in tested.items():
        for setting, value in run.items():
            out.setdefault(setting, {})[rpm] = value
    return out


def _advance_by_pull(delivered: DeliveredDay) -> dict[str, dict[int, float]]:
    """Advance every used pull ran, by pull and row: a pull that ran another curve than its setting's knocked at its own."""
    out: dict[str, dict[int, float]] = {}
    for pull_id, rpm, value in delivered.pull_advance.drop_nulls("advance_deg").select("pull_id", "rpm", "advance_deg").iter_rows():
        out.setdefault(pull_id, {})[rpm] = value
    return out


def _posterior(fit: HillFit | None, unknown: tuple[str, ...]) -> Posterior | None:
    if fit is None or fit.best is None or fit.k is None or fit.skew is None:
        return None
    ran = np.array([a for s, a in fit.table.setting_advance().items() if s not in unknown])
    some = np.isfinite(ran)
    lo = np.where(some.any(axis=0), np.where(some, ran, np.inf).min(axis=0), np.nan)
    hi = np.where(some.any(axis=0), np.where(some, ran, -np.inf).max(axis=0), np.nan)
    return Posterior(
        rpm=fit.table.rpm, best_deg=fit.best, k=fit.k, skew=fit.skew, pull_sd=fit.sd, drift=fit.drift, log_torque=fit.top,
        tested_lo_deg=lo, tested_hi_deg=hi, setting_means=fit.means, scale_deg=fit.scale,
        likeliest_deg=fit.likeliest,
    )  # fmt: skip


def _rows_of_report(table: DayTable, used_rpm: tuple[float, float] | None) -> list[int]:
    """Every 100-rpm row of the tested and of the used span."""
    ends = [int(n) for n in (table.rpm.min(), table.rpm.max())] if len(table.rpm) else []
    if used_rpm is not None:
        ends += [int(-(-used_rpm[0] // 100) * 100), int(used_rpm[1] // 100 * 100)]
    return list(range(min(ends), max(ends) + 1, 100)) if ends else []
