"""Repeats, comparisons and how many pulls they take (reference rows S5, S5b, S5c, S9, S11, S12)."""

import warnings
from math import ceil, sqrt
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from pullbook.measure.local import centred_means

DATA = Path(__file__).parent / "data"


def groups(name: str, first: int) -> list[np.ndarray]:
    """Readings by instrument of a StRD file for analysis of variance, whose data begin on line ``first``."""
    table = np.loadtxt(DATA / f"nist_{name}.dat", skiprows=first - 1)
    return [table[table[:, 0] == k, 1] for k in np.unique(table[:, 0])]


def mean_squares(parts: list[np.ndarray]) -> tuple[float, float]:
    """Mean squares between and within groups of equal size, in two passes about the grand mean."""
    n, grand = len(parts[0]), float(np.concatenate(parts).mean())
    between = n * sum((float((p - grand).mean())) ** 2 for p in parts) / (len(parts) - 1)
    within = sum(float(((p - p.mean()) ** 2).sum()) for p in parts) / (len(parts) * (n - 1))
    return between, within


def test_s5_between_and_within() -> None:
    """Row S5: five instruments, five readings each (NIST SiRstv, certified, 1e-9); repeatability and reproducibility from them.

    Source of the derived figures: ISO 5725-2 and ASTM E691, s_L² = (MSB − MSW)/5.
    """
    parts = groups("SiRstv", 61)
    between, within = mean_squares(parts)
    assert between == pytest.approx(1.27865654e-2, rel=1e-8)
    assert within == pytest.approx(1.0831828e-2, rel=1e-8)
    assert between / within == pytest.approx(1.18046237440255, rel=1e-9)
    assert sqrt(within) == pytest.approx(0.104076068334656, rel=1e-9)
    explained = 4 * between / (4 * between + 20 * within)
    assert explained == pytest.approx(0.190999039051129, rel=1e-9)
    laboratory = (between - within) / 5
    assert laboratory == pytest.approx(3.9094748e-4, rel=1e-7)
    assert sqrt(laboratory) == pytest.approx(0.0197723919, rel=1e-7)
    assert sqrt(laboratory + within) == pytest.approx(0.1059376018, rel=1e-9)
    assert np.concatenate(parts).mean() == pytest.approx(196.189156, abs=1e-9)
    assert sqrt(between / 25) == pytest.approx(0.0226155393, rel=1e-8)
    assert stats.f_oneway(*parts).statistic == pytest.approx(between / within, rel=1e-9)


def test_s5_against_a_mixed_model() -> None:
    """Row S5 against statsmodels' restricted likelihood, 1e-3 because its optimiser stops early."""
    mixed = pytest.importorskip("statsmodels.regression.mixed_linear_model", reason="row S5 needs statsmodels")
    parts = groups("SiRstv", 61)
    y, who = np.concatenate(parts), np.repeat(np.arange(5), 5)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it says that the variance among instruments is near nought, which it is
        got = mixed.MixedLM(y, np.ones((25, 1)), groups=who).fit(reml=True)
    assert got.fe_params[0] == pytest.approx(196.189156, abs=1e-6)
    assert float(np.asarray(got.cov_re).squeeze()) == pytest.approx(0.00039103, rel=1e-3)
    assert got.scale == pytest.approx(0.0108318, rel=1e-3)
    assert got.bse_fe[0] == pytest.approx(0.0226159, rel=1e-3)


def test_s5b_cruelly_scaled() -> None:
    """Row S5b: NIST AtmWtAg, readings alike in seven digits: 1e-6 in double precision is what "A against B" may lose.

    Also through the means that make a pull's rows: two cells, one an instrument.
    """
    one, two = groups("AtmWtAg", 61)
    between, within = mean_squares([one, two])
    assert between == pytest.approx(3.638341875e-9, rel=1e-6)
    assert within == pytest.approx(2.28155932971014e-10, rel=1e-6)
    assert between / within == pytest.approx(15.9467335677930, rel=1e-6)
    x = np.repeat([0.0, 1000.0], len(one))
    _, mean, _, n = centred_means(x, np.concatenate([one, two]), 100.0)
    assert n.tolist() == [24, 24]
    assert abs(mean[1] - mean[0]) == pytest.approx(1.74125e-5, rel=1e-6)


