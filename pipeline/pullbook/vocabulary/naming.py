"""What a column's heading says: quantity, whose it is, unit. Words are data (words/headers.csv); this is the grammar."""

import re
import unicodedata
from dataclasses import dataclass
from functools import cache

from pullbook.vocabulary.units_text import Unit, unit_of
from pullbook.vocabulary.wordlist import rows

_BRACKET = re.compile(r"[\[({<]\s*([^\[\](){}<>]*?)\s*[\])}>]")
_CAMEL = re.compile(r"(?<=[a-z]{2})(?=[A-Z])|(?<=[A-Za-z])(?=\d)|(?<=\d)(?=[A-Za-z]{2})")
_MARKED = re.compile(r"[^\w ]")
_DEGREES = re.compile(r"\bt ?°(?! ?[cfk]\b)")
_WORD = re.compile(r"[a-z0-9λ°%#]+")
#: unit kinds that a bare word in a heading may stand for although no other word names the quantity
_TELLING = frozenset({"torque", "power", "speed", "time", "advance", "lambda"})
_DRIVEN = frozenset({"power", "torque", "speed"})
_KIND_OF = {
    "rpm": {"speed"}, "roller_rpm": {"speed"}, "torque": {"torque"}, "power": {"power"}, "advance": {"advance", "angle"},
    "time": {"time"}, "temperature": {"temperature"}, "pressure": {"pressure"}, "lambda": {"lambda"},
    "throttle": {"share", "angle"}, "humidity": {"share"}, "knock": {"voltage", "share", "none"}, "counter": {"none"},
}  # fmt: skip
_EXPECTED = {
    "speed": ("speed", "road_speed"), "torque": ("torque",), "power": ("power",), "time": ("time",), "advance": ("angle",),
    "temperature": ("temperature",), "pressure": ("pressure",), "manifold": ("pressure",), "baro": ("pressure",),
    "boost": ("pressure",), "coolant": ("temperature",), "oil": ("temperature", "pressure"), "air": ("temperature",),
    "inlet": ("temperature", "pressure"), "exhaust": ("temperature",), "lambda": ("lambda",), "humidity": ("share",),
    "throttle": ("share",), "knock": ("voltage",),
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Meaning:
    """What one heading says. ``quantity`` is a channel of CHANNELS, ``time_s``, ``date`` or ``counter``; ``strong`` where words
    name it and not only a hint; ``concepts``: every concept of words/headers.csv that was met."""

    header: str
    quantity: str | None
    unit: Unit | None
    unit_from: str | None
    concepts: frozenset[str]
    strong: bool


def mended(text: str) -> str:
    """Letters that were encoded twice on their way (``Ã–l``) as they were meant (``Öl``); any other text as it is."""
    if not {"Ã", "Â"} & set(text):
        return text
    try:
        return text.encode("cp1252").decode("utf-8")
    except UnicodeError:
        return text


def without_accents(text: str) -> str:
    """Small letters without accents."""
    bare = "".join(c for c in unicodedata.normalize("NFKD", text) if not unicodedata.combining(c))
    return bare.casefold().replace("ß", "ss").replace("ø", "o").replace("œ", "oe").replace("æ", "ae").replace("λ", " lambda ")


@cache
def _words() -> tuple[dict[str, frozenset[str]], tuple[tuple[str, str], ...], tuple[tuple[str, str], ...]]:
    whole: dict[str, set[str]] = {}
    part: list[tuple[str, str]] = []
    phrase: list[tuple[str, str]] = []
    for row in rows("headers"):
        word = without_accents(row["word"])
        if row["how"] == "whole":
            whole.setdefault(word, set()).add(row["concept"])
        else:
            (part if row["how"] == "part" else phrase).append((word, row["concept"]))
    return {w: frozenset(c) for w, c in whole.items()}, tuple(part), tuple(phrase)


def concepts_of(text: str) -> frozenset[str]:
    """Every concept of the word table that a heading's words name.

    Examples
    --------
    >>> sorted(concepts_of("Motordrehzahl")), sorted(concepts_of("couple moteur"))
    (['engine', 'speed'], ['engine', 'torque'])
    """
    found: set[str] = set()
    whole, part, phrase = _words()
    folded = _DEGREES.sub("temp ", without_accents(_CAMEL.sub(" ", text.replace("º", "°").replace("H2O", "water"))))
    # umlauts written out (Zuendung, Oel) are read like the umlaut
    written_out = re.sub(r"\w{4,}|oel", lambda m: m[0].replace("ue", "u").replace("oe", "o").replace("ae", "a"), folded)
    for line in {folded, written_out}:
        tokens = _WORD.findall(line)
        joined = " ".join(tokens)
        for token in tokens:
            found |= whole.get(token, frozenset())
            found.update(concept for word, concept in part if word in token)
        found.update(concept for word, concept in phrase if f" {word}" in f" {joined}" or (_MARKED.search(word) and word in line))
    return frozenset(found)


def understand(header: str, *, unit_row: str | None = None, preset: Unit | None = None) -> Meaning:
    """What a heading (and the cell below it in a units row) says.

    Parameters
    ----------
    header
        As written.
    unit_row
        The cell of the units row, where there is one.
    preset
        A unit the operator named in columns.yaml: it wins.
    """
    heading = mended(header)
    inside = _BRACKET.findall(heading)
    bare = _BRACKET.sub(" ", heading) if inside else heading
    unit, came = preset, "columns_yaml" if preset else None
    if unit is None and (unit := unit_of(mended(unit_row or ""))) is not None:
        came = "units_row"
    if unit is None:
        for text in inside:
            if (unit := unit_of(text)) is not None:
                came = "header"
                break
    if unit is None and any(_is_rate(text) for text in inside):
        return Meaning(header, None, None, None, frozenset({"other"}), strong=False)
    remarks = [text for text in inside if unit_of(text) is None]
    concepts = concepts_of(" ".join([bare, *remarks])) or (concepts_of(heading) if unit is None else frozenset())
    concepts |= {"absolute"} if any("abs" in text or text in ("psia", "bara") for text in map(without_accents, inside)) else set()
    loose = None if unit else _loose_unit(bare, concepts)
    quantity = _quantity(concepts, unit or loose)
    if unit is None and loose is not None and quantity is not None and unit_fits(quantity, loose):
        unit, came = loose, "header"
    if unit is not None and unit.kind == "power" and "advance" in concepts and "power" not in concepts and came != "columns_yaml":
        unit, quantity = unit_of("°KW"), _quantity(concepts, unit_of("°KW"))  # KW behind "Zündwinkel" is the crank
    weak = quantity == "rpm" and "speed" not in concepts and (unit is None or unit.kind != "speed")
    return Meaning(header, quantity, unit, came, concepts, quantity is not None and not weak)


def _is_rate(text: str) -> bool:
    """Whether a bracket holds a unit over another that is none itself: what changes a second, or per kilogramme."""
    over = text.strip("[](){}<> ").rpartition("/")
    return (
        unit_of(text) is None
        and bool(over[0])
        and unit_of(over[0]) is not None
        and (unit_of(over[2]) is not None or over[2] == "kg")
    )


def _loose_unit(text: str, concepts: frozenset[str]) -> Unit | None:
    """A unit written as a word of the heading: at its end ("Coil rpm", "oil C"), else at its start ("Nm measured")."""
    tokens = [t for t in re.split(r"[\s_,;:/|]+", _CAMEL.sub(" ", text.replace(" / ", " "))) if t]
    slashed = [t for t in re.split(r"[\s_,;:|]+", text) if t]
    dashed = [t for t in re.split(r"[\s_,;:|.\-]+", text) if t]
    if slashed and "/" in slashed[-1][1:] and unit_of(slashed[-1]) is not None:
        tokens = slashed  # of "t/min" the end alone would be minutes
    for pieces in (slashed, tokens, dashed):
        for size in (3, 2, 1):
            for words, at_end in ((pieces[-size:], True), (pieces[:size], False)):
                if len(words) < size or (words[-1] == "s" and size > 1 and words[-2].isalpha() and len(words[-2]) > 2):
                    continue  # "Hora s" is a time in seconds, no "horas"
                unit = unit_of(" ".join(words))
                if unit is None or unit.kind == "none":
                    continue
                if size == 1 and len(words[0]) == 1 and (not at_end or (len(pieces) == 1 and words[0] != "s")):
                    continue  # a single letter is a unit only after other words
                expected = _expected(concepts)
                if words[0] == "/" and unit.kind not in expected:
                    continue  # "Stopwatch / min" is no speed
                if unit.kind in expected or (
                    pieces is not dashed and unit.kind in _TELLING and (not expected or unit.name not in ("s", "rpm"))
                ):
                    return unit
    return None


def _expected(concepts: frozenset[str]) -> set[str]:
    """Kinds of unit that a heading's own words lead one to expect."""
    return {kind for concept in concepts for kind in _EXPECTED.get(concept, ())}


def unit_fits(quantity: str, unit: Unit) -> bool:
    """Whether a unit is one that a channel can be logged in."""
    for stem, kinds in _KIND_OF.items():
        if quantity.startswith(stem):
            return unit.kind in kinds
    if quantity.endswith("_c"):
        return unit.kind == "temperature"
    return unit.kind == "pressure" if quantity.endswith("_kpa") else True


def _quantity(has: frozenset[str], unit: Unit | None) -> str | None:
    """The grammar: from the most particular quantity to the least."""
    kind = unit.kind if unit else None
    if "aside" in has:
        return None
    mixture = has & {"lambda", "equivalence"}
    if "other" in has and mixture and "commanded" not in has:
        return "lambda" if kind in (None, "lambda", "none") else None
    if "knock" in has and kind == "voltage":
        return "knock"
    if "other" in has or "roadspeed" in has or kind in ("road_speed", "flow", "frequency", "length"):
        return None
    if "knock" in has:
        return "knock" if kind not in ("angle", "advance") else None
    if kind == "lambda" or (mixture and kind in (None, "none")):
        return None if "commanded" in has else "lambda"
    if "humidity" in has:
        return "humidity_pct" if kind in (None, "share") else None
    if "throttle" in has and kind != "time" and not has & {"advance", "exhaust"}:
        return "throttle_pct" if kind in (None, "share", "angle") and "commanded" not in has else None
    if (kind == "advance" or has & {"advance", "btdc"} or ("distributor" in has and kind == "angle")) and kind in (
        None,
        "angle",
        "advance",
        "none",
    ):
        return _advance(has)
    if "commanded" in has and (kind in _DRIVEN or (kind in (None, "none") and has & _DRIVEN)):
        return None
    if kind == "power" or ("power" in has and kind in (None, "none")):
        return "power_wheel_kw" if has & {"wheel", "roller"} else "power_corrected_kw" if says_corrected(has) else "power_kw"
    if kind == "torque" or ("torque" in has and kind in (None, "none")):
        return "torque_wheel_nm" if has & {"wheel", "roller"} else "torque_corrected_nm" if says_corrected(has) else "torque_nm"
    warm = has & {"coolant", "oil", "inlet", "exhaust"} or (
        "temperature" in has and ("air" in has or ("engine" in has and "time" not in has))
    )
    if kind == "temperature" or (kind in (None, "none") and warm and not has & {"pressure", "boost"}):
        return _temperature(has)
    if kind == "pressure" or (kind in (None, "none") and has & {"pressure", "manifold", "baro", "boost"}):
        return _pressure(has)
    if "ambient" in has:
        return None
    if kind == "speed" or ("speed" in has and kind in (None, "none")):
        if "distributor" in has:
            return None  # half the engine's
        return "roller_rpm" if has & {"roller", "wheel", "dyno"} else "rpm"
    if "date" in has and "time" not in has:
        return "date"
    if "counter" in has and kind in (None, "none"):
        return "counter"
    if kind == "time" or ("time" in has and kind in (None, "none")):
        return "time_s"
    return "rpm" if "engine" in has and kind is None and not has & {"temperature", "pressure"} else None


def _temperature(has: frozenset[str]) -> str | None:
    """Without a word of where, an engine's temperature is its coolant's and air's the inlet's; the room's is neither."""
    if has & {"ambient", "dyno", "roller", "commanded"}:
        return None
    named = next((f"{s}_c" for s in ("coolant", "oil", "exhaust", "inlet") if s in has), None)
    return named or ("inlet_c" if "air" in has else "coolant_c" if has >= {"engine", "temperature"} else None)


def _pressure(has: frozenset[str]) -> str | None:
    """Absolute pressure of the room or the manifold; a boost or a gauge reading is neither."""
    if has & {"oil", "coolant", "exhaust", "gauge", "vacuum"}:
        return None
    if has & {"baro", "ambient"}:
        return "baro_kpa"
    return "map_kpa" if has & {"manifold", "inlet"} or has >= {"boost", "absolute"} else None


def _advance(has: frozenset[str]) -> str | None:
    if "vacuum" in has and "total" not in has:
        return None
    if "distributor" in has:
        return "advance_distributor_deg"
    return "advance_commanded_deg" if has & {"commanded", "manifold"} else "advance_deg"


def says_corrected(has: frozenset[str]) -> bool:
    """Whether a heading's concepts say that its values are corrected to a standard already."""
    return "corrected" in has and "uncorrected" not in has
