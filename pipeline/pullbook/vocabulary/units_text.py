"""Unit spellings of five languages to the unit as outputs spell it, its kind and the factor to the unit kept inside."""

import re
import unicodedata
from dataclasses import dataclass
from functools import cache

from pullbook.units import AT, LBF_IN, MMHG, POWER, PRESSURE, RPM_PER_RAD_S, STOICHIOMETRIC, TEMPERATURE, TIME, TORQUE
from pullbook.vocabulary.wordlist import rows


@dataclass(frozen=True, slots=True)
class Unit:
    """``name`` as outputs spell it; ``kind`` of quantity; kept value = ``factor`` · logged value + ``offset``."""

    name: str
    kind: str
    factor: float = 1.0
    offset: float = 0.0


_BASE: dict[str, Unit] = (
    {n: Unit(n, "torque", f) for n, f in TORQUE.items()}
    | {n: Unit(n, "power", f) for n, f in POWER.items()}
    | {n: Unit(n, "pressure", f) for n, f in PRESSURE.items()}
    | {n: Unit(n, "time", f) for n, f in TIME.items()}
    | {n: Unit(n, "temperature", f, o) for n, (f, o) in TEMPERATURE.items()}
    | {
        "rpm": Unit("rpm", "speed"),
        "°BTDC": Unit("°BTDC", "advance"),
        "°": Unit("°BTDC", "angle"),
        "°ATDC": Unit("°BTDC", "advance", -1.0),
        "%": Unit("%", "share"),
        # spellings outside the outputs' list: brought to a listed unit by a factor of their own
        "rev/s": Unit("rpm", "speed", 60.0),
        "krpm": Unit("rpm", "speed", 1000.0),
        "rad/s": Unit("rpm", "speed", RPM_PER_RAD_S),
        "lbf·in": Unit("N·m", "torque", LBF_IN),
        "daN·m": Unit("N·m", "torque", 10.0),
        "kN·m": Unit("N·m", "torque", 1e3),
        "W": Unit("kW", "power", 1e-3),
        "bar": Unit("kPa", "pressure", 100.0),
        "Pa": Unit("kPa", "pressure", 1e-3),
        "mmHg": Unit("kPa", "pressure", MMHG),
        "at": Unit("kPa", "pressure", AT),
        "min": Unit("s", "time", 60.0),
        "h": Unit("s", "time", 3600.0),
        "µs": Unit("s", "time", 1e-6),
        "clock": Unit("s", "time"),
        "lambda": Unit("lambda", "lambda"),
        "AFR": Unit("AFR", "lambda", 1 / STOICHIOMETRIC),
        "V": Unit("V", "voltage"),
        "km/h": Unit("km/h", "road_speed"),
        "g/s": Unit("g/s", "flow"),
        "Hz": Unit("Hz", "frequency"),
        "N": Unit("N", "force"),
        "m": Unit("m", "length"),
        "-": Unit("-", "none"),
    }
)


def _folded(text: str) -> str:
    """Small letters without accents, spaces, dots, stars, hyphens between letters: what is left of any spelling."""
    text = unicodedata.normalize("NFKC", text).replace("−", "-").replace("µ", "u").replace("μ", "u")
    bare = "".join(c for c in unicodedata.normalize("NFKD", text.strip()) if not unicodedata.combining(c))
    return re.sub(r"[\s.·⋅•*×_\-]+(?=\S)|[\s._]+$", "", bare.casefold())


_ANGLE = re.compile(
    r"(°|degrees?|deg|gradi|grados|grado|grade|grad|degres?|º"
    r"|o(?=kw|kurbel|crank|ca$|vil|btdc|atdc|v(?:or(?:dem)?)?ot|n(?:ach(?:dem)?)?ot|a[vp]|prima|dopo|antes|despues|manovella|albero))(.+)"
)  # a small o stands for the sign of degrees right before what is meant, and begins "observed power kW" too
_AFTER = re.compile(
    r"atdc|aftertdc|nachot|not$|nachdemot|appmh|aprespmh|apreslepmh|dopoilpms|dopopms|ddpms|despuesdelpms|despuespms|dpms$"
)
_BEFORE = re.compile(
    r"btdc|beforetdc|vorot|vot$|vordemot|avpmh|avantpmh|avantlepmh|^apmh|primadelpms|primapms|^apms|avpms|antesdelpms|antespms"
    r"|kw|kurbel|crank|^crk|^ca$|vilebrequin|^vil|manovella|albero|ciguenal"
)


@cache
def _spellings() -> dict[str, Unit]:
    return {_folded(row["spelling"]): _BASE[row["unit"]] for row in rows("units")}


def unit_of(text: str | None) -> Unit | None:
    """The unit a piece of text means, or None.

    Examples
    --------
    >>> unit_of("U/min").name, unit_of("ft-lbs").name, unit_of("m.kg").name, unit_of("deg BTDC").name
    ('rpm', 'lbf·ft', 'kgf·m', '°BTDC')
    >>> unit_of("apples") is None
    True
    """
    if not text or len(text) > 40:
        return None
    stripped = text.strip()
    if len(stripped) > 2 and stripped[0] + stripped[-1] in ("[]", "()", "{}", "<>"):
        stripped = stripped[1:-1].strip()
    if re.fullmatch(r"[-–—]+", stripped):
        return _BASE["-"]
    folded = _folded(stripped)
    return _spellings().get(folded) or _angle_of(folded)


def _angle_of(folded: str) -> Unit | None:
    """Degrees with a word for the crank or for a side of top dead centre, in any of the languages and orders."""
    found = _ANGLE.fullmatch(folded)
    if not found:
        return None
    rest = found[2]
    if _AFTER.search(rest):
        return _BASE["°ATDC"]
    return _BASE["°BTDC"] if _BEFORE.search(rest) else None


def named_unit(name: str) -> Unit | None:
    """The unit of a name as outputs spell it, else of any spelling."""
    return _BASE.get(name) or unit_of(name)
