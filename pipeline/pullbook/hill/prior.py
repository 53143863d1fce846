"""What is known before a day's pulls are looked at: trade defaults, or what the archive's earlier days agree on.

Each day leaves its own figures in the archive: ln of the pull SD and ln of the curvature, each with the SD of the day's
likelihood alone (the prior it was estimated under divided out again, so that nothing is counted twice). Pooling is random-effects
meta-analysis with the default as one more study: days scatter around the dyno's or the engine's own value.

Source: DerSimonian and Laird, Controlled Clinical Trials 7 (1986), 177–188; the between-day SDs are stated, not estimated,
because a shop has few days.
"""

from collections.abc import Sequence
from dataclasses import replace
from math import exp, isfinite, log, sqrt
from typing import Any

import numpy as np

from pullbook.arrays import Array
from pullbook.belief import EarlierHill, Prior
from pullbook.facts import DayFacts
from pullbook.hill.earlier_days import day_scatter
from pullbook.hill.told import FORM, Told, kept_of, together, told_of

USUAL_SD = {"engine": 0.006, "roller": 0.015, "hub": 0.010}
SD_UNSTATED = 0.008
FACTOR_TWO = log(2.0)
K_USUAL, K_LOG_SD = 3e-4, log(1.45)
BETWEEN_DAYS = 0.20  # ln: how much a dyno's pull SD differs from day to day


def default(facts: DayFacts) -> Prior:
    """The stated default: 0.6 % of pull SD on an engine dyno, 1.5 % on rollers, or what day.yaml says."""
    stated = facts.dyno.repeatability_pct
    if stated is not None and isfinite(stated) and stated > 0:
        return Prior(min(max(stated / 100, 5e-4), 0.1), 0.35, K_USUAL, K_LOG_SD)
    return Prior(USUAL_SD.get(facts.dyno.kind or "", SD_UNSTATED), FACTOR_TWO, K_USUAL, K_LOG_SD)


def own_figure(name: str, values: Array, mean: float, sd: float) -> dict[str, float]:
    """A day's own figure for the archive: the prior it was estimated under divided out.

    Parameters
    ----------
    name
        Key of the figure.
    values
        Posterior draws, (D,).
    mean, sd
        Of the normal prior they were made under, same unit.

    Returns
    -------
    dict
        ``name`` and ``name_sd``. Where the day says next to nothing the SD comes out very wide, never infinite.
    """
    middle, spread = float(np.mean(values)), max(float(np.std(values)), 1e-6)
    told = 1.0 / spread**2 - 1.0 / sd**2
    least = 0.02 / sd**2
    weight = max(told, least)
    own = (middle / spread**2 - mean / sd**2) / weight if told > least else middle
    return {name: own, f"{name}_sd": 1.0 / sqrt(weight)}


def _pooled(history: Sequence[dict[str, Any]], name: str, mean: float, sd: float, between: float) -> tuple[float, float, int]:
    """Normal for a new day's value of a figure: mean, SD, days used."""
    weight, total, days = 1.0 / sd**2, mean / sd**2, 0
    for day in history:
        value, error = day.get(name), day.get(f"{name}_sd")
        if not isinstance(value, int | float) or not isinstance(error, int | float) or not (isfinite(value) and error > 0):
            continue
        told = 1.0 / (error**2 + between**2)
        weight, total, days = weight + told, total + told * value, days + 1
    return total / weight, sqrt(1.0 / weight + between**2 * (days > 0)), days


def pool(reading_facts: DayFacts, engine: str, history: list[dict[str, Any]]) -> Prior:
    """The prior that earlier days leave for a new one.

    Parameters
    ----------
    reading_facts
        Facts of the new day; its dyno's name says which days' repeatability counts.
    engine
        Folder name of the engine, whose curvature is pooled whatever the dyno.
    history
        ``own`` figures of earlier days, each with ``engine``, ``day`` and ``dyno``; the new day itself must not be in it.
    """
    base = default(reading_facts)
    same_engine = [h for h in history if h.get("engine") == engine]
    name = reading_facts.dyno.name
    same_dyno = [h for h in history if (h.get("dyno") == name if name else h.get("dyno") is None and h in same_engine)]
    if not same_engine and not same_dyno:
        return base
    ln_sd, ln_sd_sd, sd_days = _pooled(same_dyno, "ln_pull_sd", log(base.sd_median), base.sd_log_sd, BETWEEN_DAYS)
    told = earlier_hill(same_engine, reading_facts)
    if not sd_days and told is None:
        return base
    used = {f"{h.get('engine')}/{h.get('day')}" for h in same_engine + same_dyno}
    pulls = sum(int(h.get("pulls") or 0) for h in same_dyno)
    return replace(
        base, sd_median=exp(ln_sd), sd_log_sd=ln_sd_sd, source="archive", pulls=pulls, frozen_from=tuple(sorted(used)),
        earlier=told, k_expected=None if told is None else _curvature(told, base),
    )  # fmt: skip


def earlier_hill(history: Sequence[dict[str, Any]], facts: DayFacts) -> EarlierHill | None:
    """What all earlier days of the engine say of its hill, days scattering around it.

    Days run on other fuel, plugs or mixture than the new one count with a wider scatter. None where no day says anything.
    """
    days, scatters = [], []
    for day in history:
        said = _said(day.get("hill"))
        if said is not None:
            changed = any(day.get(n) != getattr(facts, n) for n in ("fuel", "plugs", "mixture"))
            days.append(said)
            scatters.append(day_scatter(said.rpm, changed))
    if not days:
        return None
    plain = kept_of(together(days, scatters))
    return EarlierHill(
        tuple(plain["rpm"]), plain["k_rpm"], tuple(tuple(row) for row in plain["weight"]), tuple(plain["towards"])
    )  # fmt: skip


def _said(kept: object) -> Told | None:
    """A day's own figures of the hill, None where they are not what this version writes."""
    try:
        told = told_of(EarlierHill(**kept))  # type: ignore[arg-type]
    except (TypeError, ValueError):
        return None
    size = len(told.rpm) + FORM if told.rpm.ndim == 1 else -1
    whole = told.weight.shape == (size, size) and told.towards.shape == (size,)
    return told if whole and np.isfinite(told.weight).all() and np.isfinite(told.towards).all() else None


def _curvature(told: EarlierHill, base: Prior) -> float:
    """Curvature expected of a new day, 1/°²: the default and the earlier days together."""
    form = told_of(told).at(np.array([], dtype=np.intp))
    said = form.scattered(day_scatter(form.rpm))
    sd = np.array([base.k_log_sd, base.k_slope_sd, base.skew_sd])
    mean = np.array([log(base.k_median), 0.0, 0.0])
    return exp(float(np.linalg.solve(said.weight + np.diag(sd**-2), said.towards + mean / sd**2)[0]))
