"""Where a best setting lies, how sure, and when there is none (reference rows M2, M4, M5, M8, M9)."""

import numpy as np
import pytest
from tests.study.parabola import fit_parabola
from tests.unit.alignment.made import Sweep, day, hump

from pullbook.facts import DayFacts, Dyno
from pullbook.handover import BestDay
from pullbook.hill.prior import default
from pullbook.measure import gls
from pullbook.stages.align import align_day
from pullbook.stages.best import best_advance
from pullbook.stages.delivered import delivered_advance

#: Row M2. Time, temperature, block, yield. Myers R. H., Montgomery D. C., Anderson-Cook C. M., 2009, Response Surface Methodology,
#: 3rd ed., table 7.6; worked in Lenth R. V., 2009, J. Stat. Software 32(7): read there, and every printed digit reproduced.
TWO_DAYS = np.array([
    (80, 170, 1, 80.5), (80, 180, 1, 81.5), (90, 170, 1, 82.0), (90, 180, 1, 83.5), (85, 175, 1, 83.9), (85, 175, 1, 84.3),
    (85, 175, 1, 84.0), (85, 175, 2, 79.7), (85, 175, 2, 79.8), (85, 175, 2, 79.5), (92.07, 175, 2, 78.4), (77.93, 175, 2, 75.6),
    (85, 182.07, 2, 78.5), (85, 167.93, 2, 77.0),
])  # fmt: skip

SWEEP = np.array([20.0, 24, 28, 32, 36, 40])
TORQUE = np.array([391.2, 397.9, 401.6, 402.4, 401.0, 396.3])


def solved(runs: list[tuple[float, float]], *, repeatability_pct: float = 0.5) -> BestDay:
    """The tool's whole estimate of a day of (advance, level) pulls on a plain hill with its best at 33°, k = 2.5·10⁻⁴."""
    sweeps = [
        Sweep(
            f"{a:g}", lambda n, a=a: np.full_like(n, a), lambda n, a=a, f=f: hump(n) * (1.0 - 2.5e-4 * (a - 33.0) ** 2) * f,
            rpm=(2400.0, 4100.0),
        )
        for a, f in runs
    ]  # fmt: skip
    reading = day(sweeps, facts=DayFacts(correction="none", dyno=Dyno(repeatability_pct=repeatability_pct)))
    aligned = align_day(reading)
    return best_advance(reading, aligned, delivered_advance(reading, aligned), default(reading.facts))


def test_m2_the_optimum_of_a_surface_seen_on_two_days() -> None:
    """Row M2: estimates, SEs and the stationary point, 1e-6 on seven printed digits; a day's step of 27 SDs does not move it."""
    time, temperature, block, made = TWO_DAYS.T
    x1, x2 = (time - 85) / 5, (temperature - 175) / 5
    basis = np.column_stack([np.ones(14), block == 2, x1, x2, x1 * x2, x1**2, x2**2])
    square, upright = np.linalg.qr(basis)
    sd = 0.163185
    got = gls.fit(square, made, np.full(14, sd**2), np.zeros(7), np.eye(7) * 1e4**2)
    back = np.linalg.inv(upright)
    b = back @ got.mean
    assert b == pytest.approx([84.095427, -4.457530, 0.932541, 0.577712, 0.125000, -1.308555, -0.933442], abs=1e-6)
    errors = np.sqrt(np.diag(back @ got.cov @ back.T))
    assert errors == pytest.approx([0.079631, 0.087226, 0.057699, 0.057699, 0.081592, 0.060064, 0.060064], abs=2e-6)
    left = made - basis @ b
    assert np.sqrt(left @ left / 7) == pytest.approx(sd, abs=1e-6)
    assert abs(b[1]) / sd == pytest.approx(27.0, abs=0.5)
    bend = np.array([[b[5], b[4] / 2], [b[4] / 2, b[6]]])
    place = np.linalg.solve(-2 * bend, b[2:4])
    assert place == pytest.approx([0.3722954, 0.3343802], abs=2e-6)
    assert (85 + 5 * place[0], 175 + 5 * place[1]) == pytest.approx((86.86148, 176.67190), abs=1e-5)
    assert np.linalg.eigvalsh(bend)[::-1] == pytest.approx([-0.9233027, -1.3186949], abs=2e-6)
    twenty = gls.fit(square, made + 20.0 * b[1] * (block == 2), np.full(14, sd**2), np.zeros(7), np.eye(7) * 1e5**2)
    moved = back @ twenty.mean
    again = np.linalg.solve(-2 * np.array([[moved[5], moved[4] / 2], [moved[4] / 2, moved[6]]]), moved[2:4])
    assert again == pytest.approx(place, abs=1e-5)


