"""Numbers as a hand types them into a sheet, in any country."""

import re

from pullbook.vocabulary.units_text import Unit, unit_of

_TAIL = re.compile(r"(.*\d)\s*([^\d\s.,][^\d.,]*\.?)", re.DOTALL)


def number_and_unit(text: str) -> tuple[str, Unit | None]:
    """A cell's number and the unit behind it, None where there is none.

    Examples
    --------
    >>> number_and_unit("980,8 mbar")[1].name, number_and_unit("34°")[0], number_and_unit("34 x")
    ('hPa', '34', ('34 x', None))
    """
    found = _TAIL.fullmatch(text.strip())
    unit = unit_of(found[2]) if found else None
    return (found[1], unit) if found and unit is not None else (text.strip(), None)


def typed_number(text: str, *, thousands: bool = False) -> float | None:
    """A number as typed in a sheet of any country, None where it is none.

    Parameters
    ----------
    text
        The cell; a trailing unit such as ``°`` or ``kPa`` is passed over.
    thousands
        Whether a lone mark before exactly three digits groups thousands (speeds) or is a decimal mark (all else).

    Examples
    --------
    >>> typed_number("34,5"), typed_number("1.013,2"), typed_number("3.300", thousands=True), typed_number("x")
    (34.5, 1013.2, 3300.0, None)
    """
    bare = re.sub(r"(?<=\d)[\s\u00a0\u202f'’](?=\d{3}\b)", "", number_and_unit(text)[0].replace("−", "-"))
    if not re.fullmatch(r"[+-]?[\d.,]*\d[\d.,]*", bare):
        return None
    marks = re.findall(r"[.,]", bare)
    if len(set(marks)) == 2:
        bare = bare.replace("," if marks[-1] == "." else ".", "").replace(",", ".")
    elif len(marks) > 1 or (thousands and marks and re.fullmatch(r"[+-]?\d{1,3}([.,]\d{3})+", bare)):
        bare = bare.replace(marks[0], "")
    try:
        return float(bare.replace(",", "."))
    except ValueError:
        return None
