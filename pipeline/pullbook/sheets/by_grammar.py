"""What a heading no list of names has means to the pull sheet: by the words of log headings, and by what its cells hold."""

import re
from collections.abc import Iterable

from pullbook.sheets.spans import SPANS
from pullbook.sheets.typed_number import number_and_unit, typed_number
from pullbook.sheets.words import SheetColumn, fold, said, unaccented, words_in, written_as
from pullbook.vocabulary.naming import understand
from pullbook.vocabulary.wordlist import rows

_MEANT = {
    "oil_c": "oil_c", "coolant_c": "coolant_c", "inlet_c": "temperature_c", "baro_kpa": "pressure_kpa",
    "humidity_pct": "humidity_pct", "knock": "knock",
}  # fmt: skip
"""Quantity of a log heading -> column of the sheet."""
_KNOCK = frozenset(said("knock"))
_ELSEWISE = frozenset(word for row in rows("notes") if row["table"] == "elsewise" for word in row["words"].split("|"))
"""Words that make knock a thing of the bench: its sensor, its box."""
_ALONE = {word: name for name, also in written_as("alone").items() for word in also}
"""Words that name an end of the advance's curve with nothing beside them, where the cells are degrees."""
_TEMPERATURES = ("temperature_c", "oil_c", "coolant_c")
MOST_FIT = 0.6
"""Share of a column's filled cells that have to be what it is taken for."""


def meant_by(header: str, cells: Iterable[str]) -> SheetColumn | None:
    """The column of the pull sheet a heading means by its words ("Umgebungstemp.", "Idle advance"), where its cells bear it out.

    Parameters
    ----------
    header
        With the unit below it, where there is one.
    cells
        Those under it, as text, blank ones too.

    Examples
    --------
    >>> meant_by("max. Frühzündung", ["34", "36,5", ""]).name, meant_by("T. acqua", ["81", "82"]).name
    ('total_deg', 'coolant_c')
    >>> meant_by("Oil type", ["10W-40"]), meant_by("Intake lash", ["0.25"]), meant_by("Knock sensor", ["yes"])
    (None, None, None)
    """
    filled = [text for text in cells if text]
    meaning = understand(header)
    name = _MEANT.get(meaning.quantity or "")
    if name is None and "ambient" in meaning.concepts and meaning.concepts & {"temperature", "pressure"}:
        name = "temperature_c" if "temperature" in meaning.concepts else "pressure_kpa"
    if name is None and "temperature" in meaning.concepts and speaks_of("room", header):
        name = "temperature_c"
    unit = meaning.unit
    if (end := _end_alone(header)) is not None and (unit is None or unit.kind in ("advance", "angle")):
        name = end
    elif "advance" in meaning.concepts:
        name = _end_of_advance(header)
    if "knock" in meaning.concepts and filled and sum(map(_is_range, filled)) >= MOST_FIT * len(filled):
        return SheetColumn("knock_rpm", _same)
    if name in _TEMPERATURES and "temperature" not in meaning.concepts and (unit is None or unit.kind != "temperature"):
        return None  # "Intake lash"
    if name is None or not filled or (name == "knock" and _ELSEWISE & set(words_in(header))):
        return None
    scaled = unit is not None and unit.kind in ("temperature", "pressure") and name in ("pressure_kpa", *_TEMPERATURES)
    column = SheetColumn(name, (lambda v: round(unit.factor * v + unit.offset, 9)) if scaled and unit is not None else _same)
    fit = sum(_fits(column, text) for text in filled)
    return column if fit >= MOST_FIT * len(filled) else None


def speaks_of(column: str, header: str) -> bool:
    """Whether a heading speaks of files or recordings ("Messdateiname", "Fichero CSV"), of how the engine was set, of what may
    hold its labels, or of the room.

    Parameters
    ----------
    column
        ``file``, ``setting``, ``labels`` or ``room``.
    header
        As written.
    """
    return any(part in unaccented(header) for part in written_as("holds")[column])


def _end_alone(header: str) -> str | None:
    """Which end of the advance's curve a heading of one word may mean; "max" only with degrees, it may be the power's."""
    end = _ALONE.get(" ".join(words_in(re.sub(r"[\[(<{]?°.*", "", header))))
    return end if end == "initial_deg" or "°" in header else None


def _end_of_advance(header: str) -> str | None:
    """Which end of its curve a heading of advance names, the initial or the total; None for neither and for any other advance."""
    words = words_in(header)
    begun = [name for name, parts in written_as("begins").items() if any(w.startswith(parts) for w in words)]
    if len(begun) != 1:
        return None
    rest = " ".join(w for w in words if not w.startswith(written_as("begins")[begun[0]]))
    return begun[0] if understand(rest or header).quantity == "advance_deg" else None


def _fits(column: SheetColumn, text: str) -> bool:
    if column.name == "knock":
        return fold(text) in _KNOCK or text in _KNOCK
    value, span = typed_number(text), SPANS[column.name]
    return value is not None and (number_and_unit(text)[1] is not None or span.lo <= column.convert(value) <= span.hi)


def _is_range(text: str) -> bool:
    """Whether a cell is a range of engine speeds, or one of them: ``3300-3600``."""
    found = re.fullmatch(r"(\d{3,5})\s*(?:(?:-|–|—|…|\.\.+|to|bis|à|a)\s*(\d{3,5}))?(?:\s*\D{1,7})?", text.strip().lower())
    return found is not None and all(500 <= int(end) <= 12_000 for end in found.groups() if end)


def _same(value: float) -> float:
    return value
