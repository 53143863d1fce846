"""Unit names and conversions: the only place with a conversion factor.

Source: definitions (lb 0.45359237 kg, g₀ 9.80665 m/s², ft 0.3048 m) as carried by ``scipy.constants``; NIST SP 811 (2008)
App. B prints the rounded values. inHg is the conventional one (0 °C), 3386.389 Pa.
"""

from math import pi

# scipy.constants would be the library for this, but importing scipy costs more than reading a whole day of logs:
# the seven defining numbers stand here and tests/outside compares every factor with scipy.constants.
_LB, _G0, _FT, _INCH, _HG = 0.45359237, 9.80665, 0.3048, 0.0254, 13_595.1

LBF_FT = _LB * _G0 * _FT  # N·m
LBF_IN = _LB * _G0 * _INCH  # N·m
KGF_M = _G0  # N·m
HP = 550.0 * LBF_FT / 1000.0  # kW
PS = 75.0 * _G0 / 1000.0  # kW, metric horsepower
INHG = _HG * _G0 * _INCH / 1000.0  # kPa
MMHG = _HG * _G0 / 1e6  # kPa
PSI = _LB * _G0 / _INCH**2 / 1000.0  # kPa
AT = 10_000.0 * _G0 / 1000.0  # kPa, technical atmosphere: one kgf on a square centimetre
STOICHIOMETRIC = 14.7  # air over petrol by mass, the trade's round figure
RPM_PER_RAD_S = 30.0 / pi
DAY_S = 86_400.0  # s

KW_TO_NM_RPM = 30_000.0 / pi  # N·m·rpm a kW: torque is power times this over speed
DEG_PER_RPM_US = 6e-6  # crank degrees that pass in a microsecond, a rpm
CRANK_PER_DISTRIBUTOR = 2.0  # degrees or rpm: a four-stroke's distributor turns at half crank speed

#: unit as spelled in outputs -> factor to the unit kept, by kind of quantity; temperatures: (factor, offset) to be added after
TORQUE = {"N·m": 1.0, "lbf·ft": LBF_FT, "kgf·m": KGF_M}
POWER = {"kW": 1.0, "hp": HP, "PS": PS}
PRESSURE = {"kPa": 1.0, "hPa": 0.1, "inHg": INHG, "psi": PSI}
TIME = {"s": 1.0, "ms": 1e-3}
TEMPERATURE = {"°C": (1.0, 0.0), "°F": (1 / 1.8, -32 / 1.8), "K": (1.0, -273.15)}


def power_constants() -> dict[tuple[str, str], float]:
    """The nine constants c of P = T·rpm/c, by (power unit, torque unit).

    Source: 30000/π and the definitions above; hp with lbf·ft is the trade's 5252.1.

    Examples
    --------
    >>> round(power_constants()["hp", "lbf·ft"], 4)
    5252.1131
    """
    return {(p, t): KW_TO_NM_RPM * pw / tq for p, pw in POWER.items() for t, tq in TORQUE.items()}
