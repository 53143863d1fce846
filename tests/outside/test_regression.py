"""Lines, parabolas and curves with certified answers (reference rows S1 to S4, S6, S10) through the code the estimates use.

Source of S1 to S4: NIST/ITL Statistical Reference Datasets (NIST is acknowledged; public domain). Row S2's and S3's certified
values are from memory, confirmed by 50-digit and 40-digit fits of the same data.
"""

from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import curve_fit
from scipy.special import stdtrit
from tests.study.parabola import fit_parabola

from pullbook.measure import gls
from pullbook.measure.broken_line import fit

DATA = Path(__file__).parent / "data"


def nist(name: str, first: int) -> np.ndarray:
    """The data columns of a StRD file, which begin on line ``first``."""
    return np.loadtxt(DATA / f"nist_{name}.dat", skiprows=first - 1)


def test_s1_straight_line() -> None:
    """Row S1, Norris: certified to 15 digits; 1e-10 relative, because centring loses no digits a double has."""
    y, x = nist("Norris", 61).T
    line = fit(x, y, np.ones_like(x), 0)
    assert line is not None
    slope = float(line.slopes[0])
    intercept = line.level - slope * line.origin
    assert slope == pytest.approx(1.00211681802045, rel=1e-10)
    assert intercept == pytest.approx(-0.262323073774029, rel=1e-10)
    to_zero = np.array([[1.0, -line.origin], [0.0, 1.0]])
    errors = np.sqrt(np.diag(to_zero @ line.cov @ to_zero.T))
    assert errors == pytest.approx([0.232818234301152, 0.429796848199937e-3], rel=1e-9)
    assert np.sqrt(line.rss / line.dof) == pytest.approx(0.884796396144373, rel=1e-10)
    assert 1.0 - line.rss / float(((y - y.mean()) ** 2).sum()) == pytest.approx(0.999993745883712, rel=1e-12)


def test_s2_parabola_of_a_load_cell() -> None:
    """Row S2, Pontius: loads to 3 000 000. 1e-9 relative after scaling x, which the fit does itself; normal equations fail here."""
    table = np.genfromtxt(DATA / "nist_pontius_loadcell.csv", delimiter=",", names=True)
    got = fit_parabola(table["load"], table["deflection"])
    certified = [0.673565789473684e-3, 0.732059160401003e-6, -0.316081871345029e-14]
    assert got.coefficients == pytest.approx(certified, rel=1e-9)
    spread = [0.107938612033077e-3, 0.157817399981659e-9, 0.486652849992036e-16]
    assert np.sqrt(np.diag(got.cov)) == pytest.approx(spread, rel=1e-8)
    assert got.sd == pytest.approx(0.205177424076185e-3, rel=1e-9)
    x = np.vander(table["load"], 3, increasing=True)
    naive = np.linalg.lstsq(x.T @ x, x.T @ table["deflection"], rcond=None)[0]
    assert abs(naive[0] / certified[0] - 1.0) > 1e-3, "the way that fails, as the source says"


def test_s3_collinear_regression() -> None:
    """Row S3, Longley: 1e-6 relative through the solver of the timing scale, with a prior so wide that it says nothing.

    The columns are made orthogonal first, as the parabola's are: as they stand they agree in all but a few digits.
    """
    datasets = pytest.importorskip("statsmodels.datasets", reason="row S3 needs statsmodels")
    data = datasets.longley.load_pandas().data
    y = data["TOTEMP"].to_numpy(float)
    columns = data[["GNPDEFL", "GNP", "UNEMP", "ARMED", "POP", "YEAR"]].to_numpy(float)
    middle, scale = columns.mean(axis=0), columns.std(axis=0)
    basis = np.column_stack([np.ones(len(y)), (columns - middle) / scale])
    sd = 304.854073561965
    square, upright = np.linalg.qr(basis)
    got = gls.fit(square, y - y.mean(), np.full(len(y), sd**2), np.zeros(7), np.eye(7) * 1e6**2)
    back = np.diag(np.concatenate([[1.0], 1.0 / scale]))
    back[0, 1:] = -middle / scale
    back = back @ np.linalg.inv(upright)
    answer = back @ got.mean
    answer[0] += y.mean()
    certified = [-3482258.63459582, 15.0618722713733, -0.0358191792925910, -2.02022980381683, -1.03322686717359,
                 -0.0511041056535807, 1829.15146461355]  # fmt: skip
    assert answer == pytest.approx(certified, rel=1e-6)
    spread = [890420.383607373, 84.9149257747669, 0.0334910077722432, 0.488399681651699, 0.214274163161675,
              0.226073200069370, 455.478499142212]  # fmt: skip
    assert np.sqrt(np.diag(back @ got.cov @ back.T)) == pytest.approx(spread, rel=1e-6)
    left = y - y.mean() - square @ got.mean
    assert np.sqrt(left @ left / (len(y) - 7)) == pytest.approx(sd, rel=1e-9)
    assert 1.0 - left @ left / ((y - y.mean()) ** 2).sum() == pytest.approx(0.995479004577296, rel=1e-12)


