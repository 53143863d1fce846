"""Defaults, a day's own figures with the prior divided out, and what pooling makes of them."""

from math import log

import numpy as np
import pytest
from scipy.linalg import block_diag

from pullbook.belief import EarlierHill, Prior
from pullbook.facts import DayFacts, Dyno
from pullbook.hill.prior import K_USUAL, default, own_figure, pool
from pullbook.hill.told import told_of

FACTS = DayFacts(dyno=Dyno(name="bench", kind="engine"))


_SURE = np.linalg.inv(block_diag([[0.5, 0.3], [0.3, 0.4]], 0.15**2, 0.05**2, 0.004**2))
HILL = {
    "rpm": [3000.0, 4000.0], "k_rpm": 4000.0, "weight": _SURE.tolist(),
    "towards": (_SURE @ [31.0, 33.0, log(2.4e-4), 0.0, -0.002]).tolist(),
}  # fmt: skip


def own(**more: object) -> dict[str, object]:
    figures = {
        "engine": "blue", "day": "2031-04-05", "dyno": "bench", "pulls": 9, "ln_pull_sd": log(0.004), "ln_pull_sd_sd": 0.3,
        "hill": HILL,
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


def _earlier(prior: Prior) -> EarlierHill:
    assert prior.earlier is not None
    return prior.earlier


def test_no_history_is_the_default() -> None:
    assert pool(FACTS, "blue", []) == default(FACTS)


def test_earlier_days_sharpen_and_pull() -> None:
    one, two = pool(FACTS, "blue", [own()]), pool(FACTS, "blue", [own(), own(day="2031-05-01")])
    assert one.source == "archive"
    assert one.frozen_from == ("blue/2031-04-05",)
    assert 0.004 < two.sd_median < one.sd_median < 0.006
    assert one.k_median == two.k_median == K_USUAL, "the trade's own belief stays; what earlier days add stands beside it"
    assert one.k_expected is not None
    assert two.k_expected is not None
    assert 2.4e-4 < two.k_expected < one.k_expected < K_USUAL
    told, more = told_of(_earlier(one)), told_of(_earlier(two))
    assert np.linalg.solve(told.weight, told.towards)[:2] == pytest.approx((31.0, 33.0), abs=0.01)
    assert more.weight[0, 0] > 1.5 * told.weight[0, 0]


def test_another_dyno_lends_no_repeatability_and_another_engine_no_curvature() -> None:
    other_dyno = pool(FACTS, "blue", [own(dyno="rollers")])
    assert other_dyno.sd_median == pytest.approx(default(FACTS).sd_median)
    assert other_dyno.k_expected is not None
    assert other_dyno.k_expected < K_USUAL
    other_engine = pool(FACTS, "blue", [own(engine="red")])
    assert other_engine.sd_median < default(FACTS).sd_median
    assert other_engine.k_expected is None
    assert other_engine.earlier is None


def test_another_fuel_widens_where_the_best_is_expected() -> None:
    same, changed = pool(FACTS, "blue", [own()]), pool(FACTS, "blue", [own(fuel="race")])
    there, here = (np.linalg.inv(np.array(_earlier(p).weight))[0, 0] for p in (changed, same))
    assert there > 3 * here


@pytest.mark.parametrize(
    "hill",
    [
        None,
        "?",
        {},
        HILL | {"weight": [[1.0]]},
        HILL | {"towards": [float("nan")] * 5},
        HILL | {"rpm": 3000.0},
        HILL | {"more": 1},
        HILL | {"k_rpm": "?"},
    ],
)
def test_broken_figures_are_passed_over(hill: object) -> None:
    got = pool(FACTS, "blue", [own(ln_pull_sd="?", hill=hill)])
    assert got.earlier is None
    assert got.sd_median == pytest.approx(default(FACTS).sd_median)