def test_m4_vertex_and_its_set() -> None:
    """Row M4: 50-digit arithmetic of Fieller's set (Fieller E. C., 1954, J. R. Stat. Soc. B 16, 175-185), 1e-8."""
    got = fit_parabola(SWEEP, TORQUE)
    assert got.coefficients == pytest.approx([317.0571428571429, 5.437321428571429, -0.08638392857142857], rel=1e-12)
    assert got.sd == pytest.approx(0.159463385856, abs=1e-11)
    assert got.freedom == 3
    assert got.vertex == pytest.approx(31.471834625323, abs=1e-8)
    assert got.height == pytest.approx(402.618383259505, abs=1e-8)
    assert got.bend_ratio(0.95) == pytest.approx(0.0036111165, abs=1e-9)
    assert got.fieller(0.95) == pytest.approx((31.2801762234, 31.6741614848), abs=1e-8)
    assert got.vertex_se() == pytest.approx(0.0617652286493, abs=1e-10)
    half = 3.182446305284263 * got.vertex_se()
    assert (got.vertex - half, got.vertex + half) == pytest.approx((31.2752701, 31.6683992), abs=1e-7)


@pytest.mark.parametrize("seed", [None, 1, 2, 3])
def test_m4_proof_at_the_ends_of_the_set(seed: int | None) -> None:
    """Row M4: at each end x of the set another library's test of slope zero, [0, 1, 2x], has p = 0.05, on any data."""
    models = pytest.importorskip("statsmodels.regression.linear_model", reason="row M4 needs statsmodels")
    torque = TORQUE if seed is None else TORQUE + np.random.default_rng(seed).normal(0, 0.2, len(TORQUE))
    ends = fit_parabola(SWEEP, torque).fieller(0.95)
    assert ends is not None
    ordinary = models.OLS(torque, np.vander(SWEEP, 3, increasing=True)).fit()
    for x in ends:
        assert float(ordinary.t_test([0.0, 1.0, 2.0 * x]).pvalue) == pytest.approx(0.05, abs=1e-9)


def test_m5_no_set_where_the_bend_is_not_told_from_nought() -> None:
    """Row M5: g at or above one: unbounded, never a finite interval (Fieller 1954).

    That g passes one just where another library's test of "no bend", [0, 0, 1], has p above 0.1 is the row's independent proof.
    """
    models = pytest.importorskip("statsmodels.regression.linear_model", reason="row M5 needs statsmodels")
    rng, a = np.random.default_rng(5), np.array([30.0, 32, 34, 36, 38])
    unbounded = 0
    for _ in range(200):
        torque = 400.0 - 0.15 * (a - 34.0) ** 2 + rng.normal(0, 1.0, 5)
        told = models.OLS(torque, np.vander(a - 34.0, 3, increasing=True)).fit().t_test([0.0, 0.0, 1.0])
        nothing = float(told.pvalue) >= 0.1
        unbounded += nothing
        assert (fit_parabola(a, torque).fieller(0.9) is None) == nothing
    assert 50 < unbounded < 150, "both kinds of day were looked at"


def test_m5_four_near_settings_bend_the_wrong_way_on_a_third_of_days() -> None:
    """Row M5: 30/32/34/36, best 33, k = 2.5·10⁻⁴, pulls good to 0.5 %: 35.4 % of 10 000 simulated days, here 4000, ± 0.03."""
    rng = np.random.default_rng(354)
    a = np.array([30.0, 32, 34, 36])
    clean = 1.0 - 2.5e-4 * (a - 33.0) ** 2
    bends = [fit_parabola(a, clean + 0.005 * rng.standard_normal(4)).bend for _ in range(4000)]
    assert np.mean(np.array(bends) > 0) == pytest.approx(0.354, abs=0.03)


def test_m5_the_tool_says_flat() -> None:
    """Row M5: on such a day, one pull a setting, the whole tool places no best anywhere."""
    rng = np.random.default_rng(2)
    for _ in range(3):
        best = solved([(a, 1.0 + 0.005 * rng.standard_normal()) for a in (34.0, 30.0, 36.0, 32.0)]).best
        tested = best.filter(best["state"] != "untested")
        assert tested.height > 10
        assert set(tested["state"]) == {"flat"}
        assert tested.select("best_deg", "lo_deg", "hi_deg").null_count().row(0) == (tested.height,) * 3


