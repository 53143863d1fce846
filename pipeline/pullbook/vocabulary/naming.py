"""What a column's heading says: quantity, whose it is, unit. Words are data (words/headers.csv); this is the grammar."""

import re
from dataclasses import dataclass
from functools import lru_cache

from pullbook.vocabulary.heading_words import respelled, table, without_accents
from pullbook.vocabulary.units_text import Unit, unit_of

_BRACKETS = str.maketrans("［］（）｛｝【】〔〕＜＞", "[](){}[][]<>")
_QUOTED = re.compile(r"(?<!\w)['\"‘’“”]([^'\"‘’“”]{1,16})['\"‘’“”](?!\w)")
_REFERENCE = re.compile(r"(?<=[a-z])\((a|abs|g)\)", re.IGNORECASE)
_NUMBERED = re.compile(r"^\W*[A-Za-z]{1,2}\W?\d{1,3}[\s.:_)\]-]+(?=\S)")
"""What a recorder's input is called before its name: ``Ch3: Power``, whose ``Ch`` is no unit."""
_TWICE = re.compile(r"Â[\x80-\xbf]|Ã[\x80-\xbf]")
_BRACKET = re.compile(r"[\[({<]\s*([^\[\](){}<>]*?)\s*[\])}>]")
_CAMEL = re.compile(r"(?<=[a-z]{2})(?<![^A-Za-z]da)(?=[A-Z])|(?<=[A-Za-z])(?=\d)|(?<=\d)(?=[A-Za-z]{2})")
_HUMP = re.compile(r"(?<=[A-Z][a-z])(?=[A-Z])|(?<=[A-Z])(?=[A-Z][a-z]{2})")
"""Where a shorter word of a heading in one piece ends: ``TqWheel``, ``TCool``."""
_MARKED = re.compile(r"[^\w ]")
_DEGREES = re.compile(r"(?<![^\W_])t ?°(?! ?[cfk]\b)")
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
    "throttle": ("share",), "knock": ("voltage", "angle"), "distributor": ("angle",),
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Meaning:
    """What one heading says. ``quantity`` is a channel of CHANNELS, ``time_s``, ``date`` or ``counter``; ``strong`` where words
    name it and not only a hint; ``concepts``: every concept of words/headers.csv that was met; ``slips``: (as written, as read)."""

    header: str
    quantity: str | None
    unit: Unit | None
    unit_from: str | None
    concepts: frozenset[str]
    strong: bool
    slips: tuple[tuple[str, str], ...] = ()


def mended(text: str) -> str:
    """Letters that were encoded twice on their way (``Ã–l``) as they were meant (``Öl``); any other text as it is."""
    if not {"Ã", "Â"} & set(text):
        return text
    for codec in ("cp1252", "latin-1"):
        try:
            return text.encode(codec).decode("utf-8")
        except UnicodeError:
            pass
    return _TWICE.sub(lambda m: m[0].encode("latin-1").decode("utf-8"), text).replace("Ã ", "à ")  # a hard space became a plain one


def concepts_of(text: str) -> frozenset[str]:
    """Every concept of the word table that a heading's words name.

    Examples
    --------
    >>> sorted(concepts_of("Motordrehzahl")), sorted(concepts_of("couple moteur"))
    (['engine', 'speed'], ['engine', 'torque'])
    """
    return _concepts(text)[0]


@lru_cache(4096)  # each heading is looked at several times: is it a header, which one, what does it say
def _concepts(text: str) -> tuple[frozenset[str], tuple[tuple[str, str], ...]]:
    """Concepts of a heading and its slips of the pen (:func:`respelled`)."""
    found: set[str] = set()
    known = table()
    plain = text.replace("º", "°").replace("H2O", "water")
    folded, humped = (_folded(_CAMEL.sub(" ", words)) for words in (plain, _HUMP.sub(" ", plain)))
    # umlauts written out (Zuendung, Oel) are read like the umlaut
    written_out = re.sub(r"[^\W_]{4,}|oel", lambda m: m[0].replace("ue", "u").replace("oe", "o").replace("ae", "a"), folded)
    spelled, slips = respelled(humped)
    for line in {folded, written_out, spelled, respelled(folded)[0]}:
        tokens = _WORD.findall(line)
        joined = " ".join(tokens)
        for token in tokens:
            found |= known.says(token)
        found.update(
            concept for word, concept in known.phrases if f" {word}" in f" {joined}" or (_MARKED.search(word) and word in line)
        )
    return frozenset(found), slips