@pytest.mark.parametrize(
    ("of_means", "repeat", "both"), [(0.6061, 1.0632, 1.0632), (2.6931, 3.9350, 4.1923)], ids=["material A", "material E"]
)
def test_s5c_reproducibility_is_never_below_repeatability(of_means: float, repeat: float, both: float) -> None:
    """Row S5c: summary numbers of the ASTM E691-99 example (8 laboratories, 3 readings; its data are not passed on), 1e-4."""
    among = max(of_means**2 - repeat**2 / 3.0, 0.0)
    assert sqrt(among + repeat**2) == pytest.approx(both, abs=1e-4)


def test_s9_several_settings_against_one_baseline() -> None:
    """Row S9: Dunnett C. W., 1955, J. Am. Stat. Assoc. 50 (from memory; the library prints the same): t 1e-6, p 5e-4."""
    base = np.array([7.40, 8.50, 7.20, 8.24, 9.84, 8.32])
    others = [np.array([9.76, 8.80, 7.68, 9.36]), np.array([12.80, 9.68, 12.16, 9.20, 10.55])]
    every = [base, *others]
    pooled = sqrt(sum(float(((g - g.mean()) ** 2).sum()) for g in every) / (sum(map(len, every)) - 3))
    t = [(o.mean() - base.mean()) / (pooled * sqrt(1 / len(o) + 1 / len(base))) for o in others]
    assert t == pytest.approx([0.857032, 3.693752], abs=1e-6)
    got = stats.dunnett(*others, control=base, rng=np.random.default_rng(9))
    assert got.statistic == pytest.approx(t, abs=1e-9)
    assert got.pvalue == pytest.approx([0.62004941, 0.0059035], abs=5e-4)
    interval = got.confidence_interval(0.95)
    assert interval.low == pytest.approx([-1.26, 0.84], abs=0.01)
    assert interval.high == pytest.approx([2.56, 4.42], abs=0.01)


#: SD of a pull, % -> pulls a setting to see 0.3, 0.5, 1, 2, 3 %
PULLS = {0.3: (16, 6, 2, 1, 1), 0.5: (44, 16, 4, 1, 1), 1.0: (175, 63, 16, 4, 2), 2.0: (698, 252, 63, 16, 7)}


@pytest.mark.parametrize("sd", PULLS)
def test_s11_pulls_it_takes_without_a_model(sd: float) -> None:
    """Row S11: two-sided 5 %, power 80 %, n = ⌈2·(1.959964 + 0.841621)²·(σ/δ)²⌉: exact integers. Why one model of the whole day."""
    both = stats.norm.ppf(0.975) + stats.norm.ppf(0.8)
    assert (stats.norm.ppf(0.975), stats.norm.ppf(0.8)) == pytest.approx((1.959964, 0.841621), abs=5e-7)
    assert tuple(ceil(2 * both**2 * (sd / seen) ** 2) for seen in (0.3, 0.5, 1.0, 2.0, 3.0)) == PULLS[sd]


@pytest.mark.parametrize(("pulls", "half_width"), [(2, 4.302653), (3, 2.266958), (5, 1.458445)])
def test_s12_spread_from_the_same_few_pulls(pulls: int, half_width: float) -> None:
    """Row S12: 95 % half-width of a difference in units of the spread of the same pulls, t·√(2/n), 1e-6: why spread is pooled."""
    assert stats.t.ppf(0.975, 2 * pulls - 2) * sqrt(2.0 / pulls) == pytest.approx(half_width, abs=1e-6)