def test_m8_drift_moves_a_vertex() -> None:
    """Row M8: 26 to 38 in order, best 33, −0.2 % a pull: the plain vertex is 31.0 exactly (algebra: −0.001/0.0005 = −2°), 1e-6."""
    a = np.arange(26.0, 39.0, 2.0)
    clean = 1.0 - 2.5e-4 * (a - 33.0) ** 2
    assert fit_parabola(a, clean).vertex == pytest.approx(33.0, abs=1e-6)
    assert fit_parabola(a, clean - 0.002 * np.arange(7)).vertex == pytest.approx(31.0, abs=1e-6)
    with_order = np.column_stack([np.ones(7), a, a**2, np.arange(7)])
    assert np.linalg.matrix_rank(with_order) == 3, "advance is linear in the order of the pulls: not estimable"


def test_m8_the_tool_says_that_drift_and_timing_cannot_be_told_apart() -> None:
    """Row M8, second part, through the whole tool; with a return to the first setting at the end nothing of the kind is said."""
    one_way = [(float(a), 1.0 - 0.002 * i) for i, a in enumerate(np.arange(26.0, 39.0, 2.0))]
    said = solved(one_way)
    assert any("drift and timing cannot be told apart" in text for text in said.warnings)
    assert any("drift and timing cannot be told apart" in text for text in said.not_established)
    placed = said.best.drop_nulls("best_deg")
    assert ((placed["lo_deg"] <= 33.0) & (placed["hi_deg"] >= 33.0)).all(), "an interval that is given holds the truth"
    back = solved([*one_way, (26.0, 1.0 - 0.002 * 7), (32.0, 1.0 - 0.002 * 8)])
    assert not any("drift and timing" in text for text in (*back.warnings, *back.not_established))


def effect(order: str, drift: np.ndarray) -> tuple[float, float]:
    """B less A of pulls run in ``order`` with ``drift`` on them, and its SE in units of one pull's SD."""
    basis = np.column_stack([np.ones(len(order)), [float(letter == "B") for letter in order]])
    errors = gls.fit(basis, drift, np.ones(len(order)), np.zeros(2), np.eye(2) * 1e3**2).cov
    return float(np.linalg.lstsq(basis, drift, rcond=None)[0][1]), float(np.sqrt(errors[1, 1]))


def test_m9_there_and_back() -> None:
    """Row M9: 402.1, 406.0, 407.2 N·m: +0.970 % raw, +1.35 N·m = +0.3336 % of 404.65 against both baselines (algebra), 1e-9."""
    first, other, last = 402.1, 406.0, 407.2
    home = (first + last) / 2
    assert home == pytest.approx(404.65, abs=1e-9)
    assert 100 * (other / first - 1) == pytest.approx(0.970, abs=5e-4)
    assert other - home == pytest.approx(1.35, abs=1e-9)
    assert 100 * (other - home) / home == pytest.approx(0.3336, abs=5e-5)
    assert effect("ABA", np.array([first, other, last]))[0] == pytest.approx(1.35, abs=1e-9)


def test_m9_what_returns_cancel() -> None:
    """Row M9: linear drift cancels in A-B-A and A-B-B-A; quadratic leaves −q and −2q; A-B-B-A-B-A-A-B cancels both.

    Source: algebra (the Prouhet-Thue-Morse sequence).
    """
    for order, left in (("ABA", -1.0), ("ABBA", -2.0), ("ABBABAAB", 0.0)):
        i = np.arange(1.0, len(order) + 1)
        assert effect(order, i)[0] == pytest.approx(0.0, abs=1e-9)
        assert effect(order, i**2)[0] == pytest.approx(left, abs=1e-9)
    places = {letter: [i + 1 for i, x in enumerate("ABBABAAB") if x == letter] for letter in "AB"}
    assert [sum(p) for p in places.values()] == [18, 18]
    assert [sum(i * i for i in p) for p in places.values()] == [102, 102]


@pytest.mark.parametrize(("order", "se"), [("AB", 1.41421), ("ABA", 1.22474), ("ABBA", 1.00000)])
def test_m9_what_returns_cost(order: str, se: float) -> None:
    """Row M9: SE of B − A in units of one pull's SD."""
    assert effect(order, np.zeros(len(order)))[1] == pytest.approx(se, abs=5e-6)