def _folded(text: str) -> str:
    """Without accents, ``T°`` spelled out; a flywheel is no wheel of the car."""
    return _DEGREES.sub("temp ", without_accents(text)).replace("schwungrad", "flywheel ")


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
    heading = _REFERENCE.sub(r" \1", mended(header).translate(_BRACKETS))
    heading = _QUOTED.sub(lambda m: f"[{m[1]}]" if unit_of(m[1]) is not None else m[0], heading)
    if unit_row and unit_of(mended(unit_row)) is None:
        heading = f"{heading} {mended(unit_row)}"  # the name goes on in the row of units: "Drehzahl" over "Rolle 1/min"
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
    concepts, slips = _concepts(" ".join([bare, *remarks]))
    if not concepts and unit is None:
        concepts, slips = _concepts(heading)
    concepts |= {"absolute"} if any("abs" in text or text in ("psia", "bara") for text in map(without_accents, inside)) else set()
    loose = None if unit else _loose_unit(bare, concepts)
    quantity = _quantity(concepts, unit or loose)
    if unit is None and loose is not None and quantity is not None and unit_fits(quantity, loose):
        unit, came = loose, "header"
    if unit is not None and unit.kind == "power" and "advance" in concepts and "power" not in concepts and came != "columns_yaml":
        unit, quantity = unit_of("°KW"), _quantity(concepts, unit_of("°KW"))  # KW behind "Zündwinkel" is the crank
    weak = quantity == "rpm" and "speed" not in concepts and (unit is None or unit.kind != "speed")
    return Meaning(header, quantity, unit, came, concepts, quantity is not None and not weak, slips)


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
    text = _NUMBERED.sub("", text)
    tokens = [t for t in re.split(r"[\s_,;:/|]+", _CAMEL.sub(" ", text.replace(" / ", " "))) if t]
    slashed = [t for t in re.split(r"[\s_,;:|]+", text) if t]
    dashed = [t for t in re.split(r"[\s_,;:|.\-]+", text) if t]
    if slashed and "/" in slashed[-1][1:] and unit_of(slashed[-1]) is not None:
        tokens = slashed  # of "t/min" the end alone would be minutes
    for pieces in (slashed, tokens, dashed):
        for size in (3, 2, 1):
            for words, at_end in ((pieces[-size:], True), (pieces[:size], False)):
                if size == 2 and words[1:] == ["in"]:
                    continue  # "M in Nm" is no minutes
                if len(words) < size or (words[-1] == "s" and size > 1 and words[-2].isalpha() and len(words[-2]) > 2):
                    continue  # "Hora s" is a time in seconds, no "horas"
                unit = unit_of(" ".join(words))
                if unit is None or unit.kind == "none":
                    continue
                if size == 1 and len(words[0]) == 1 and (not at_end or (len(pieces) == 1 and words[0] != "s")):
                    continue  # a single letter is a unit only after other words
                expected = _expected(concepts)
                if unit.kind == "power" and "speed" in concepts and "power" not in concepts:
                    continue  # "Drehzahl KW" is the crank's
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
        return None if has & {"commanded", "corrected"} else "lambda"
    if "humidity" in has:
        return "humidity_pct" if kind in (None, "share") else None
    if "throttle" in has and kind != "time" and not has & {"advance", "exhaust"}:
        return "throttle_pct" if kind in (None, "share", "angle") and "commanded" not in has else None
    if (kind == "advance" or has & {"advance", "btdc"} or _turned_distributor(has)) and kind in (None, "angle", "advance", "none"):
        return _advance(has)
    if "commanded" in has and (kind in _DRIVEN or (kind in (None, "none") and has & _DRIVEN)):
        return None
    if kind == "power" or ("power" in has and kind in (None, "none")):
        return "power_wheel_kw" if has & {"wheel", "roller"} else "power_corrected_kw" if says_corrected(has) else "power_kw"
    if kind == "torque" or ("torque" in has and kind in (None, "none")):
        return "torque_wheel_nm" if has & {"wheel", "roller"} else "torque_corrected_nm" if says_corrected(has) else "torque_nm"
    warm = (has & {"coolant", "oil", "inlet", "exhaust"} and (has >= {"temperature"} or "time" not in has)) or (
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


def _turned_distributor(has: frozenset[str]) -> bool:
    """Whether a heading speaks of a distributor and of nothing else that it may have than its advance."""
    return "distributor" in has and not has & {"speed", "temperature", "pressure", "time", "torque", "power"}


def _temperature(has: frozenset[str]) -> str | None:
    """Without a word of where, an engine's temperature is its coolant's and air's the inlet's; the room's is neither."""
    if has & {"ambient", "dyno", "roller", "wheel", "commanded"}:
        return None
    named = next((f"{s}_c" for s in ("coolant", "oil", "exhaust", "inlet") if s in has), None)
    return named or ("inlet_c" if "air" in has else "coolant_c" if has >= {"engine", "temperature"} else None)


def _pressure(has: frozenset[str]) -> str | None:
    """Absolute pressure of the room or the manifold; a boost or a gauge reading is neither."""
    if has & {"oil", "coolant", "exhaust", "gauge", "vacuum"}:
        return None
    if has & {"baro", "ambient"}:
        return "baro_kpa"
    if "wanted" in has:
        return None  # not "commanded": MAP is a table's name too
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
