"""Defaults, a day's own figures with the prior divided out, and what pooling makes of them."""

from math import log

import numpy as np
import pytest

from pullbook.facts import DayFacts, Dyno
from pullbook.hill.prior import K_LOG_SD, K_USUAL, default, own_figure, pool

FACTS = DayFacts(dyno=Dyno(name="bench", kind="engine"))


def own(**more: object) -> dict[str, object]:
    figures = {
        "engine": "blue", "day": "2031-04-05", "dyno": "bench", "pulls": 9, "ln_pull_sd": log(0.004), "ln_pull_sd_sd": 0.3,
        "ln_k": log(2.4e-4), "ln_k_sd": 0.15, "k_rpm": 4000.0, "k_slope": 0.0, "k_slope_sd": 0.05, "skew": -0.002, "skew_sd": 0.004,
        "best_rpm": [3000.0, 4000.0], "best_deg": [31.0, 33.0], "best_cov": [[0.5, 0.3], [0.3, 0.4]],
    }  # fmt: skip
    return figures | more


@pytest.mark.parametrize(("kind", "sd"), [("engine", 0.006), ("roller", 0.015), (None, 0.008)])
def test_defaults_by_kind_of_dyno(kind: str | None, sd: float) -> None:
    assert default(DayFacts(dyno=Dyno(kind=kind))).sd_median == sd  # type: ignore[arg-type]


def test_a_stated_repeatability_is_believed() -> None:
    stated = default(DayFacts(dyno=Dyno(kind="roller", repeatability_pct=0.4)))
    assert stated.sd_median == pytest.approx(0.004)
    assert stated.sd_log_sd < 0.5


def test_dividing_the_prior_out_gives_back_the_likelihood() -> None:
    """Likelihood N(1, 0.5²) times prior N(0, 1²) is N(0.8, 0.447²)."""
    rng = np.random.default_rng(0)
    draws = 0.8 + np.sqrt(0.2) * rng.standard_normal(200_000)
    figure = own_figure("x", draws, 0.0, 1.0)
    assert figure["x"] == pytest.approx(1.0, abs=0.02)
    assert figure["x_sd"] == pytest.approx(0.5, abs=0.01)


def test_a_day_that_says_nothing_adds_next_to_nothing() -> None:
    figure = own_figure("x", np.random.default_rng(0).standard_normal(20_000), 0.0, 1.0)
    assert figure["x_sd"] > 5.0


def test_no_history_is_the_default() -> None:
    assert pool(FACTS, "blue", []) == default(FACTS)


def test_earlier_days_sharpen_and_pull() -> None:
    one, two = pool(FACTS, "blue", [own()]), pool(FACTS, "blue", [own(), own(day="2031-05-01")])
    assert one.source == "archive"
    assert one.frozen_from == ("blue/2031-04-05",)
    assert 0.004 < two.sd_median < one.sd_median < 0.006
    assert two.k_log_sd < one.k_log_sd < K_LOG_SD
    assert 2.4e-4 < one.k_median < K_USUAL
    assert one.best_deg == pytest.approx((31.0, 33.0), abs=0.01)
    assert two.best_cov[0][0] < one.best_cov[0][0]


def test_another_dyno_lends_no_repeatability_and_another_engine_no_curvature() -> None:
    other_dyno = pool(FACTS, "blue", [own(dyno="rollers")])
    assert other_dyno.sd_median == pytest.approx(default(FACTS).sd_median)
    assert other_dyno.k_median < K_USUAL
    other_engine = pool(FACTS, "blue", [own(engine="red")])
    assert other_engine.sd_median < default(FACTS).sd_median
    assert other_engine.k_median == pytest.approx(K_USUAL)
    assert other_engine.best_rpm == ()


def test_another_fuel_widens_where_the_best_is_expected() -> None:
    same, changed = pool(FACTS, "blue", [own()]), pool(FACTS, "blue", [own(fuel="race")])
    assert changed.best_cov[0][0] > 3 * same.best_cov[0][0]


def test_broken_figures_are_passed_over() -> None:
    broken = own(ln_k=None, ln_pull_sd="?", best_cov=[[1.0]], skew_sd=-1.0, k_slope=float("nan"))
    got = pool(FACTS, "blue", [broken])
    assert got.k_median == pytest.approx(K_USUAL)
    assert got.sd_median == pytest.approx(default(FACTS).sd_median)
