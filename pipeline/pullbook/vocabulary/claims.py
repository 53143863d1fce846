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
_NOT_CORRECTED = re.compile(
    r"un|non |sin |no |not |keine|nicht |pas |ohne |without |sans |senza |(?:correction|korrektur|correzione|correccion)\W"
)
_UNIT = r"(kpa|hpa|mbar|mb|in\.?\s?hg|mm\s?hg|psi|bar|°?\s?[cf]|%)"
_UNIT_BEFORE = re.compile(rf"[\[(]\s*{_UNIT}\s*[\])][\s:=;,\"]{{0,4}}{_NUMBER}")
_UNIT_APART = re.compile(rf"(\d)\s*\"?\s*[;,\t]\s*\"?\s*{_UNIT}(?![^\W\d_])")
_REFERENCE = re.compile(
    r"(?:corr|korr|refer|bezug|norm|standard)\w*[\s:=(]{0,3}(?:(?:to|auf|zu|a|al|pression|pressure|pressione|presion)\W)?[\s:=(]{0,3}"
    r"\d+(?:[.,]\d+)?\s*(?:kpa|hpa|mbar|in\.?\s?hg|mm\s?hg|bar).*"
)
"""The air that values were corrected to, and all that follows it: no weather of the day."""
_NOT_AIR = re.compile(
    r"fuel|kraftstoff|benzin|essence|carburant|combust|oil|\bol(?:temp|\b|druck)|huile|olio|aceite|wasser|water|eau\b|acqua|agua|cool|kuhl|abgas|exhaust"
)
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
        folded = _UNIT_APART.sub(r"\1 \2", _UNIT_BEFORE.sub(r" \2 \1", _REFERENCE.sub("", plain := without_accents(text[:300]))))
        seen: set[str] = set()
        for what, kind, pattern in _patterns():
            said = plain if what == "correction" else folded
            met = () if what in seen else re.finditer(pattern, said)
            match = next((m for m in met if kind != "temperature" or not _of_no_air(said, m)), None)
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


def _of_no_air(text: str, found: re.Match[str]) -> bool:
    """Whether a temperature is that of a liquid or of the exhaust, by the words right before its number."""
    return _NOT_AIR.search(re.split(r"[,;]", text[max(0, found.start() - 12) : found.start(1)])[-1]) is not None


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
