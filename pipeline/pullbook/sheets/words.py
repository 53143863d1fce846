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


def pull_column(header: str) -> Column | None:
    """The column of the pull sheet a header means, or None.

    Examples
    --------
    >>> pull_column("Initial DEG").name, pull_column("Baro (hPa)").convert(972.0)
    ('initial_deg', 97.2)
    """
    return _column_of(header, _PULL_NAMES)


def strobe_column(header: str) -> Column | None:
    """The column of the light sheet a header means, or None."""
    return _column_of(header, _STROBE_NAMES)


@dataclass(frozen=True, slots=True)
class _Names:
    """Folded spellings of one column: the whole ``names``, and the ``stems`` a unit may follow."""

    column: str
    names: frozenset[str]
    stems: tuple[str, ...]
    units: Mapping[str, object]


def _names_of(columns: Mapping[str, tuple[str, ...]]) -> tuple[_Names, ...]:
    out = []
    for column, also in columns.items():
        stem, _, own = column.rpartition("_")
        units: Mapping[str, object] = PRESSURE if own == "kpa" else TEMPERATURE if own == "c" else {}
        folded = tuple(map(fold, also))
        out.append(_Names(column, frozenset((fold(column), *folded)), (fold(stem), *folded) if units else (), units))
    return tuple(out)


_PULL_NAMES, _STROBE_NAMES = _names_of(PULL_COLUMNS), _names_of(STROBE_COLUMNS)


def _column_of(header: str, table: tuple[_Names, ...]) -> Column | None:
    bare, unit = header[:100], None
    if bracket := re.fullmatch(r"([^\[(<{]*)[\[(<{]([^\])>}]*)[\])>}]\s*", bare):
        bare, unit = bracket[1], bracket[2]
    folded = fold(bare)
    for known in table:
        if folded in known.names:
            convert = None if unit is None else _conversion(fold(unit).strip("°"), known.units)
            return Column(known.column, convert or _same)
        for stem in known.stems:
            if folded.startswith(stem) and (convert := _conversion(folded[len(stem) :].strip("°"), known.units)):
                return Column(known.column, convert)
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
