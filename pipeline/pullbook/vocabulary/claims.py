"""What the preamble says about the day: offered with its line, never used silently."""

import re
from collections.abc import Sequence
from functools import cache
from typing import Any

from pullbook.facts import STANDARDS
from pullbook.questions import AIR, Question
from pullbook.vocabulary.heading_words import without_accents
from pullbook.vocabulary.units_text import unit_of
from pullbook.vocabulary.wordlist import rows

_NUMBER = r"([-+]?\d+(?:[.,]\d+)?)"
_NOT_CORRECTED = re.compile(r"un|non |sin |no |keine|(?:correction|korrektur|correzione|correccion)\W")
_AIR = {"pressure": (60.0, 112.0), "temperature": (-40.0, 55.0)}  # kPa, °C: what air can be where engines are run


@cache
def _patterns() -> tuple[tuple[str, str, str], ...]:
    return tuple((row["what"], row["kind"], row["pattern"].replace("NUMBER", _NUMBER)) for row in rows("preamble"))


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
        folded = without_accents(text[:300])
        seen: set[str] = set()
        for what, kind, pattern in _patterns():
            match = None if what in seen else re.search(pattern, folded)
            if match is None:
                continue
            value: Any = match[1]
            if kind or what in ("rate_hz", "mark", "gear"):
                value = float(value.replace(",", "."))
            if kind in ("pressure", "temperature"):
                unit = unit_of(match[2].strip()) if (match.lastindex or 0) >= 2 else None
                if unit is not None and unit.kind == kind:
                    value = round(value * unit.factor + unit.offset, 3)
                lo, hi = _AIR[kind]
                if not lo <= value <= hi:  # oil, tyres, boost: no air
                    continue
            seen.add(what)
            if what == "correction":
                value = named_standard(value) or ("none" if _NOT_CORRECTED.match(value) else "unknown")
            found.append({"what": what, "value": value, "line": line, "text": text.strip(' ;,\t#"')[:120]})
    return tuple(found)


def named_standard(text: str) -> str | None:
    """The correction standard a piece of text names, in the contract's spelling.

    Examples
    --------
    >>> named_standard("Torque (SAE J1349)"), named_standard("Md DIN"), named_standard("SAE")
    ('SAE J1349', 'DIN 70020', None)
    """
    digits = re.sub(r"[^0-9a-z]", "", without_accents(text))
    named = next((name for name in STANDARDS if (own := re.sub(r"\D", "", name)) and own in digits), None)
    alone = {name.split()[0] for name in STANDARDS} - {"SAE"}  # bodies with one standard here
    return named or next((name for name in STANDARDS if name.split()[0] in alone & set(re.findall(r"[A-Z]+", text.upper()))), None)


def weather_question(name: str, found: Sequence[dict[str, Any]]) -> Question | None:
    """One question that offers the weather of the preamble.

    Parameters
    ----------
    name
        The log's.
    found
        Its claims (:func:`claims`).

    Returns
    -------
    Question or None
        None where the preamble says nothing of the air.
    """
    air = [c for c in found if c["what"] in ("baro_kpa", "temperature_c", "humidity_pct")]
    if not air:
        return None
    keys = {"baro_kpa": "pressure_kpa", "temperature_c": "temperature_c", "humidity_pct": "humidity_pct"}
    offer = ", ".join(f"{keys[c['what']]}: {c['value']:g}" for c in {c["what"]: c for c in air}.values())
    station = "; is the pressure that of the station or reduced to sea level?" if any(c["what"] == "baro_kpa" for c in air) else "?"
    said = f"{name}: line {air[0]['line']} says {air[0]['text']!r}; does it hold for the day"
    return Question(f"{said}{station} Not used until day.yaml says air: {{{offer}}}", AIR)