MISRA = [(500.0, 0.0001), (250.0, 0.0005)]
ECKERLE = [(1.0, 10.0, 500.0), (1.5, 5.0, 450.0)]


@pytest.mark.parametrize("start", MISRA)
def test_s4_saturating_curve(start: tuple[float, float]) -> None:
    """Row S4, Misra1a: 1e-6 on estimates, 1e-5 on SDs, from both listed starts, by the optimiser this project depends on."""
    y, x = nist("Misra1a", 61).T
    found, cov = curve_fit(lambda x, a, b: a * -np.expm1(-b * x), x, y, p0=start, xtol=1e-14, ftol=1e-14, maxfev=10_000)
    assert found == pytest.approx([238.94212918, 5.5015643181e-4], rel=1e-6)
    assert np.sqrt(np.diag(cov)) == pytest.approx([2.7070075241, 7.2668688436e-6], rel=1e-5)


@pytest.mark.parametrize("start", ECKERLE)
def test_s4_a_peak_with_a_place(start: tuple[float, float, float]) -> None:
    """Row S4, Eckerle4: a peak, the nearest thing among them to a hill with a best place; the same tolerances."""
    y, x = nist("Eckerle4", 61).T

    def peak(x: np.ndarray, height: float, width: float, place: float) -> np.ndarray:
        return height / width * np.exp(-0.5 * ((x - place) / width) ** 2)

    found, cov = curve_fit(peak, x, y, p0=start, xtol=1e-14, ftol=1e-14, gtol=1e-14, maxfev=20_000)
    assert found == pytest.approx([1.5543827178, 4.0888321754, 451.54121844], rel=1e-6)
    assert np.sqrt(np.diag(cov)) == pytest.approx([0.015408051163, 0.046803020753, 0.046800518816], rel=1e-5)
    assert float(((y - peak(x, *found)) ** 2).sum()) == pytest.approx(1.4635887487e-3, rel=1e-6)


def test_s6_calibration_line_carried_on() -> None:
    """Row S6: a thermometer's calibration (JCGM 100:2008, H.3; its printed results from memory, the data seen), 1e-6.

    The line is read at 30 °C, outside the data, where ignoring that its two coefficients move together gives 0.0073 for 0.0041.
    """
    table = np.genfromtxt(DATA / "gum_h3_thermometer.csv", delimiter=",", names=True)
    t, b = table["t_k"], table["b_k"]
    line = fit(t, b, np.ones_like(t), 0)
    assert line is not None
    to_20 = np.array([[1.0, 20.0 - line.origin], [0.0, 1.0]])
    y1, y2 = to_20 @ np.array([line.level, line.slopes[0]])
    cov = to_20 @ line.cov @ to_20.T
    u1, u2 = np.sqrt(np.diag(cov))
    assert (y1, u1, y2, u2) == pytest.approx((-0.171203790, 0.0028776, 0.00218270, 0.00066794), abs=5e-8)
    assert cov[0, 1] / (u1 * u2) == pytest.approx(-0.930430, abs=1e-6)
    assert np.sqrt(line.rss / line.dof) == pytest.approx(0.00349756, abs=1e-8)
    ahead = np.array([1.0, 10.0])
    assert ahead @ np.array([y1, y2]) == pytest.approx(-0.149376813, abs=1e-8)
    assert np.sqrt(ahead @ cov @ ahead) == pytest.approx(0.004138596, abs=1e-8)
    assert np.sqrt(ahead**2 @ np.diag(cov)) == pytest.approx(0.0073, abs=5e-5), "what must not happen"
    printed = [(y1, -0.1712), (u1, 0.0029), (y2, 0.00218), (u2, 0.00067)]
    for value, shown in printed:
        assert abs(value - shown) < (5e-5 if abs(shown) > 1e-3 and shown != 0.00218 else 5e-6)


@pytest.mark.parametrize(
    ("freedom", "table"),
    [(1, 12.7062), (2, 4.3027), (3, 3.1824), (4, 2.7764), (5, 2.5706), (6, 2.4469), (8, 2.3060), (10, 2.2281), (20, 2.0860),
     (30, 2.0423), (60, 2.0003), (1e9, 1.9600)],
)  # fmt: skip
def test_s10_students_t(freedom: float, table: float) -> None:
    """Row S10: two-sided 95 %, any printed table, 5e-5: the quantile that intervals of breaks and vertices use."""
    assert stdtrit(freedom, 0.975) == pytest.approx(table, abs=5e-5)
