"""What the columns and words of hand-kept sheets may be called, as data: folded spelling -> name of the contract."""

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from pullbook.units import PRESSURE, TEMPERATURE

PULL_COLUMNS: Mapping[str, tuple[str, ...]] = {
    "file": ("log", "logfile", "filename", "datei", "fichier", "archivo", "messung"),
    "pull": ("pullno", "pullnr", "pullnumber", "run", "runno", "sweep"),
    "setting": ("label", "settinglabel", "einstellung", "reglage", "ajuste", "regolazione"),
    "initial_deg": ("initial", "initialtiming", "initialadvance", "base timing", "grundzundung"),
    "total_deg": ("total", "totaltiming", "totaladvance", "gesamt"),
    "baseline": ("isbaseline", "reference", "referenz", "reference setting"),
    "time": ("clock", "clocktime", "uhrzeit", "heure", "hora", "ora"),
    "pressure_kpa": ("pressure", "baro", "barometer", "luftdruck", "pression", "presion", "pressione"),
    "temperature_c": ("temperature", "temp", "air", "airtemp", "airtemperature", "temperatur", "lufttemperatur"),
    "humidity_pct": ("humidity", "rh", "relativehumidity", "feuchte", "luftfeuchte", "humidite", "humedad", "umidita"),
    "oil_c": ("oil", "oiltemp", "oiltemperature", "ol", "huile"),
    "coolant_c": ("coolant", "water", "coolanttemp", "watertemp", "wasser", "kuhlmittel"),
    "knock": ("knockheard", "klopfen", "cliquetis", "ping", "detonation"),
    "knock_rpm": ("knockrange", "knockat"),
    "logger_file": ("logger", "loggerlog", "secondlog", "secondfile", "logger file name"),
    "exclude": ("excluded", "leave out", "leftout", "skip"),
    "notes": ("note", "comment", "comments", "remarks", "bemerkung", "bemerkungen", "remarque"),
}
STROBE_COLUMNS: Mapping[str, tuple[str, ...]] = {
    "setting": PULL_COLUMNS["setting"],
    "rpm": ("speed", "revs", "drehzahl", "crankrpm", "enginespeed"),
    "advance_deg": ("advance", "reading", "timing", "degrees", "deg", "light"),
    "direction": ("updown", "way"),
    "source": ("from", "by"),
    "scale": ("degreescale",),
    "vacuum": ("vacuumadvance", "vac"),
}
YES = (
    "yes",
    "y",
    "x",
    "1",
    "true",
    "ja",
    "j",
    "oui",
    "o",
    "si",
    "sì",
    "sí",
    "wahr",
    "vrai",
    "vero",
    "verdadero",
    "baseline",
    "✓",
    "✔",
)
NO = ("no", "n", "0", "false", "nein", "non", "falsch", "faux", "falso", "-", "–")
KNOCK_WORDS: Mapping[str, tuple[str, ...]] = {
    "heard": ("heard", "yes", "y", "knock", "knocking", "ping", "pinging", "loud", "ja", "oui", "si"),
    "faint": ("faint", "slight", "a little", "light", "faintly", "trace", "leicht", "leger"),
    "not heard": ("notheard", "no", "n", "none heard", "nothing heard", "nein", "non", "nothing", "nil"),
    "not listened": ("notlistened", "nolistener", "nobody listened", "didnotlisten", "na", "notlistening", "?"),
}
_ACCENTS = str.maketrans("äöüáàâéèêëíìîóòôúùûñç", "aouaaaeeeeiiiooouuunc")
_UNITS = {
    "kpa": "kPa", "hpa": "hPa", "mbar": "hPa", "inhg": "inHg", "psi": "psi",
    "c": "°C", "degc": "°C", "f": "°F", "degf": "°F", "k": "K",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Column:
    """Which column of the contract a header means and how its numbers become the contract's unit."""

    name: str
    convert: Callable[[float], float]


def fold(word: str) -> str:
    """A header or word without case, accents, spaces, underscores and marks."""
    return re.sub(r"[^a-z0-9+%°?✓✔]+", "", word.casefold().translate(_ACCENTS))


def column_of(header: str, columns: Mapping[str, tuple[str, ...]]) -> Column | None:
    """The contract's column a header means, or None.

    Examples
    --------
    >>> column_of("Initial DEG", PULL_COLUMNS).name, column_of("Baro (hPa)", PULL_COLUMNS).convert(972.0)
    ('initial_deg', 97.2)
    """
    bare, unit = header, None
    if bracket := re.fullmatch(r"(.*?)\s*[\[(<{]\s*([^\])>}]*)\s*[\])>}]\s*", header):
        bare, unit = bracket[1], bracket[2]
    folded = fold(bare)
    for name, also in columns.items():
        stem, _, own = name.rpartition("_")
        known = {fold(name), *map(fold, also)}
        units: Mapping[str, object] = PRESSURE if own == "kpa" else TEMPERATURE if own == "c" else {}
        if folded in known and unit is None:
            return Column(name, _same)
        if folded in known:
            convert = _conversion(fold(str(unit)).strip("°"), units)
            return Column(name, convert or _same)
        for base in {fold(stem), *map(fold, also)} if stem and units else ():
            if base and folded.startswith(base) and (convert := _conversion(folded[len(base) :].strip("°"), units)):
                return Column(name, convert)
    return None


def _same(value: float) -> float:
    return value


def _conversion(unit: str, units: Mapping[str, object]) -> Callable[[float], float] | None:
    """How a number in ``unit`` becomes the contract's, or None where the unit is not of that kind."""
    about = units.get(_UNITS.get(unit, ""))
    if isinstance(about, tuple):
        factor, offset = about
        return lambda v: round(float(factor) * v + float(offset), 9)
    return (lambda v, f=float(about): round(f * v, 9)) if isinstance(about, float) else None  # type: ignore[misc]
