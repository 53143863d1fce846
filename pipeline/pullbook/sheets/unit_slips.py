"""Numbers that cannot be meant in the unit they are kept in, and the unit they look like."""

from pullbook.units import PRESSURE, TEMPERATURE

_AS_KPA = ("hPa", "inHg")
_OWN_COLUMN = {"hPa": "hpa", "inHg": "inhg", "°F": "f"}


def looks_like(unit: str, value: float, lo: float, hi: float) -> tuple[str, str] | None:
    """The unit a number outside ``lo`` to ``hi`` is in, and the number to write instead; None where none fits.

    Examples
    --------
    >>> looks_like("kPa", 972.0, 50, 115), looks_like("kPa", 28.8, 50, 115), looks_like("°C", 75.0, -40, 60)
    (('hPa', '97.2'), ('inHg', '97.5'), ('°F', '23.9'))
    >>> looks_like("kPa", 2.0, 50, 115), looks_like("rpm", 2e5, 0, 1e5)
    (None, None)
    """
    if unit == "kPa":
        for other in _AS_KPA:
            meant = value * PRESSURE[other]
            if lo <= meant <= hi:
                return other, f"{meant:g}" if other == "hPa" else f"{meant:.1f}"
    if unit == "°C":
        factor, offset = TEMPERATURE["°F"]
        if lo <= factor * value + offset <= hi:
            return "°F", f"{factor * value + offset:.1f}"
    return None


def column_in(name: str, unit: str) -> str:
    """What the sheet's column is called where it holds ``unit``.

    Examples
    --------
    >>> column_in("temperature_c", "°F"), column_in("pressure_kpa", "hPa")
    ('temperature_f', 'pressure_hpa')
    """
    return f"{name.rsplit('_', 1)[0]}_{_OWN_COLUMN[unit]}"
