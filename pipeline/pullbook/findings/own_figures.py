"""A day's own figures for the archive: plain numbers from which later days' priors are pooled."""

from math import log
from typing import Any

import numpy as np

from pullbook.handover import DayReading, Prior
from pullbook.hill.fit import HillFit
from pullbook.hill.prior import own_figure

WORTH_KEEPING_DEG = 4.0  # a best advance known worse than this says nothing to later days


def own_figures(fit: HillFit | None, prior: Prior, reading: DayReading) -> dict[str, Any]:
    """Figures with the prior they were estimated under divided out; without a fit only who and how many.

    ``ln_pull_sd`` is ln of a fraction; ``ln_k`` ln of 1/°² at ``k_rpm``; ``k_slope`` of ln k per 1000 rpm; ``skew`` 1/°;
    each with the SD of what the day alone says.
    """
    facts = reading.facts
    out: dict[str, Any] = {
        "engine": reading.engine, "day": reading.day, "dyno": facts.dyno.name, "dyno_kind": facts.dyno.kind, "pulls": 0,
        "prior_source": prior.source,
    }  # fmt: skip
    if fit is None:
        return out
    out["pulls"] = len(fit.table.pull_id)
    out |= own_figure("ln_pull_sd", np.log(fit.sd), log(prior.sd_median), prior.sd_log_sd)
    out["wander"] = fit.within.wander
    if fit.k is None or fit.skew is None:
        return out
    rpm = fit.table.rpm.astype(float)
    middle = float(rpm.min() + rpm.max()) / 2
    ln_k = np.log(fit.k)
    at = np.array([np.interp(middle, rpm, row) for row in ln_k])
    away = prior.k_slope_sd * (middle - prior.k_rpm) / 1000.0 if prior.k_rpm else 0.0
    mean = log(prior.k_median) + (prior.k_slope * (middle - prior.k_rpm) / 1000.0 if prior.k_rpm else 0.0)
    out["k_rpm"] = middle
    out |= own_figure("ln_k", at, mean, float(np.hypot(prior.k_log_sd, away)))
    if len(rpm) > 4:
        x = (rpm - rpm.mean()) / 1000.0
        out |= own_figure("k_slope", (ln_k @ x) / (x @ x), prior.k_slope, prior.k_slope_sd)
    out |= own_figure("skew", fit.skew, prior.skew_mean, prior.skew_sd)
    out |= {"fuel": facts.fuel, "plugs": facts.plugs, "mixture": facts.mixture}
    out = {name: value if not isinstance(value, float) else round(value, 10) for name, value in out.items()}
    return out | _best_at_anchors(fit)


def _best_at_anchors(fit: HillFit) -> dict[str, Any]:
    """Best advance at whole thousands of rpm (and the middle of a short span): mean and covariance, true degrees."""
    if fit.best is None:
        return {}
    rpm = fit.table.rpm.astype(float)
    anchors = [float(n) for n in range(1000 * int(-(-rpm.min() // 1000)), int(rpm.max()) + 1, 1000)]
    anchors = anchors or [float(round((rpm.min() + rpm.max()) / 200) * 100)]
    draws = np.array([[np.interp(n, rpm, row) for n in anchors] for row in fit.best + fit.scale])
    known = np.flatnonzero(draws.std(axis=0) < WORTH_KEEPING_DEG)
    if not len(known):
        return {}
    cov = np.atleast_2d(np.cov(draws[:, known].T))
    return {
        "best_rpm": [anchors[i] for i in known], "best_deg": np.round(draws[:, known].mean(axis=0), 4).tolist(),
        "best_cov": np.round(cov, 6).tolist(),
    }  # fmt: skip
