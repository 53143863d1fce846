"""What the columns and words of hand-kept sheets may be called (words/sheets.csv): folded spelling -> name of the contract."""

import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from functools import lru_cache

from pullbook.units import PRESSURE, TEMPERATURE
from pullbook.vocabulary.units_text import unit_of
from pullbook.vocabulary.wordlist import rows


def written_as(which: str) -> dict[str, tuple[str, ...]]:
    """One table of words/sheets.csv: name -> other spellings."""
    return {row["name"]: tuple(row["also"].split("|")) for row in rows("sheets") if row["table"] == which}


PULL_COLUMNS: Mapping[str, tuple[str, ...]] = written_as("pull")
STROBE_COLUMNS: Mapping[str, tuple[str, ...]] = {"setting": PULL_COLUMNS["setting"]} | written_as("strobe")
_ACCENTS = str.maketrans("äöüáàâéèêëíìîóòôúùûñç", "aouaaaeeeeiiiooouuunc")
_UNITS = {
    "kpa": "kPa", "hpa": "hPa", "mbar": "hPa", "mb": "hPa", "inhg": "inHg", "psi": "psi",
    "c": "°C", "degc": "°C", "f": "°F", "degf": "°F", "k": "K",
}  # fmt: skip


_SMALL = frozenset(("a", "al", "au", "d", "de", "del", "der", "des", "di", "du", "l", "la", "le", "of", "the"))
"""Words between the words of a name."""
_DEGREES = re.compile(r"(?:deg(?:rees|res)?|grad[oi]?s?|btdc|crank)+$")
CLOSE = 0.84
"""How like a column's name, as a share of matching letters, a slip of the pen is."""
MOST_SLIPPED = 2
"""Letters a slip of the pen adds or leaves out at the most."""


@dataclass(frozen=True, slots=True)
class SheetColumn:
    """Which column of the contract a header means and how its numbers become the contract's unit: ``convert(as written)``."""

    name: str
    convert: Callable[[float], float]


def fold(word: str) -> str:
    """A header or word without case, accents, spaces, underscores and marks."""
    return re.sub(r"[^a-z0-9+%°?✓✔]+", "", unaccented(word))


def unaccented(text: str) -> str:
    """A text in small letters without accents, its spaces and marks as they are."""
    return text.casefold().translate(_ACCENTS)


@lru_cache(1024)
def pull_column(header: str) -> SheetColumn | None:
    """The column of the pull sheet a header means, or None.

    Examples
    --------
    >>> pull_column("Initial DEG").name, pull_column("Baro (hPa)").convert(972.0)
    ('initial_deg', 97.2)
    """
    return _column_of(header, _PULL_NAMES)


@lru_cache(1024)
def strobe_column(header: str) -> SheetColumn | None:
    """The column of the light sheet a header means, or None."""
    return _column_of(header, _STROBE_NAMES)


def said(which: str) -> dict[str, str]:
    """Folded word -> the word of the contract, of one table of words/sheets.csv.

    Examples
    --------
    >>> said("knock")[fold("nicht gehört")]
    'not heard'
    """
    return {fold(w) or w: name for name, also in written_as(which).items() for w in (name, *also)}


def misspelt(header: str, columns: Iterable[str], taken: Mapping[str, object]) -> str | None:
    """The column, not yet there, whose name a header nearly is, or None.

    Parameters
    ----------
    header
        As written.
    columns
        Names of the contract.
    taken
        Those a header stands for already.

    Examples
    --------
    >>> [misspelt(header, PULL_COLUMNS, {}) for header in ("Inital deg", "Knok", "Temprature", "Oil pressure")]
    ['initial_deg', 'knock', 'temperature_c', None]
    """
    free = [name for name in columns if name not in taken]
    own = {fold(stem): name for name in free for stem, _, unit in (name.rpartition("_"),) if unit in ("deg", "kpa", "c", "pct")}
    own |= {fold(name): name for name in free}
    near = {word: name for word, name in own.items() if len(word) > 4}
    said_so = fold(header)
    found = get_close_matches(said_so, near, n=1, cutoff=CLOSE)
    slip = bool(found) and abs(len(said_so) - len(found[0])) <= MOST_SLIPPED  # a whole word more is no slip: "oil pressure"
    return near[found[0]] if slip else None


