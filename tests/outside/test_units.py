"""Units and identities (reference rows U1 to U4; U5 is in test_angles.py) against definitions, scipy.constants and Pint.

Source of the numbers: the definitions lb = 0.45359237 kg, g₀ = 9.80665 m/s², ft = 0.3048 m, mercury 13 595.1 kg/m³. NIST SP 811
(2008), appendix B, prints rounded forms of the same (cited from memory).
"""

from math import pi

import numpy as np
import pytest
from scipy import constants

from pullbook import units
from pullbook.channels.proof import prove
from pullbook.vocabulary.units_text import named_unit, unit_of

#: Row U1: our constant, its exact value in SI (torque N·m, power W, pressure Pa), our unit's size in SI, scipy's, Pint's expression
EXACT = {
    "lbf·ft": (units.LBF_FT, 1.3558179483314004, 1.0, constants.lbf * constants.foot, "force_pound * foot"),
    "lbf·in": (units.LBF_IN, 0.1129848290276167, 1.0, constants.lbf * constants.inch, "force_pound * inch"),
    "kgf·m": (units.KGF_M, 9.80665, 1.0, constants.kgf, "kgf * meter"),
    "hp": (units.HP, 745.69987158227022, 1e3, constants.hp, "horsepower"),
    "PS": (units.PS, 735.49875, 1e3, 75.0 * constants.g, "metric_horsepower"),
    "psi": (units.PSI, 6894.757293168361, 1e3, constants.psi, "psi"),
    "inHg": (units.INHG, 3386.38864034, 1e3, None, "inHg"),
    "mmHg": (units.MMHG, 133.322387415, 1e3, None, "mmHg"),
}

#: Row U4: c of P = T·rpm/c, by 30000/π and row U1.
CONSTANTS = {
    ("kW", "N·m"): 9549.296585514, ("kW", "lbf·ft"): 7043.199713698, ("kW", "kgf·m"): 973.757255078,
    ("hp", "N·m"): 7120.909237519, ("hp", "lbf·ft"): 5252.113122033, ("hp", "kgf·m"): 726.130660064,
    ("PS", "N·m"): 7023.495702025, ("PS", "lbf·ft"): 5180.264585425, ("PS", "kgf·m"): 716.197243914,
}  # fmt: skip


@pytest.mark.parametrize("name", EXACT)
def test_u1_exact_factors(name: str) -> None:
    """Row U1: 1e-12 relative, because these are definitions and only double precision stands between."""
    ours, exact, size, scipys, _ = EXACT[name]
    assert ours * size == pytest.approx(exact, rel=1e-12)
    if scipys is not None:
        assert ours * size == pytest.approx(scipys, rel=1e-12)
    unit = named_unit(name)
    assert unit is not None
    assert unit.factor == pytest.approx(ours, rel=1e-15), "what logs are read by is the same number"


def test_u1_pounds_force_torr_and_atmosphere() -> None:
    """Row U1, the factors our constants are made of or stand beside: lbf, torr (101325/760 Pa) and mmHg, which is not a torr."""
    pound_force = units.LBF_FT / constants.foot
    assert pound_force == pytest.approx(4.4482216152605, rel=1e-12)
    assert constants.torr == pytest.approx(133.322368421, rel=1e-11)
    apart = units.MMHG * 1e3 / constants.torr - 1.0
    assert apart == pytest.approx(1.4e-7, abs=1e-8)
    assert constants.atm == 101325.0


def test_u1_against_pint() -> None:
    """Row U1 again, against a units library."""
    pint = pytest.importorskip("pint", reason="row U1 needs Pint")
    registry = pint.UnitRegistry()
    for name, (ours, _, size, _, expression) in EXACT.items():
        assert ours * size == pytest.approx(registry.parse_expression(expression).to_base_units().magnitude, rel=1e-12), name


def test_u2_inches_of_mercury_are_the_conventional_ones() -> None:
    """Row U2: 99 kPa is 29.2347 inHg; at 60 °F (3376.85 Pa, 0.28 % less, NIST SP 811 from memory) it would be 29.3173."""
    inches = 99.0 / units.INHG
    assert inches == pytest.approx(29.2347, abs=5e-5)
    warm_inches = 99_000.0 / 3376.85
    assert warm_inches == pytest.approx(29.3173, abs=5e-5)
    apart = 1.0 - 3376.84854 / (1e3 * units.INHG)
    assert apart == pytest.approx(0.0028, abs=5e-5)
    assert unit_of("inHg") == unit_of("in. Hg") == named_unit("inHg")


