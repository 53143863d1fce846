"""Air: vapour and station pressure, and the published factors from observed to reference air. Formulas alone, no tables.

Pressures kPa, temperatures °C, humidity %. All pressures are what the cell felt (station pressure), never reduced to sea level.
"""

from math import exp, log, sqrt

from pullbook.facts import Air

WINDOW = (0.93, 1.07)
"""Factors inside which SAE J1349 (1990) and ISO 1585 call a correction valid."""

REFERENCE_VAPOUR_KPA = 1.0
"""Vapour pressure of the reference air of SAE J1349 and ISO 1585: 100 kPa in all, 99 kPa of it dry."""

_ICE = (-5.6745359e3, 6.3925247, -9.677843e-3, 6.2215701e-7, 2.0747825e-9, -9.484024e-13, 4.1635019)
_WATER = (-5.8002206e3, 1.3914993, -4.8640239e-2, 4.1764768e-5, -1.4452093e-8, 0.0, 6.5459673)


def saturation_kpa(temperature_c: float) -> float:
    """Saturation pressure of water vapour, kPa, over water from 0 °C up, over ice below.

    Notes
    -----
    Within 300 ppm of the steam tables, -100…200 °C. The real-gas enhancement of moist air (0.45 %) is left out: at most
    3·10⁻⁴ on a factor.

    Source: Hyland and Wexler 1983, as in the ASHRAE Handbook Fundamentals 2017, chapter 1, equations 5 and 6.

    Examples
    --------
    >>> round(saturation_kpa(25.0), 4)
    3.1692
    """
    k = temperature_c + 273.15
    c = _WATER if temperature_c >= 0.0 else _ICE
    return exp(c[0] / k + c[1] + k * (c[2] + k * (c[3] + k * (c[4] + k * c[5]))) + c[6] * log(k)) / 1000.0


def vapour_pressure_kpa(air: Air) -> float | None:
    """Vapour pressure of ``air`` from the one humidity given (vapour pressure, dew point, or relative humidity); else None."""
    if air.vapour_pressure_kpa is not None:
        return air.vapour_pressure_kpa
    if air.dew_point_c is not None:
        return saturation_kpa(air.dew_point_c)
    if air.humidity_pct is not None and air.temperature_c is not None:
        return air.humidity_pct / 100.0 * saturation_kpa(air.temperature_c)
    return None


def factor(standard: str, pressure_kpa: float, temperature_c: float, vapour_kpa: float) -> float:
    """What observed torque is multiplied by, naturally aspirated spark ignition.

    Parameters
    ----------
    standard
        ``SAE J1349`` (the June 1990 formula), ``SAE J607``, ``ISO 1585``, ``DIN 70020`` or ``none``.
    pressure_kpa, temperature_c, vapour_kpa
        Station pressure, air temperature at the inlet, vapour pressure (not used by DIN 70020).

    Raises
    ------
    ValueError
        A standard not named above, or dry pressure that is not above zero.

    Notes
    -----
    The temperature offset is 273 where the old formulas print it so, 273.15 in J607 (a difference below 3·10⁻⁵).
    J1349 of 2004 and later measures friction instead of taking 18 %; that text is not implemented here.

    Source: SAE J1349 JUN90; SAE J607 (1974, reference 1013.25 hPa dry, 60 °F); ISO 1585 and UN Regulation 85; DIN 70020.

    Examples
    --------
    >>> round(factor("SAE J1349", 99.0 + 1.5, 25.0, 1.5), 6)
    1.0
    """
    dry = pressure_kpa - vapour_kpa
    if min(dry, pressure_kpa) <= 0.0:
        raise ValueError(f"dry pressure {dry:.3f} kPa is not above zero")
    match standard:
        case "SAE J1349":
            return 1.18 * (99.0 / dry) * sqrt((temperature_c + 273.0) / 298.0) - 0.18
        case "SAE J607":
            return 101.325 / dry * sqrt((temperature_c + 273.15) / (519.67 / 1.8))
        case "ISO 1585":
            return float((99.0 / dry) ** 1.2 * ((temperature_c + 273.0) / 298.0) ** 0.6)
        case "DIN 70020":
            return 101.3 / pressure_kpa * sqrt((temperature_c + 273.0) / 293.0)
        case "none":
            return 1.0
    raise ValueError(f"no factor is known for {standard!r}")


def atmosphere_kpa(altitude_m: float) -> float:
    """Pressure of the standard atmosphere at a geopotential height up to 11 km, kPa.

    Source: ICAO Doc 7488 (1993): 101 325 Pa, 288.15 K, 6.5 K/km, R 287.05287 J/(kg·K), g 9.80665 m/s².

    Examples
    --------
    >>> round(atmosphere_kpa(600.0), 4)
    94.3217
    """
    return float(101.325 * (1.0 - 0.0065 * altitude_m / 288.15) ** (9.80665 / (287.05287 * 0.0065)))


def station_kpa(sea_level_kpa: float, altitude_m: float) -> float:
    """Station pressure behind a barometer reduced to sea level with the standard atmosphere, kPa (weather services' own
    reductions differ by about ±0.1 kPa).
    """
    return sea_level_kpa * atmosphere_kpa(altitude_m) / 101.325