@dataclass(frozen=True, slots=True)
class _Names:
    """Folded spellings of one column: the whole ``names``, and the ``stems`` a unit may follow."""

    column: str
    names: frozenset[str]
    stems: tuple[str, ...]
    units: Mapping[str, object]
    spelled: tuple[tuple[str, ...], ...]


def _spelled(also: tuple[str, ...]) -> tuple[tuple[str, ...], ...]:
    return tuple(words for name in also if (words := words_in(name)))


def words_in(name: str) -> tuple[str, ...]:
    """The words of a name, folded, a point kept behind one that is cut short; those that only join others left out."""
    found = re.findall(r"[a-z0-9]+\.?", unaccented(re.sub(r"(?<=[a-zà-ÿ])(?=[A-Z])", " ", name)).replace("_", " "))
    return tuple(w for w in found if w.strip(".") not in _SMALL)


def _names_of(columns: Mapping[str, tuple[str, ...]]) -> tuple[_Names, ...]:
    out = []
    for column, also in columns.items():
        stem, _, own = column.rpartition("_")
        units: Mapping[str, object] = PRESSURE if own == "kpa" else TEMPERATURE if own == "c" else {}
        folded = tuple(map(fold, also))
        out.append(
            _Names(column, frozenset((fold(column), *folded)), (fold(stem), *folded) if units else (), units, _spelled(also))
        )
    return tuple(out)


_PULL_NAMES, _STROBE_NAMES = _names_of(PULL_COLUMNS), _names_of(STROBE_COLUMNS)


def _column_of(header: str, table: tuple[_Names, ...]) -> SheetColumn | None:
    bare, unit = header[:100], None
    if bracket := re.fullmatch(r"([^\[(<{]*)[\[(<{]([^\])>}]*)[\])>}]\s*", bare):
        bare, unit = bracket[1], bracket[2]
    folded = fold(bare).strip("?%#")
    spelled = {folded, folded.strip("°"), _DEGREES.sub("", folded).strip("°")} - {""}
    spelled |= {re.sub("(?<=[aou])e", "", word) for word in spelled}  # Endzuendung
    for known in table:
        if spelled & known.names:
            return _meant(known, unit)
        for stem in known.stems:
            if folded.startswith(stem) and (convert := _conversion(folded[len(stem) :].strip("°"), known.units)):
                return SheetColumn(known.column, convert)
    written = words_in(bare)
    short = [known for known in table if any(_shortened(written, words) for words in known.spelled)]
    return _meant(short[0], unit) if len(short) == 1 else None


def _meant(known: _Names, unit: str | None) -> SheetColumn:
    convert = None if unit is None else _conversion(fold(unit).strip("°"), known.units)
    return SheetColumn(known.column, convert or _same)


def _shortened(said: tuple[str, ...], words: tuple[str, ...]) -> bool:
    """Whether a header is a known name with words cut short: ``Av. total``, ``Einst.``, ``Tot adv``, in either order of two.

    Examples
    --------
    >>> _shortened(("av.", "total"), ("avance", "total")), _shortened(("temp",), ("temperatura",))
    (True, False)
    """
    if len(said) != len(words):
        return False
    if len(said) == 1:
        (cut,) = said
        return cut.endswith(".") and len(cut) > 3 and words[0].startswith(cut[:-1])
    orders = (words, words[::-1]) if len(words) == 2 else (words,)
    return any(
        all(len(cut.strip(".")) > 1 and w.startswith(cut.strip(".")) for cut, w in zip(said, order, strict=True))
        for order in orders
    )


def _same(value: float) -> float:
    return value


def _conversion(unit: str, units: Mapping[str, object]) -> Callable[[float], float] | None:
    """How a number in ``unit`` becomes the contract's, or None where the unit is not of that kind."""
    about = units.get(_UNITS.get(unit, ""))
    kind = "pressure" if units is PRESSURE else "temperature"
    if about is None and units and (other := unit_of(unit)) is not None and other.kind == kind:
        about = (other.factor, other.offset)  # mmHg, bar
    if isinstance(about, tuple):
        factor, offset = about
        return lambda v: round(float(factor) * v + float(offset), 9)
    return (lambda v, f=float(about): round(f * v, 9)) if isinstance(about, float) else None  # type: ignore[misc]