def test_u2_against_pint() -> None:
    """Row U2: the other inch of mercury, 1e-6 relative, and ours is not it."""
    pint = pytest.importorskip("pint", reason="row U2 needs Pint")
    cold = pint.UnitRegistry().parse_expression("inch_Hg_60F").to_base_units().magnitude
    assert cold == pytest.approx(3376.84854, rel=1e-6)
    assert 1e3 * units.INHG / cold - 1.0 > 0.0028


@pytest.mark.parametrize(("fahrenheit", "kelvin"), [(60.0, 288.70556), (68.0, 293.15), (77.0, 298.15), (100.0, 310.92778)])
def test_u3_temperature(fahrenheit: float, kelvin: float) -> None:
    """Row U3: K = (°F + 459.67)/1.8 by definition, 1e-5 K as printed; kept unit is °C, and K comes back as °C too."""
    factor, offset = units.TEMPERATURE["°F"]
    celsius = factor * fahrenheit + offset
    assert celsius + 273.15 == pytest.approx(kelvin, abs=1e-5)
    assert celsius == pytest.approx(constants.convert_temperature(fahrenheit, "Fahrenheit", "Celsius"), abs=1e-12)
    factor, offset = units.TEMPERATURE["K"]
    assert factor * kelvin + offset == pytest.approx(celsius, abs=1e-5)


def test_u4_power_constants() -> None:
    """Row U4: 1e-9 relative; hp with lbf·ft is 33000/2π, PS with kgf·m 4500/2π."""
    assert units.power_constants() == pytest.approx(CONSTANTS, rel=1e-9)
    assert CONSTANTS["hp", "lbf·ft"] == pytest.approx(33_000.0 / (2.0 * pi), rel=1e-12)
    assert CONSTANTS["PS", "kgf·m"] == pytest.approx(4500.0 / (2.0 * pi), rel=1e-12)
    ratio = units.HP / units.PS
    assert ratio == pytest.approx(1.013869665424, rel=1e-12)


def test_u4_nearest_pairs() -> None:
    """Row U4: how near the constants lie: 0.2805 %, 1.1033 % and, for hp against PS, 1.3870 %."""
    c = units.power_constants()
    assert 100.0 * (c["kW", "lbf·ft"] / c["PS", "N·m"] - 1.0) == pytest.approx(0.2805, abs=5e-5)
    assert 100.0 * (c["hp", "N·m"] / c["kW", "lbf·ft"] - 1.0) == pytest.approx(1.1033, abs=5e-5)
    for torque in ("N·m", "lbf·ft", "kgf·m"):
        assert 100.0 * (c["hp", torque] / c["PS", torque] - 1.0) == pytest.approx(1.3870, abs=5e-5)
    every = np.sort(list(c.values()))
    assert np.diff(np.log(every)).min() == pytest.approx(np.log(1.002805), abs=1e-6), "no other pair is nearer"


def test_u4_two_pairs_of_units_that_fit_are_asked_about() -> None:
    """Row U4: a coarse table from PS and N·m fits kW and lbf·ft as well and must be asked about; a fine one proves itself."""
    rpm = np.arange(2000.0, 6001.0, 250.0)
    torque = 180.0 - ((rpm - 4000.0) / 250.0) ** 2
    power = torque * rpm / CONSTANTS["PS", "N·m"]
    coarse = prove(rpm, np.round(torque / 5.0) * 5.0, np.round(power), torque_unit=None, power_unit=None)
    assert coarse is not None
    assert coarse.state == "two"
    assert {(f.power, f.torque) for f in coarse.fits} >= {("PS", "N·m"), ("kW", "lbf·ft")}
    fine = prove(rpm, np.round(torque, 2), np.round(power, 2), torque_unit=None, power_unit=None)
    assert fine is not None
    assert (fine.state, fine.fit.power, fine.fit.torque) == ("proved", "PS", "N·m")
