"""Spellings of one name: labels of settings and names of logs, as hands, spreadsheets and encodings alter them."""

import re
from collections.abc import Iterable

_DASHES = str.maketrans(dict.fromkeys("\u2010\u2011\u2012\u2013\u2014\u2015\u2212", "-"))
_LOST = "?\N{REPLACEMENT CHARACTER}"


def label_key(label: str) -> str:
    """What two spellings of a label share: case, spaces and dashes (hyphen, minus) do not tell settings apart."""
    return " ".join(label.translate(_DASHES).split()).casefold()


def with_total(label: str, was_deg: float, total_deg: float) -> str | None:
    """The label of a setting with its total in it exchanged for another; None where the label does not hold its total once.

    Parameters
    ----------
    label
        As the operator wrote it.
    was_deg, total_deg
        The total it stands for, and the one the new label is to stand for, degrees.

    Examples
    --------
    >>> with_total("total 32", 32.0, 28.5), with_total("32° all in", 32.0, 30.0), with_total("as it came", 32.0, 30.0)
    ('total 28.5', '30° all in', None)
    """
    number = re.compile(rf"(?<![\d.,]){re.escape(f'{was_deg:g}')}(?:[.,]0+)?(?![.,]?\d)")
    return number.sub(f"{total_deg:g}", label) if len(number.findall(label)) == 1 else None


def is_torn(label: str) -> bool:
    """Whether an encoding lost a character of a label."""
    return any(sign in label for sign in _LOST)


def with_lost_dash(key: str, known: Iterable[str]) -> str:
    """The key that is meant by one in which an encoding lost a dash; the key itself where that is not beyond doubt.

    Parameters
    ----------
    key
        A label's key (:func:`label_key`).
    known
        Keys of all labels.

    Examples
    --------
    >>> with_lost_dash("base?4", ["base-4", "base+40"]), with_lost_dash("base?4", ["base-4", "base+4"])
    ('base-4', 'base?4')
    """
    if not is_torn(key):
        return key
    pattern = re.compile("".join("." if sign in _LOST else re.escape(sign) for sign in key))
    fits = {other for other in known if pattern.fullmatch(other) and not is_torn(other)}
    dashed = re.sub(f"[{_LOST}]", "-", key)
    return dashed if fits == {dashed} else key
