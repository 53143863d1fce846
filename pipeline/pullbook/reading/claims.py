"""What the preamble says about the day: offered with its line, never used silently."""

import re
from collections.abc import Sequence
from typing import Any

from pullbook.reading.naming import fold
from pullbook.reading.units_text import unit_of

_N = r"([-+]?\d+(?:[.,]\d+)?)"
_PATTERNS: tuple[tuple[str, str, str], ...] = (
    ("baro_kpa", rf"(?:baro\w*|luftdruck|pression(?: atmosph\w*)?|pressione|presion|pressure|air press\w*|druck)\W{{0,4}}\D{{0,12}}?{_N}\s*(kpa|hpa|mbar|mb|in\.?\s?hg|mm\s?hg|psi|bar)",
     "pressure"),
    ("temperature_c", rf"(?:air|temp\w*|luft\w*|aria|aire|ambient\w*|inlet)\W{{0,4}}[^\d,;]{{0,14}}?{_N}\s*(°?\s?[cfk]\b|deg\.?\s?[cf]\b|grad)", "temperature"),
    ("humidity_pct", rf"{_N}\s*%\s*(?:rh|r\.?h|rel\w*|hum\w*|feuchte|hr|ur|r\.?\s?f)", "share"),
    ("humidity_pct", rf"(?:humid\w*|feucht\w*|luftfeuch\w*|rh|hygro\w*|umidita\w*|humedad)\W{{0,4}}[^\d,;]{{0,8}}?{_N}\s*%?", "share"),
    ("correction", r"(uncorrected|unkorrigiert|non corrig\w*|non corrett\w*|sin correg\w*|no correction|keine korrektur|correction (?:off|none))", ""),
    ("correction", r"(sae\s*-?\s*j\s?-?1349|sae\s*-?\s*j\s?-?607|j\s?1349|j\s?607|iso\s*-?\s*1585|din\s*-?\s*70\s?020)", ""),
    ("correction", r"(correct\w*|korrig\w*|korrektur\w*|corrig\w*|corrett\w*|corregid\w*|correzione)", ""),
    ("smoothed", r"(averag\w*|mean of|smooth\w*|geglattet|gemittelt|mittelwert\w*|moyenn\w*|liss\w*|mediat\w*|promedi\w*|suavizad\w*|filter\w*)", ""),
    ("rate_hz", rf"(?:rate|sampl\w*|abtast\w*|takt|freq\w*|echantillon\w*|campion\w*|muestreo|logging)\D{{0,16}}?{_N}\s*(?:hz|/s|per s|1/s)", ""),
    ("gear", r"(?:gear|gang|rapport|marcia|marcha)\W{0,4}(\d)\b", ""),
    ("mark", rf"(?:pointer|mark|marke|zeiger|repere|tacca|marca|damper)\D{{0,30}}?{_N}\s*(?:deg\w*|°|late|early|grad\w*)?", ""),
)  # fmt: skip
STANDARDS = {"1349": "SAE J1349", "607": "SAE J607", "1585": "ISO 1585", "70020": "DIN 70020"}


def claims(preamble: Sequence[tuple[int, str]]) -> tuple[dict[str, Any], ...]:
    """Every claim of the lines above the header.

    Returns
    -------
    tuple
        ``{"what", "value", "line", "text"}`` each; pressures in kPa, temperatures in °C, the rest as written.

    Examples
    --------
    >>> [(c["what"], c["value"]) for c in claims([(2, "Baro 97.2 kPa, air 18 C, 52 % RH")])]
    [('baro_kpa', 97.2), ('temperature_c', 18.0), ('humidity_pct', 52.0)]
    """
    found: list[dict[str, Any]] = []
    for line, text in preamble[:100]:
        folded = fold(text[:300])
        seen: set[str] = set()
        for what, pattern, kind in _PATTERNS:
            match = None if what in seen else re.search(pattern, folded)
            if match is None:
                continue
            seen.add(what)
            value: Any = match[1]
            if kind or what in ("rate_hz", "mark", "gear"):
                value = float(value.replace(",", "."))
            if kind in ("pressure", "temperature"):
                unit = unit_of(match[2].strip()) if (match.lastindex or 0) >= 2 else None
                if unit is not None and unit.kind == kind:
                    value = round(value * unit.factor + unit.offset, 3)
            if what == "correction":
                value = named_standard(value) or (
                    "none" if re.match(r"un|non |sin |no |keine|correction (off|none)", value) else "unknown"
                )
            found.append({"what": what, "value": value, "line": line, "text": text.strip(' ;,\t#"')[:120]})
    return tuple(found)


def named_standard(text: str) -> str | None:
    """The correction standard a piece of text names, in the contract's spelling.

    Examples
    --------
    >>> named_standard("Torque (SAE J1349)"), named_standard("DIN-70020"), named_standard("SAE")
    ('SAE J1349', 'DIN 70020', None)
    """
    digits = re.sub(r"[^0-9a-z]", "", fold(text))
    return next((name for key, name in STANDARDS.items() if key in digits), None)


def weather_question(name: str, found: Sequence[dict[str, Any]]) -> str | None:
    """One question that offers the weather of the preamble."""
    air = [c for c in found if c["what"] in ("baro_kpa", "temperature_c", "humidity_pct")]
    if not air:
        return None
    keys = {"baro_kpa": "pressure_kpa", "temperature_c": "temperature_c", "humidity_pct": "humidity_pct"}
    offer = ", ".join(f"{keys[c['what']]}: {c['value']:g}" for c in {c["what"]: c for c in air}.values())
    station = "; is the pressure that of the station or reduced to sea level?" if any(c["what"] == "baro_kpa" for c in air) else "?"
    return f"{name}: line {air[0]['line']} says {air[0]['text']!r}; does it hold for the day{station} Not used until day.yaml says air: {{{offer}}}"
